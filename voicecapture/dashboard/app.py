"""Runs the listening in a thread of its own and shows what it tells.

The two meet in a queue: the session puts updates into it and never waits for the screen, and a screen that breaks
cannot break the session.
"""

import queue
import threading
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, ClassVar

from textual.app import SystemCommand
from textual.binding import Binding, BindingType
from textual.screen import Screen

from voicecapture.dashboard.look import Look
from voicecapture.dashboard.shed import Shed, ShedScreen
from voicecapture.dashboard.watch import Watch
from voicecapture.day import Day
from voicecapture.errors import ScreenError
from voicecapture.update import Update

if TYPE_CHECKING:  # the server is loaded only where it serves
    from voicecapture.dashboard.web import WebScreen

_EVERY_S = 1 / 30
"""How often the screen looks for updates."""
_PICTURE_EVERY_S = 0.5
"""How often it leaves a picture for browsers that watch; one takes about 15 ms."""


class Dashboard(Look[None]):
    """The screen; it never calls a stage of the listening."""

    CSS_PATH = "dashboard.tcss"
    TITLE = "voicecapture"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("q", "quit", "end the day"),
        Binding("w", "watch", "watch in a browser", show=False),
    ]

    def __init__(
        self,
        run_session: Callable[[Callable[[Update], None]], Day],
        type_line: Callable[[str, Day], None],
        stop: threading.Event,
        shed: Shed,
        web: "WebScreen | None" = None,
    ) -> None:
        """Make the screen.

        Args:
            run_session: Listens until `stop` is set; told where updates go.
            type_line: Takes a typed line with the day that was shown when it was typed.
            stop: Set when the user ends the day.
            shed: What is shown that no update tells.
            web: Where browsers watch.
        """
        super().__init__()
        self._run_session, self._stop, self._shed, self._web = run_session, stop, shed, web
        self._screen = ShedScreen(type_line, shed)
        self._updates: queue.SimpleQueue[Update] = queue.SimpleQueue()
        self._session = threading.Thread(target=self._listen, name="session")
        self._failure: Exception | None = None

    def run_day(self, headless: bool = False) -> None:
        """Show the day until it has ended.

        Args:
            headless: Without a terminal.

        Raises:
            ScreenError: If the screen broke; the listening was ended in order.
            VoiceCaptureError: What the session raised.
        """
        try:
            self.run(headless=headless)
        finally:
            self._stop.set()
            if self._session.is_alive():
                self._session.join()
        if self._failure is not None:
            raise self._failure
        if self.return_code:
            raise ScreenError(
                f"{self._shed.kept_in}: the day was cut short, because the screen broke ({self.fault!r}); what "
                "was taken until then is kept. Go on with `voicecapture listen --plain`."
            ) from self.fault

    def get_default_screen(self) -> Screen[None]:
        """The shed."""
        return self._screen

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """What the command palette offers."""
        yield from super().get_system_commands(screen)
        yield SystemCommand("What to say", "Everything that can be said", self._screen.action_sayings)
        if self._web is not None:
            yield SystemCommand("In a browser", "The address for a phone", self.action_watch)
        yield SystemCommand("Type an entry", "By hand, in the words that are said", self._screen.action_type)

    def on_mount(self) -> None:
        """Begin to listen."""
        self._session.start()
        self.set_interval(_EVERY_S, self._take_updates)
        if self._web is not None:
            self._pictures = self.set_interval(_PICTURE_EVERY_S, self._leave_picture)
            self.notify("w: where to watch in a browser")

    def _listen(self) -> None:
        try:
            self._run_session(self._updates.put)
        except Exception as error:  # raised again by `run_day`, outside the screen
            self._failure = error

    def _take_updates(self) -> None:
        if not self._screen.is_mounted:
            return  # on a busy machine the session may be the quicker one
        has_ended = not self._session.is_alive()
        level: Update | None = None
        while not self._updates.empty():
            update = self._updates.get()
            level = update
            if update.decision is not None:
                self._screen.show(update)
                level = None
        if level is not None:
            self._screen.show(level)
        if has_ended:
            self.exit()

    def _leave_picture(self) -> None:
        """For browsers, while one watches. If it cannot be drawn the day goes on all the same."""
        if self._web is None or not self._web.is_watched:
            return
        try:
            self._web.show(self.picture())
        except Exception as error:
            self._pictures.stop()
            self.notify(f"no more pictures for browsers ({error!r})", severity="warning", markup=False)

    def action_watch(self) -> None:
        """Show where to watch in a browser."""
        if self._web is not None:
            self.push_screen(Watch(self._web.url))

    def on_unmount(self) -> None:
        """However the screen is left, the listening ends in order; it must not go on unseen."""
        self._stop.set()

    async def action_quit(self) -> None:
        """Stop listening; the screen closes when what is being said is kept. Twice: it closes at once."""
        if self._stop.is_set():
            self.exit()
        self._stop.set()
        self.notify("ending the day")
