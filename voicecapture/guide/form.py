"""The form of the guided start: every field with how it was understood, and the microphone with its meter."""

import queue
from collections.abc import Mapping, Sequence
from datetime import date
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.events import DescendantFocus
from textual.message import Message
from textual.screen import Screen
from textual.suggester import Suggester
from textual.widget import Widget
from textual.widgets import Input, Static

from voicecapture.bars import DecisionSettings
from voicecapture.dashboard.widgets import KeyHints, Lines, SoundPanel
from voicecapture.day import ScanKind
from voicecapture.guide.choice import Choice
from voicecapture.rehearsal import Ended, Rehearsal, Source, Told
from voicecapture.sound import level_words
from voicecapture.start import Field, Remark, Sign, Start, about, filled, lists_near, remark
from voicecapture.update import Update

EVERY_S = 1 / 30
"""How often a screen looks for what was told."""
_MICROPHONE = "microphone"
_FILES = (Field.HERD, Field.MATINGS)
_MOST_NEAR = 8
_SCANS = {ScanKind.AGED: "aged", ScanKind.YES_NO: "yes or no"}
_PLACEHOLDERS = {
    Field.HERD: "herd.csv",
    Field.MATINGS: "matings.csv",
    Field.SCANNED_ON: "yyyy-mm-dd",
    Field.MATING_START: "yyyy-mm-dd",
}


class _Files(Suggester):
    """Goes on with the name of a file; the right arrow takes it."""

    async def get_suggestion(self, value: str) -> str | None:
        """See `Suggester`."""
        return next(iter(lists_near(value)), None) if value else None


class FormScreen(Screen[None]):
    """What is to be known before the day."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("down", "app.focus_next", "next field", show=False),
        Binding("up", "app.focus_previous", "field before", show=False),
        Binding("escape", "app.quit", "begin no day", show=False),
    ]

    class FilledIn(Message):
        """Nothing is missing: on to the check."""

        def __init__(self, start: Start, source: Source) -> None:
            super().__init__()
            self.start, self.source = start, source

    def __init__(
        self,
        sources: Sequence[Source],
        no_source: str,
        today: date,
        bars: DecisionSettings,
        start: Start,
        typed: Mapping[Field, str],
    ) -> None:
        super().__init__()
        self._sources, self._no_source, self._today, self._bars = sources, no_source, today, bars
        self._start, self._typed = start, typed
        self._shown = ""
        self._rehearsal: Rehearsal | None = None
        self._told: queue.SimpleQueue[Told] = queue.SimpleQueue()

    def compose(self) -> ComposeResult:
        """A row for each field, and under them what there is to know about the one with the cursor."""
        with Vertical(id="form") as form:
            form.border_title = "before the day"
            for field in Field:
                yield self._row(field, self._input(field))
            names = [source.name for source in self._sources]
            yield self._row(_MICROPHONE, Choice(names, _MICROPHONE))
        with VerticalScroll(id="about", can_focus=False):
            yield Static("", id="understood", markup=False)
        yield SoundPanel("", self._bars)
        yield Lines("needed")
        yield KeyHints()

    def _input(self, field: Field) -> Widget:
        if field is Field.SCAN:
            return Choice(list(_SCANS.values()), field.name, list(_SCANS).index(self._start.scan))
        return Input(
            self._typed.get(field, ""),
            placeholder=_PLACEHOLDERS.get(field, ""),
            suggester=_Files(use_cache=False) if field in _FILES else None,
            select_on_focus=False,
            id=field.name,
        )

    def _row(self, name: str, widget: Widget) -> Horizontal:
        return Horizontal(
            Static(name, classes="label"),
            widget,
            Lines(f"{widget.id}-remark"),
            classes="row",
        )

    def on_mount(self) -> None:
        """Begin with the first thing that is missing; with nothing missing, with the microphone."""
        self.set_interval(EVERY_S, self._take_told)
        missing = self._start.missing
        self.query_one(f"#{missing[0].name if missing else _MICROPHONE}").focus()
        self._show()

    # ---- what is typed ----------------------------------------------------------------------------

    def on_input_changed(self, changed: Input.Changed) -> None:
        """Say at every letter what is understood."""
        self._start = filled(self._start, Field[str(changed.input.id)], changed.value)
        self._show()

    def on_choice_changed(self, changed: Choice.Changed) -> None:
        """The other kind of scan, or another microphone."""
        if changed.choice.id == _MICROPHONE:
            self._listen()
        else:
            self._start = filled(self._start, Field.SCAN, list(_SCANS)[changed.choice.chosen])
        self._show()

    def on_input_submitted(self) -> None:
        """On to the next field."""
        self.focus_next()

    def on_choice_submitted(self, submitted: Choice.Submitted) -> None:
        """On to the next field; from the last one to the check."""
        if submitted.choice.id != _MICROPHONE:
            self.focus_next()
        elif self._start.missing:
            self.query_one(f"#{self._start.missing[0].name}").focus()
        elif self._sources:
            self._let_go()
            self.post_message(self.FilledIn(self._start, self._source))

    def on_descendant_focus(self, _event: DescendantFocus) -> None:
        """The microphone is listened to only while it is chosen."""
        self._listen()
        self._show()

    def on_screen_resume(self) -> None:
        """Back from the check."""
        self._listen()

    def on_unmount(self) -> None:
        """However the screen is left, the microphone is let go of."""
        self._let_go()

    # ---- the microphone ---------------------------------------------------------------------------

    @property
    def _source(self) -> Source:
        return self._sources[self.query_one(f"#{_MICROPHONE}", Choice).chosen]

    @property
    def _at(self) -> str:
        """The row with the cursor."""
        return str(self.focused.id) if self.focused is not None else ""

    def _listen(self) -> None:
        self._let_go()
        if self._at == _MICROPHONE and self._sources:
            self.query_one("#source", Static).update(self._source.name)
            self._told = queue.SimpleQueue()
            self._rehearsal = Rehearsal(self._source, self._told.put)

    def _let_go(self) -> None:
        if self._rehearsal is not None:
            self._rehearsal.stop()
            self._rehearsal = None

    def _take_told(self) -> None:
        level: Update | None = None
        while not self._told.empty():
            told = self._told.get()
            if isinstance(told, Update):
                level = told
            elif isinstance(told, Ended) and told.failure:
                self._remark(_MICROPHONE, Remark(Sign.WRONG, "cannot be used"))
                self.query_one("#needed", Lines).put(told.failure)
        if level is not None:
            self.query_one(SoundPanel).show(level)
            words = level_words(level)
            self._remark(_MICROPHONE, Remark(Sign.ODD if words else Sign.GOOD, words or "sound arrives"))

    # ---- what is shown ----------------------------------------------------------------------------

    def _show(self) -> None:
        for field in Field:
            self._remark(field.name, remark(self._start, field, self._today))
        is_microphone = self._at == _MICROPHONE
        self.query_one(SoundPanel).display = is_microphone and bool(self._sources)
        panel = self.query_one("#about")
        panel.display = not is_microphone or not self._sources
        panel.border_title = self._at.lower() if is_microphone else str(Field[self._at]) if self._at else ""
        told = self._about()
        if told != self._shown:
            self._shown = told
            self.query_one("#understood", Static).update(told)
        self._show_needed()
        self._hint()

    def _about(self) -> str:
        if self._at == _MICROPHONE:
            return self._no_source
        if not self._at:
            return ""
        field = Field[self._at]
        text = about(self._start, field)
        if field in _FILES and (field in self._start.faults or not self.query_one(f"#{field.name}", Input).value):
            near = lists_near(self.query_one(f"#{field.name}", Input).value)
            text += "".join(f"\n  {name}" for name in near[:_MOST_NEAR])
        return text

    def _show_needed(self) -> None:
        wrong = [str(field) for field in self._start.faults]
        needed = [str(field) for field in self._start.missing if field not in self._start.faults]
        needed += [] if self._sources else [_MICROPHONE]
        parts = [f"✗ to put right: {', '.join(wrong)}"] * bool(wrong)
        parts += [f"? needed: {', '.join(needed)}"] * bool(needed)
        line = self.query_one("#needed", Lines)
        line.put("   ".join(parts) or "✓ nothing is missing")
        line.set_class(bool(parts), "missing")

    def _remark(self, row: str, found: Remark) -> None:
        place = self.query_one(f"#{row}-remark", Lines)
        place.put(f"{found.sign} {found.words}")
        place.set_class(found.sign in (Sign.WRONG, Sign.NEEDED, Sign.ODD), "wanting")

    def _hint(self) -> None:
        keys = [("enter", "next"), ("up down", "fields")]
        if self._at == _MICROPHONE:
            is_ready = bool(self._sources) and not self._start.missing
            keys = [("enter", "to the voice check" if is_ready else "to what is missing"), ("left right", "another")]
        elif self._at == Field.SCAN.name:
            keys.append(("left right", "another"))
        elif self._at and Field[self._at] in _FILES:
            keys.append(("right", "take the name"))
        self.query_one(KeyHints).show((*keys, ("esc", "begin no day"), ("^p", "more")))
