"""What the screen is made of. Each widget shows one part of an `Update`.

States differ by a word and a sign as well as by colour, for eyes that do not tell red from green.
"""

from collections import deque

from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.widgets import Digits, ProgressBar, Static

from voicecapture.day import Event, EventKind
from voicecapture.decision import Outcome
from voicecapture.pace import pace
from voicecapture.report.wording import written_outcome
from voicecapture.update import Update

# By kind and not by outcome: an entry taken back, or refused as neither, was understood but does not count.
_SIGNS = {
    EventKind.ACCEPTED: "✓ taken",
    EventKind.QUESTION: "? asked",
    EventKind.TAKEN_BACK: "✗ taken back",
    EventKind.COMMAND: "> command",
    EventKind.NOTE: "✓ note",
}
_RECENT = 10
_LOUD_DBFS = -60.0
"""Lower end of the level meter."""


def _what(event: Event) -> str:
    """The entry in words; of a command its name, never an entry that it did not take."""
    if event.entry is None or event.kind is EventKind.COMMAND:
        return event.reason.replace("_", " ")
    return written_outcome(event.entry)


def _cow(event: Event) -> str:
    """The cow that an event is about; a command is about none."""
    return event.entry.cow or "" if event.entry and event.kind is not EventKind.COMMAND else ""


class LastEntry(Horizontal):
    """The last cow in large type, or the question that is open."""

    def compose(self) -> ComposeResult:
        """Cow number, age and words side by side."""
        yield Digits("", id="cow")
        yield Digits("", id="age")
        with Vertical():
            yield Static("listening", id="outcome", markup=False)
            yield Static("", id="said", markup=False)

    def show(self, update: Update) -> None:
        """Talk changes nothing here."""
        decision = update.decision
        if decision is None or decision.outcome is Outcome.IGNORED:
            return
        event, cow = decision.event, _cow(decision.event)
        self.query_one("#cow", Digits).update(cow)
        entry = event.entry if cow else None
        age = (entry.days or entry.crown_rump_mm) if entry else None
        self.query_one("#age", Digits).update("" if age is None else str(age))
        self.query_one("#outcome", Static).update(f"{_SIGNS[event.kind]}  {_what(event)}")
        self.query_one("#said", Static).update(update.said)
        self.set_class(decision.outcome is Outcome.QUESTION, "asking")


class CountsPanel(Static):
    """The day in numbers."""

    def show(self, update: Update) -> None:
        """Two columns of counts."""
        c = update.day.counts
        self.update(
            f"scanned  {c.scanned:>5}     in calf  {c.in_calf:>5}\n"
            f"left     {c.left:>5}     empty    {c.empty:>5}\n"
            f"recheck  {c.recheck:>5}     twins    {c.twins:>5}\n"
            f"open questions  {c.questions:>3}"
        )


class PacePanel(Static):
    """Cows an hour and the time to finish."""

    def show(self, update: Update) -> None:
        """From the times of the results that count."""
        times_s = sorted(event.at_s for _, event in update.day.results.values())
        now = pace(times_s, update.now_s, update.day.counts.left)
        recent, whole = (
            f"{rate:.0f}" if rate is not None else "-" for rate in (now.recent_per_hour, now.whole_per_hour)
        )
        finish = f"{now.finish_s / 60:.0f} min" if now.finish_s is not None else "-"
        self.update(f"cows an hour {recent} ({whole} all day)\nto finish    {finish}")


class Level(Vertical):
    """How loud it is, and how loud the shed is between the words."""

    def compose(self) -> ComposeResult:
        """A bar and its figures."""
        yield ProgressBar(total=-_LOUD_DBFS, show_eta=False, show_percentage=False)
        yield Static("", id="noise")

    def show(self, update: Update) -> None:
        """The bar moves with the sound."""
        self.query_one(ProgressBar).update(progress=max(0.0, update.level_dbfs - _LOUD_DBFS))
        voice = "voice" if update.is_speech else "     "
        self.query_one("#noise", Static).update(
            f"{voice} {update.level_dbfs:4.0f} dBFS, shed {update.noise_dbfs:4.0f} dBFS"
        )


class Recent(Static):
    """The last ten utterances that were more than talk."""

    def __init__(self) -> None:
        """Begin empty."""
        # Reasons and the practice's own findings are text: a bracket in them is no markup.
        super().__init__(markup=False)
        self._lines: deque[str] = deque(maxlen=_RECENT)

    def show(self, update: Update) -> None:
        """Newest first."""
        decision = update.decision
        if decision is None or decision.outcome is Outcome.IGNORED:
            return
        event = decision.event
        minutes, seconds = divmod(int(event.at_s), 60)
        why = f"  ({event.reason})" if decision.outcome is Outcome.QUESTION else ""
        self._lines.appendleft(
            f"{minutes:3d}:{seconds:02d}  {_SIGNS[event.kind]:<12} {_cow(event):>5}  {_what(event)}{why}"
        )
        self.update("\n".join(self._lines))
