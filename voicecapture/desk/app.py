"""The desk as a Textual application; what it does is in `sitting`, what it shows in `detail`."""

from collections.abc import Iterable
from typing import ClassVar

from textual.app import SystemCommand
from textual.binding import Binding, BindingType
from textual.screen import Screen

from voicecapture.dashboard.look import Look
from voicecapture.desk.player import Player
from voicecapture.desk.screen import DeskScreen
from voicecapture.desk.sitting import Sitting
from voicecapture.errors import ScreenError


class DeskApp(Look[None]):
    """The desk after milking."""

    CSS_PATH = "desk.tcss"
    TITLE = "voicecapture review"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("q", "quit", "leave the desk")]

    def __init__(self, sitting: Sitting, player: Player) -> None:
        super().__init__()
        self._player = player
        self._screen = DeskScreen(sitting, player)

    def sit(self) -> None:
        """Show the desk until it is left.

        Raises:
            ScreenError: If the screen broke.
        """
        try:
            self.run()
        finally:
            self._player.stop()
        if self.return_code:
            raise ScreenError(
                f"the desk: closed because the screen broke ({self.fault!r}); every change until then is kept. "
                "Open it again."
            ) from self.fault

    def get_default_screen(self) -> Screen[None]:
        """The list."""
        return self._screen

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """What the command palette offers."""
        yield from super().get_system_commands(screen)
        yield SystemCommand("Keys", "What every key does", self._screen.action_keys)
        yield SystemCommand("Cows not seen", "With a reason each", self._screen.action_unseen)
        yield SystemCommand("Hear all again", "Everything that is shown", self._screen.action_hear_all)
