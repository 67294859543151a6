"""The help screen: everything that can be said, from the grammar, and the keys."""

from typing import ClassVar

from rich.table import Table
from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Static

from voicecapture.language.crib import Section

_KEYS = Section(
    "Keys",
    (
        "e: type an entry as it is said, such as 417 pregnant 58 days; cow numbers and ages in figures",
        "1, 2, n: first, second or neither, while something is asked",
        "l: light or dark   up, down: older entries   ctrl+p: everything else   q: end the day",
    ),
)


class Sayings(ModalScreen[None]):
    """What to say and what to press; any of its keys closes it."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,question_mark,f1,q", "dismiss", "back to the shed")]

    def __init__(self, sections: tuple[Section, ...]) -> None:
        super().__init__()
        self._sections = (*sections, _KEYS)

    def compose(self) -> ComposeResult:
        """One row for each thing that can be said; the arrow keys scroll."""
        table = Table.grid(padding=(0, 2, 1, 0))
        table.add_column(style="bold", width=18)
        table.add_column()
        for section in self._sections:
            # Brackets are part of what is shown and no markup.
            table.add_row(section.title, Text("\n".join(section.sayings)))
        with VerticalScroll(id="sayings"):
            yield Static("NUMBER is any number; [what is in brackets] may be left out", markup=False)
            yield Static(table)

    def on_mount(self) -> None:
        """The arrow keys scroll at once."""
        sayings = self.query_one(VerticalScroll)
        sayings.border_subtitle = "arrow keys: more   esc: back to the shed"
        sayings.focus()
