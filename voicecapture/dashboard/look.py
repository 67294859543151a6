"""What every screen has in common: its colours by night and by day, its sizes, how it is left, and how it breaks."""

import re
from collections.abc import Iterable
from typing import ClassVar, Generic, TypeVar

from textual.app import App, SystemCommand
from textual.binding import Binding, BindingType
from textual.screen import Screen
from textual.theme import Theme

_NIGHT = Theme(
    name="before-dawn",
    primary="#7f8f86",
    secondary="#5c6b63",
    accent="#e8dcc0",
    success="#8fd18a",
    warning="#ffbf3c",
    error="#ff7a66",
    foreground="#f2efe6",
    background="#0f1311",
    surface="#0f1311",
    panel="#1c2420",
    dark=True,
)
_DAY = Theme(
    name="daylight",
    primary="#4d5f55",
    secondary="#7f8f86",
    accent="#5a4a1f",
    success="#1f6b2a",
    warning="#8f5200",
    error="#a8201a",
    foreground="#101512",
    background="#fbfaf4",
    surface="#fbfaf4",
    panel="#e9e6da",
    dark=False,
)

_Outcome = TypeVar("_Outcome")
"""What a screen is left with."""

_FONTS_FROM_ELSEWHERE = re.compile(r"@font-face \{.*?\}\s*", re.DOTALL)
_FONTS = "ui-monospace, Menlo, Consolas, DejaVu Sans Mono, monospace"
_FRAME = re.compile(r'viewBox="0 0 ([\d.]+) ([\d.]+)"')
_FRAME_LEFT, _FRAME_TOP, _FRAME_COLUMNS, _FRAME_ROWS = 9, 41, 18, 50
"""The window that is drawn around a picture of the screen, in its own units."""


class Look(App[_Outcome], Generic[_Outcome]):
    """A screen in the look of the shed."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("l", "light_or_dark", "light or dark", show=False),
        Binding("ctrl+q", "quit", "end", show=False, priority=True),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (120, "-wide")]
        self.VERTICAL_BREAKPOINTS = [(0, "-low"), (40, "-high")]
        self.fault: Exception | None = None
        """What broke the screen first."""

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """What the command palette offers."""
        yield from super().get_system_commands(screen)
        yield SystemCommand("Light or dark", "For daylight, or before dawn", self.action_light_or_dark)

    def on_mount(self) -> None:
        """By night first: it is early."""
        self.register_theme(_NIGHT)
        self.register_theme(_DAY)
        self.theme = _NIGHT.name

    def _handle_exception(self, error: Exception) -> None:
        """Textual's own way out of a fault, without its traceback: whoever runs the screen tells it in a sentence."""
        self.fault = self.fault or error
        super()._handle_exception(error)
        self._exit_renderables.clear()

    def picture(self) -> str:
        """The screen as it is now: an SVG document that loads nothing from elsewhere, without a window around it."""
        svg = _FONTS_FROM_ELSEWHERE.sub("", self.export_screenshot(simplify=True))
        return _FRAME.sub(_without_frame, svg, count=1).replace("Fira Code, monospace", _FONTS, 1)

    def action_light_or_dark(self) -> None:
        """For daylight, or before dawn."""
        self.theme = _DAY.name if self.current_theme.dark else _NIGHT.name


def _without_frame(view: re.Match[str]) -> str:
    width, height = float(view[1]) - _FRAME_COLUMNS, float(view[2]) - _FRAME_ROWS
    return f'viewBox="{_FRAME_LEFT} {_FRAME_TOP} {width:g} {height:g}" width="{width:g}" height="{height:g}"'
