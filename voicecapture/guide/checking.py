"""The voice check on the screen: one line after the other to be read, then figures and verdict."""

import queue
from collections.abc import Callable
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.screen import Screen
from textual.widgets import Static

from voicecapture.bars import DecisionSettings
from voicecapture.dashboard.letters import large
from voicecapture.dashboard.widgets import KeyHints, Lines, SoundPanel
from voicecapture.guide.form import EVERY_S
from voicecapture.rehearsal import Check, Ended, Prompted, Rehearsal, Source, Told
from voicecapture.update import Update
from voicecapture.verdict import LINES, Said, Verdict, VoiceCheck, advice, figures, said_words, slips

_LOOKS = {Verdict.FIT: ("✓", "taken"), Verdict.CARE: ("?", "asking"), Verdict.UNFIT: ("✗", "undone")}
"""Sign and frame of a verdict, as those of an entry in the shed."""


class CheckScreen(Screen[bool]):
    """Left with True when the day is to begin, with False to go back to the form."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("b", "begin", "begin the day"),
        Binding("a", "again", "check again"),
        Binding("escape", "back", "back to the form"),
    ]

    def __init__(
        self,
        source: Source,
        check: Check,
        bars: DecisionSettings,
        now: Callable[[], str],
        keep: Callable[[VoiceCheck], None],
    ) -> None:
        """Make the screen.

        Args:
            source: The microphone.
            check: The check to make.
            bars: Of what the sound is judged by.
            now: The time in UTC, as in ISO 8601.
            keep: Given every check in which anything was said.
        """
        super().__init__()
        self._source, self._check, self._bars, self._now, self._keep = source, check, bars, now, keep
        self._said: list[Said] = []
        self._rehearsal: Rehearsal | None = None
        self._told: queue.SimpleQueue[Told] = queue.SimpleQueue()
        self._prompted = 0

    def compose(self) -> ComposeResult:
        """The line to say, what was heard so far, and the sound."""
        with Vertical(id="line"):
            yield Lines("state")
            yield Static("", id="large", markup=False)
            yield Static("", id="phrase", markup=False)
            yield Lines("last")
        with Horizontal(id="heard"):
            with VerticalScroll(id="lines"):
                yield Static("", id="lines-heard", markup=False)
            yield SoundPanel(self._source.name, self._bars)
        yield KeyHints()

    def on_mount(self) -> None:
        """Begin at once."""
        self.set_interval(EVERY_S, self._take_told)
        self.action_again()

    def on_unmount(self) -> None:
        """However the screen is left, the microphone is let go of."""
        self._break_off()

    # ---- the keys ---------------------------------------------------------------------------------

    def action_again(self) -> None:
        """Begin the check anew."""
        self._break_off()
        self._said, self._prompted, self._told = [], 0, queue.SimpleQueue()
        self.query_one("#state", Lines).put("loading the listener")
        self.query_one("#large", Static).update("")
        for name in ("#phrase", "#lines-heard"):
            self.query_one(name, Static).update("")
        self.query_one("#last", Lines).put("")
        self.query_one("#line").set_classes("")
        self.query_one(SoundPanel).display = True
        self.query_one("#lines").border_title = "heard so far"
        self.query_one(KeyHints).show((("b", "begin unchecked"), ("a", "again"), ("esc", "back to the form")))
        self._rehearsal = Rehearsal(self._source, self._told.put, self._check)

    def action_begin(self) -> None:
        """Begin the day, whatever the check says: the vet decides."""
        self._break_off()
        self.dismiss(True)

    def action_back(self) -> None:
        """Back to the form."""
        self._break_off()
        self.dismiss(False)

    def _break_off(self) -> None:
        """What was said until then is kept, so that no check that went badly is lost."""
        if self._rehearsal is not None:
            self._rehearsal.stop()
            self._rehearsal = None
            if self._said:
                self._keep(VoiceCheck(tuple(self._said), self._now()))

    # ---- what is told -----------------------------------------------------------------------------

    def _take_told(self) -> None:
        level: Update | None = None
        while not self._told.empty():
            match self._told.get():
                case Update() as update:
                    level = update
                case Prompted() as prompted:
                    self._prompt(prompted)
                case Said() as said:
                    self._hear(said)
                case Ended(failure):
                    self._end(failure)
        if level is not None:
            self.query_one(SoundPanel).show(level)

    def _prompt(self, prompted: Prompted) -> None:
        is_again = prompted.number == self._prompted
        self._prompted = prompted.number
        self.query_one("#state", Lines).put(f"LINE {prompted.number} OF {LINES}  say" + (" it again" * is_again))
        self.query_one("#phrase", Static).update(prompted.phrase)
        if is_again:
            self.query_one("#last", Lines).put("· passed over as talk or noise")

    def _hear(self, said: Said) -> None:
        self._said.append(said)
        self.query_one("#last", Lines).put(f"{_sign(said)} {said_words(said)}")
        lines = [
            f"{number:>2} {_sign(one)} {one.phrase}" + ("" if one.is_right else f"\n     {said_words(one)}")
            for number, one in enumerate(self._said, 1)
        ]
        self.query_one("#lines-heard", Static).update("\n".join(reversed(lines)))

    def _end(self, failure: str) -> None:
        result = VoiceCheck(tuple(self._said))
        self._break_off()
        sign, look = _LOOKS[result.verdict]
        self.query_one("#line").set_classes(look)
        self.query_one("#state", Lines).put(f"{sign} {result.verdict.upper()}")
        self.query_one("#phrase", Static).update("")
        scale = 2 if self.has_class("-high") else 1
        self.query_one("#large", Static).update(large(f"{sign}  {result.right.count}/{LINES}", scale))
        self.query_one("#last", Lines).put(failure or advice(result))
        self.query_one(SoundPanel).display = False
        self.query_one("#lines").border_title = "of the lines, 95 % interval"
        self.query_one("#lines-heard", Static).update("\n".join([*figures(result), "", *slips(result)]))
        begin = "begin the day" if result.verdict is Verdict.FIT else "begin all the same"
        self.query_one(KeyHints).show((("b", begin), ("a", "check again"), ("esc", "back to the form")))


def _sign(said: Said) -> str:
    """By shape: right, asked about, taken although wrong, passed over."""
    if said.is_lost:
        return "·"
    if not said.is_taken:
        return "?"
    return "✓" if said.is_right else "✗"
