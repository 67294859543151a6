"""A list of any length of which only the rows on the screen are made.

Textual's own table was measured to take 1.3 s to lay out 5,000 rows, at the start and again after every change of
their order; this takes as long for 5,000 rows as for 50.
"""

from collections.abc import Callable, Sequence
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from rich.text import Text
from textual import events
from textual.binding import Binding, BindingType
from textual.geometry import Region, Size
from textual.reactive import reactive
from textual.scroll_view import ScrollView
from textual.strip import Strip


def cells(parts: Sequence[str], widths: Sequence[int]) -> str:
    """Parts side by side, each cut or filled to its width; a width of 0 leaves a part out."""
    fitted = []
    for part, width in zip(parts, widths, strict=True):
        if width:
            text = Text(part)
            text.truncate(width, overflow="ellipsis", pad=True)
            fitted.append(text.plain)
    return " ".join(fitted)


Parts = tuple[tuple[str, str], ...]
"""Texts with their looks: a component class of `Rows`, or nothing."""


class Rows(ScrollView, can_focus=True):
    """Rows of text with a cursor."""

    DEFAULT_CSS = "Rows { overflow-x: hidden; }"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "move(-1)", "up", show=False),
        Binding("down", "move(1)", "down", show=False),
        Binding("pageup", "page(-1)", "a page up", show=False),
        Binding("pagedown", "page(1)", "a page down", show=False),
        Binding("home", "move(-1_000_000_000)", "first", show=False),
        Binding("end", "move(1_000_000_000)", "last", show=False),
    ]
    COMPONENT_CLASSES: ClassVar[set[str]] = {"rows--cursor", "rows--needed", "rows--label"}

    cursor = reactive(0, init=False, repaint=False)
    """The chosen row, from 0. Who watches it is told when the user chooses another."""

    def __init__(self, line: Callable[[int, int], Parts], id: str, has_cursor: bool = True) -> None:
        """Make an empty list.

        Args:
            line: The parts of a row, given its number and the columns that it has.
            id: Of the widget.
            has_cursor: One row is chosen.
        """
        super().__init__(id=id)
        self._line, self._count, self._has_cursor = line, 0, has_cursor

    def show(self, count: int, cursor: int = 0) -> None:
        """Show so many rows, of which one is chosen."""
        self._count = count
        self.virtual_size = Size(1, count)
        self.set_reactive(Rows.cursor, max(0, min(cursor, count - 1)))
        self.refresh()
        if self._has_cursor:
            self._follow()

    def render_line(self, y: int) -> Strip:
        """See `ScrollView`."""
        width, number = self.scrollable_content_region.width, y + round(self.scroll_y)
        if number >= self._count:
            return Strip.blank(width, self.rich_style)
        plain, over = self.rich_style, Style()
        if self._has_cursor and number == self.cursor:
            over = self.get_component_rich_style("rows--cursor", partial=True)
        segments = [
            Segment(text, plain + (self.get_component_rich_style(look, partial=True) if look else Style()) + over)
            for text, look in self._line(number, width)
        ]
        return Strip(segments).adjust_cell_length(width, plain + over)

    def on_resize(self, _event: events.Resize) -> None:
        """The chosen row stays on the screen."""
        if self._has_cursor:
            self._follow()

    def action_move(self, by: int) -> None:
        """Choose another row."""
        self.cursor = max(0, min(self.cursor + by, self._count - 1))

    def action_page(self, pages: int) -> None:
        """Choose the row a page away."""
        self.action_move(pages * max(1, self.scrollable_content_region.height - 1))

    def watch_cursor(self, was: int, now: int) -> None:
        """Bring the chosen row on the screen."""
        top = round(self.scroll_y)
        self._follow()
        if round(self.scroll_y) == top:
            # Nothing moved: only two rows look different.
            self.refresh(*(Region(0, number - top, self.size.width, 1) for number in (was, now)))

    def on_click(self, event: events.Click) -> None:
        """Choose the row under the pointer."""
        number = event.y + round(self.scroll_y)
        if number < self._count:
            self.cursor = number

    def _follow(self) -> None:
        height = self.scrollable_content_region.height
        top = round(self.scroll_y)
        if self.cursor < top or self.cursor >= top + height > top:
            self.scroll_to(
                y=self.cursor if self.cursor < top else self.cursor - height + 1, animate=False, force=True
            )
