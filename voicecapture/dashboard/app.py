"""Runs the listening in a thread of its own and shows what it tells."""

import threading
from collections.abc import Callable
from typing import ClassVar

from textual import work
from textual.app import App, ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.message import Message
from textual.widgets import Footer

from voicecapture.dashboard.widgets import CountsPanel, LastEntry, Level, PacePanel, Recent
from voicecapture.day import Day
from voicecapture.update import Update


class UpdateReceived(Message):
    """The session told something."""

    def __init__(self, update: Update) -> None:
        super().__init__()
        self.update = update


class DayEnded(Message):
    """The sound source came to its end, or the session failed."""


class Dashboard(App[None]):
    """The screen; it never calls a stage of the listening."""

    CSS_PATH = "dashboard.tcss"
    TITLE = "voicecapture"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = [("q", "end_day", "End the day")]

    def __init__(self, run_session: Callable[[Callable[[Update], None]], Day], stop: threading.Event) -> None:
        """Make the screen.

        Args:
            run_session: Listens until the source ends or `stop` is set; told where updates go.
            stop: Set when the user ends the day.
        """
        super().__init__()
        self._run_session, self._stop = run_session, stop
        self.failure: Exception | None = None
        """What broke the session, for the caller to raise."""

    def compose(self) -> ComposeResult:
        """The widgets, from the most important down."""
        yield LastEntry()
        with Horizontal(id="middle"):
            yield CountsPanel()
            with Vertical():
                yield PacePanel()
                yield Level()
        yield Recent()
        yield Footer()

    def on_mount(self) -> None:
        """Begin to listen."""
        self._listen()

    @work(thread=True, exit_on_error=False)
    def _listen(self) -> None:
        try:
            self._run_session(self._receive)
        except Exception as error:  # raised again by the caller, outside the screen
            self.failure = error
        self.post_message(DayEnded())

    def _receive(self, update: Update) -> None:
        self.post_message(UpdateReceived(update))

    def on_update_received(self, message: UpdateReceived) -> None:
        """Show what the session told."""
        for widget in self.query("LastEntry, CountsPanel, PacePanel, Level, Recent").results():
            widget.show(message.update)  # type: ignore[attr-defined]

    def on_day_ended(self) -> None:
        """Leave the screen; the sheet follows on the terminal."""
        self.exit()

    def on_unmount(self) -> None:
        """However the screen is left, the listening ends in order; it must not go on unseen."""
        self._stop.set()

    def action_end_day(self) -> None:
        """Stop listening; what is being said is still kept."""
        self._stop.set()
