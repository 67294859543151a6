"""The screen itself: it shows updates, and its keys are intentions that it hands on."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container, Horizontal, Vertical
from textual.screen import Screen
from textual.widgets import Input

from voicecapture.bars import DecisionSettings
from voicecapture.dashboard.sayings import Sayings
from voicecapture.dashboard.widgets import (
    Alerts,
    AtGate,
    KeyHints,
    LastEntry,
    PacePanel,
    Recent,
    SoundPanel,
    Tally,
    ToCome,
)
from voicecapture.day import Day
from voicecapture.decision import Outcome
from voicecapture.herd import Herd
from voicecapture.language.crib import Section
from voicecapture.language.phrase import Answer
from voicecapture.typed import CHANGED, NOT_UNDERSTOOD, TYPED
from voicecapture.update import Update

_ALONE_S = 0.2
"""A digit after which none comes for so long was pressed by hand. Readers that are keyboards need 10 to 30 ms."""


@dataclass(frozen=True, slots=True)
class Shed:
    """What the screen shows that no update tells."""

    source: str
    """The microphone, or the recording."""
    kept_in: Path
    """The day's database."""
    bars: DecisionSettings
    break_after_minutes: float | None
    sayings: tuple[Section, ...]
    """Everything that can be said."""


class ShedScreen(Screen[None]):
    """A day as it goes on."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("e", "type", "type an entry"),
        Binding("n", "answer('neither')", "neither"),
        Binding("question_mark,f1", "sayings", "what to say"),
        Binding("escape", "stop_typing", "take nothing"),
    ]

    def __init__(self, type_line: Callable[[str, Day], None], shed: Shed) -> None:
        super().__init__()
        self._type_line, self._shed = type_line, shed
        self._day, self._seen = Day(Herd()), Day(Herd())
        self._is_typing, self._offered = False, 0
        self._digit: tuple[str, Day] | None = None
        """A digit that was pressed just now, and the day that was shown."""

    def compose(self) -> ComposeResult:
        """The widgets, from the most important down."""
        yield LastEntry()
        with Horizontal(id="middle"):
            yield Tally()
            yield PacePanel(self._shed.break_after_minutes)
            yield SoundPanel(self._shed.source, self._shed.bars)
        with Container(id="below"):
            with Vertical(id="look"):
                yield Alerts()
                yield AtGate(classes="none")
                yield ToCome()
            yield Recent()
        yield Input(placeholder="as it is said:  417 pregnant 58 days", id="typing", select_on_focus=False)
        yield KeyHints()

    def on_mount(self) -> None:
        """The keys are told from the first."""
        self._hint()

    def show(self, update: Update) -> None:
        """Show what the session told."""
        is_new = update.day is not self._day
        self._day = update.day
        self.query_one(SoundPanel).show(update)
        self.query_one(Alerts).show(update)
        self.query_one(PacePanel).show(update)
        self.query_one(LastEntry).follow(update)
        if update.decision is not None:
            self.query_one(LastEntry).show(update)
            self.query_one(Recent).show(update)
            self._show_typed(update)
        if is_new:
            self.query_one(Tally).show(update)
            self.query_one(AtGate).show(update)
            self.query_one(ToCome).show(update)
            self._offer_answers()

    def _show_typed(self, update: Update) -> None:
        """Tell what was typed in vain, and give it back to be put right."""
        assert update.decision is not None
        event = update.decision.event
        if event.utterance is not None or update.decision.outcome is not Outcome.IGNORED:
            return
        self.notify(event.reason, severity="warning", markup=False)
        line = event.heard.removeprefix(TYPED)
        if event.reason in (NOT_UNDERSTOOD, CHANGED) and line not in list(Answer) and not self._is_typing:
            self.action_type(line)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Answers are offered while something is asked that they answer; the way back while something is typed."""
        if action == "stop_typing":
            return self._is_typing
        return action != "answer" or self._offered > 0

    def _offer_answers(self) -> None:
        """Offer the keys that answer what is asked now."""
        asked = self._day.questions.get(self._day.current) if self._day.current is not None else None
        self._offered = len(asked.candidates) if asked is not None else 0
        self._hint()

    def _hint(self) -> None:
        """Tell the keys that do something now."""
        if self._is_typing:
            self.query_one(KeyHints).show((("enter", "take it"), ("esc", "take nothing"), ("F1", "what to say")))
            return
        answers = (("1", "first"), ("2", "second"))[: self._offered] + ((("n", "neither"),) if self._offered else ())
        always = (("?", "what to say"), ("q", "end the day"), ("^p", "more"))
        self.query_one(KeyHints).show((("e", "type"), *answers, *always))

    def on_key(self, event: events.Key) -> None:
        """A digit alone answers; digits that follow at once are the code of a reader that is a keyboard."""
        digit = event.character or ""
        if not (digit.isascii() and digit.isdigit()):
            self._take_digit()
            return
        event.stop()
        if self._is_typing:  # the line has not the focus yet
            self._type_on(digit)
        elif self._digit is not None:
            text, self._digit = self._digit[0] + digit, None
            self.action_type(text)
        else:
            self._digit = digit, self._day
            self.set_timer(_ALONE_S, self._take_digit)

    def _take_digit(self) -> None:
        """Answer with a digit that remained alone, if it answers what was asked."""
        if self._digit is None:
            return
        (digit, day), self._digit = self._digit, None
        if digit in ("1", "2") and int(digit) <= self._offered:
            self._type_line("first" if digit == "1" else "second", day)

    def _type_on(self, text: str) -> None:
        line = self.query_one("#typing", Input)
        line.value += text
        line.cursor_position = len(line.value)

    def action_answer(self, answer: str) -> None:
        """Answer the question that is shown."""
        self._type_line(answer, self._day)

    def action_type(self, text: str = "") -> None:
        """Open the line for an entry by hand."""
        line = self.query_one("#typing", Input)
        line.focus()
        if not self._is_typing:
            self._is_typing, self._seen = True, self._day
            line.add_class("open")
            line.value = ""
            self._type_on(text)
            self._hint()

    def action_stop_typing(self) -> None:
        """Close the line; nothing was typed."""
        line = self.query_one("#typing", Input)
        self._is_typing = False
        line.remove_class("open")
        line.value = ""
        self._hint()
        self.query_one(Recent).focus()

    def on_input_submitted(self, submitted: Input.Submitted) -> None:
        """Hand on what was typed."""
        line, seen = submitted.value.strip(), self._seen
        self.action_stop_typing()
        if line:
            self._type_line(line, seen)

    def action_sayings(self) -> None:
        """Show what can be said."""
        self.app.push_screen(Sayings(self._shed.sayings))
