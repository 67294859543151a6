"""One of a few, chosen with the arrow keys."""

from collections.abc import Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.message import Message
from textual.widgets import Static


class Choice(Static, can_focus=True):
    """One line that shows what is chosen."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("right,space", "choose(1)", "another", show=False),
        Binding("left", "choose(-1)", "another", show=False),
        Binding("enter", "submit", "take it", show=False),
    ]

    class Changed(Message):
        """Another one was chosen."""

        def __init__(self, choice: "Choice") -> None:
            super().__init__()
            self.choice = choice

    class Submitted(Message):
        """It is to be this one."""

        def __init__(self, choice: "Choice") -> None:
            super().__init__()
            self.choice = choice

    def __init__(self, options: Sequence[str], id: str, chosen: int = 0) -> None:
        super().__init__(id=id, markup=False)
        self._options, self.chosen = options, chosen

    def on_mount(self) -> None:
        """Show the first choice."""
        self._show()

    def action_choose(self, by: int) -> None:
        """Choose the next one, or the one before it; after the last comes the first."""
        if len(self._options) > 1:
            self.chosen = (self.chosen + by) % len(self._options)
            self._show()
            self.post_message(self.Changed(self))

    def action_submit(self) -> None:
        """It stays as it is."""
        self.post_message(self.Submitted(self))

    def _show(self) -> None:
        name = self._options[self.chosen] if self._options else "none"
        self.update(f"◂ {name} ▸" if len(self._options) > 1 else name, layout=False)
