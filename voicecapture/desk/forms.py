"""What opens over the desk: the form for an entry, the cows that were not seen, the keys."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import ClassVar

from rich.table import Table
from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from voicecapture.amend import ABSENCES
from voicecapture.dashboard.widgets import KeyHints
from voicecapture.desk.rows import Parts, Rows, cells
from voicecapture.desk.sitting import Checked
from voicecapture.errors import RecordError
from voicecapture.language.phrase import Entry

Filled = tuple[list[Entry], str]
"""What was entered, and why."""


@dataclass(frozen=True, slots=True)
class Blank:
    """One entry of a form before it is filled in."""

    cow: str
    found: str
    is_found_fixed: bool = False


class EntryForm(ModalScreen[Filled | None]):
    """One entry or two, checked as they are typed."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss(None)", "change nothing")]

    def __init__(self, title: str, blanks: Sequence[Blank], check: Callable[[str, str], Checked]) -> None:
        super().__init__()
        self._title, self._blanks, self._check = title, blanks, check

    def compose(self) -> ComposeResult:
        """A line for each entry with what it is understood to be under it."""
        with Vertical(id="form"):
            for place, blank in enumerate(self._blanks):
                with Horizontal(classes="blank"):
                    yield Input(
                        blank.cow,
                        placeholder="cow",
                        id=f"cow-{place}",
                        classes="cow",
                        max_length=5,
                        select_on_focus=False,
                    )
                    yield Input(
                        blank.found,
                        placeholder="as it is said:  pregnant 58 days",
                        id=f"found-{place}",
                        classes="found",
                        disabled=blank.is_found_fixed,
                        select_on_focus=False,
                    )
                yield Static("", id=f"check-{place}", classes="check", markup=False)
            yield Input(placeholder="why, for the record; may stay empty", id="why")
            yield KeyHints()

    def on_mount(self) -> None:
        """Begin in the last entry, where it is wanted."""
        form = self.query_one("#form")
        form.border_title = self._title
        self.query_one(KeyHints).show(
            (("enter", "put it on record"), ("tab", "next field"), ("esc", "change nothing"))
        )
        last = self._blanks[-1]
        field = "found" if last.cow and not last.is_found_fixed else "cow"
        self.query_one(f"#{field}-{len(self._blanks) - 1}", Input).focus()
        self._show_checks()

    def on_input_changed(self) -> None:
        """Say at every letter what is understood."""
        self._show_checks()

    def on_input_submitted(self) -> None:
        """Take it, if it can be taken."""
        checks = self._checks()
        entries = [check.entry for check in checks if check.entry is not None]
        if len(entries) == len(checks):
            self.dismiss((entries, self.query_one("#why", Input).value.strip()))

    def _checks(self) -> list[Checked]:
        checks: list[Checked] = []
        for place in range(len(self._blanks)):
            cow, found = (self.query_one(f"#{field}-{place}", Input).value for field in ("cow", "found"))
            check = self._check(cow, found)
            if check.entry is not None and any(c.entry and c.entry.cow == check.entry.cow for c in checks):
                check = Checked(None, f"cow {check.entry.cow}: named twice; expected two cows. Correct one number.")
            checks.append(check)
        return checks

    def _show_checks(self) -> None:
        for place, check in enumerate(self._checks()):
            line = self.query_one(f"#check-{place}", Static)
            sign = "✗" if check.entry is None else "!" if check.cautions else "✓"
            line.update(f"{sign} {'; '.join((check.words, *check.cautions))}")
            line.set_class(check.entry is None, "wrong")
            line.set_class(bool(check.cautions), "caution")


_ABSENCE_KEYS = dict(zip("asdox", ABSENCES, strict=True))


class Unseen(ModalScreen[None]):
    """The cows of the list without a result, with one key for each reason."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,c,q", "dismiss", "back to the desk"),
        Binding("u", "undo", "undo"),
        *(Binding(key, f"note('{reason}')", reason) for key, reason in _ABSENCE_KEYS.items()),
    ]

    def __init__(
        self, cows: Callable[[], list[tuple[str, str]]], note: Callable[[str, str], None], undo: Callable[[], str]
    ) -> None:
        super().__init__()
        self._cows, self._note, self._undo = cows, note, undo
        self._listed = cows()

    def compose(self) -> ComposeResult:
        """One row a cow."""
        with Vertical(id="unseen"):
            yield Rows(self._line, id="unseen-rows")
            yield Static("", id="unseen-told", markup=False)
            yield KeyHints()

    def on_mount(self) -> None:
        """The first cow is chosen."""
        hints = [(key, reason) for key, reason in _ABSENCE_KEYS.items()]
        self.query_one(KeyHints).show((*hints, ("u", "undo"), ("esc", "back")))
        self._show(0)
        self.query_one(Rows).focus()

    def _line(self, number: int, width: int) -> Parts:
        cow, why = self._listed[number]
        text = cells(("✓" if why else "?", cow, why or "not seen"), (1, 6, max(1, width - 9)))
        return ((text, "" if why else "rows--needed"),)

    def _show(self, cursor: int) -> None:
        self._listed = self._cows()
        unsaid = sum(not why for _, why in self._listed)
        self.query_one("#unseen").border_title = f"{len(self._listed)} cows not seen, {unsaid} without a reason"
        self.query_one(Rows).show(len(self._listed), cursor)

    def action_note(self, reason: str) -> None:
        """Put the reason on record and go on to the next cow."""
        cursor = self.query_one(Rows).cursor
        if not self._listed:
            return
        cow, _ = self._listed[cursor]
        self._tell(lambda: self._note(cow, reason), f"{cow}: {reason}")
        self._show(cursor + 1)

    def action_undo(self) -> None:
        """Undo the last change."""
        undone: list[str] = []
        self._tell(lambda: undone.append(self._undo()), "")
        if undone:
            self.query_one("#unseen-told", Static).update(f"undone: {undone[0]}" if undone[0] else "nothing to undo")
        self._show(self.query_one(Rows).cursor)

    def _tell(self, change: Callable[[], None], done: str) -> None:
        try:
            change()
        except RecordError as error:
            done = str(error)
        self.query_one("#unseen-told", Static).update(done)


KEYS = (
    ("arrows", "another item; page up, page down, home and end too"),
    ("space", "more about it, where there is more than fits"),
    ("p   s   b", "play it, play it slower, play it with the three seconds before"),
    ("1 to 9", "take that alternative"),
    ("e or enter", "the form: change any field, checked as it is typed; enter in it puts it on record"),
    ("m", "move it to another cow"),
    ("t", "make two entries of it"),
    ("n", "it is not an entry"),
    ("r", "right as it is: nothing is left to settle"),
    ("u", "undo the last change of this sitting; the undoing stands in the record too"),
    ("c", "cows of the list that were not seen, with a key for each reason"),
    ("h   H", "hear it again with today's engine, or all that are shown; changes nothing by itself; esc stops"),
    ("/", "search cow, words, need or person; enter goes to the list, esc shows everything again"),
    ("f   o", "show others, go by another order"),
    ("l   ^p   q", "light or dark, everything else, leave the desk"),
)


class Keys(ModalScreen[None]):
    """What every key does, and what the signs mean."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,question_mark,f1,q", "dismiss", "back to the desk")]

    def compose(self) -> ComposeResult:
        """The arrow keys scroll."""
        table = Table.grid(padding=(0, 2, 0, 0))
        table.add_column(style="bold", width=12)
        table.add_column()
        for key, does in KEYS:
            table.add_row(key, Text(does))
        with VerticalScroll(id="keys"):
            yield Static(table)
            yield Static(
                "\n! needs you   ? open   ✓ counts   ✗ no longer counts   · passed over   ≠ heard otherwise today\n"
                "Every change is added to the record with the time and your name; nothing is overwritten.",
                markup=False,
            )

    def on_mount(self) -> None:
        """The arrow keys scroll at once."""
        keys = self.query_one(VerticalScroll)
        keys.border_title = "the desk"
        keys.border_subtitle = "esc: back to the desk"
        keys.focus()
