"""The address of the screen in a browser, as text and as a code for the camera of a phone."""

from typing import ClassVar

import segno
from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Static

_HALVES = {(0, 0): " ", (1, 0): "▀", (0, 1): "▄", (1, 1): "█"}


class Watch(ModalScreen[None]):
    """Where to watch; any of its keys closes it."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,w,q", "dismiss", "back to the shed")]

    def __init__(self, url: str) -> None:
        super().__init__()
        self._url = url

    def compose(self) -> ComposeResult:
        """The code, and the address under it."""
        with Vertical(id="watch"):
            yield Static(Text(code(self._url), "black on white"), id="code")
            yield Static(self._url, markup=False)

    def on_mount(self) -> None:
        """How to go back."""
        self.query_one("#watch").border_subtitle = "esc: back to the shed"


def code(text: str) -> str:
    """A QR code as lines of half blocks, dark on light."""
    rows = [list(map(int, row)) for row in segno.make_qr(text, error="l").matrix_iter(border=2)]
    rows += [[0] * len(rows[0])] * (len(rows) % 2)
    lines = (zip(*two, strict=True) for two in zip(rows[::2], rows[1::2], strict=True))
    return "\n".join("".join(map(_HALVES.__getitem__, line)) for line in lines)
