"""The desk as a Textual application; what it does is in `sitting`, what it shows in `detail`."""

from collections.abc import Iterable
from typing import ClassVar

from textual.app import App, SystemCommand
from textual.binding import Binding, BindingType
from textual.screen import Screen

from voicecapture.dashboard.app import _DAY, _NIGHT
from voicecapture.desk.player import Player
from voicecapture.desk.screen import DeskScreen
from voicecapture.desk.sitting import Sitting
from voicecapture.errors import ScreenError


class DeskApp(App[None]):
    """The desk after milking."""

    CSS_PATH = "desk.tcss"
    TITLE = "voicecapture review"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("l", "light_or_dark", "light or dark", show=False),
        Binding("q", "quit", "leave the desk"),
        Binding("ctrl+q", "quit", "leave the desk", show=False, priority=True),
    ]

    def __init__(self, sitting: Sitting, player: Player) -> None:
        super().__init__()
        self.HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (120, "-wide")]
        self.VERTICAL_BREAKPOINTS = [(0, "-low"), (40, "-high")]
        self._player = player
        self._screen = DeskScreen(sitting, player)
        self._fault: Exception | None = None

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
                f"the desk: closed because the screen broke ({self._fault!r}); every change until then is kept. "
                "Open it again."
            ) from self._fault

    def get_default_screen(self) -> Screen[None]:
        """The list."""
        return self._screen

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """What the command palette offers."""
        yield from super().get_system_commands(screen)
        yield SystemCommand("Light or dark", "For daylight, or before dawn", self.action_light_or_dark)
        yield SystemCommand("Keys", "What every key does", self._screen.action_keys)
        yield SystemCommand("Cows not seen", "With a reason each", self._screen.action_unseen)
        yield SystemCommand("Hear all again", "Everything that is shown", self._screen.action_hear_all)

    def on_mount(self) -> None:
        """In the look of the shed."""
        self.register_theme(_NIGHT)
        self.register_theme(_DAY)
        self.theme = _NIGHT.name

    def _handle_exception(self, error: Exception) -> None:
        """Textual's own way out of a fault, without its traceback: `sit` tells it in a sentence."""
        self._fault = self._fault or error
        super()._handle_exception(error)
        self._exit_renderables.clear()

    def action_light_or_dark(self) -> None:
        """For daylight, or before dawn."""
        self.theme = _DAY.name if self.current_theme.dark else _NIGHT.name
