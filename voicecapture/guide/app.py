"""The guided start as a Textual application: a form, then the voice check. Nothing is kept before the day begins."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.screen import Screen

from voicecapture.bars import DecisionSettings
from voicecapture.dashboard.look import Look
from voicecapture.errors import ScreenError
from voicecapture.guide.checking import CheckScreen
from voicecapture.guide.form import FormScreen
from voicecapture.rehearsal import Begun, Check, Source
from voicecapture.start import Field, Start
from voicecapture.verdict import VoiceCheck


@dataclass(frozen=True, slots=True)
class Guide:
    """What the guided start works with."""

    sources: Sequence[Source]
    """The microphones, the one that is offered first."""
    no_source: str
    """Why there is none, in a sentence."""
    check: Check
    today: date
    bars: DecisionSettings
    now: Callable[[], str]
    """The time in UTC, as in ISO 8601."""


class GuideApp(Look[Begun]):
    """From nothing to the day; it is left with `Begun`, or with None."""

    CSS_PATH = "guide.tcss"
    TITLE = "voicecapture new"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+q", "quit", "begin no day", show=False, priority=True),
    ]

    def __init__(self, guide: Guide, start: Start, typed: Mapping[Field, str]) -> None:
        """Make the screens.

        Args:
            guide: What they work with.
            start: What was chosen already.
            typed: The same as it was typed, by the names of the fields.
        """
        super().__init__()
        self._guide = guide
        self._form = FormScreen(guide.sources, guide.no_source, guide.today, guide.bars, start, typed)
        self._checks: list[VoiceCheck] = []

    def ask(self) -> Begun | None:
        """Show it until the day is to begin; None if none is.

        Raises:
            ScreenError: If the screen broke.
        """
        begun = self.run()
        if self.return_code:
            raise ScreenError(
                f"the guided start: closed because the screen broke ({self.fault!r}); no day was begun. "
                "Begin with `voicecapture new --plain`."
            ) from self.fault
        return begun

    def get_default_screen(self) -> Screen[None]:
        """The form."""
        return self._form

    def on_form_screen_filled_in(self, filled: FormScreen.FilledIn) -> None:
        """The form is whole: on to the check."""
        start, source = filled.start, filled.source

        def left(begins: bool | None) -> None:
            if begins:
                self.exit(Begun(start, source, tuple(self._checks)))

        screen = CheckScreen(source, self._guide.check, self._guide.bars, self._guide.now, self._checks.append)
        self.push_screen(screen, left)
