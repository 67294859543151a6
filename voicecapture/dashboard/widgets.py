"""What the screen is made of. Each widget shows one part of an `Update`.

States differ by a word, a sign and the frame as well as by colour, for eyes that do not tell red from green.
"""

from collections import deque
from collections.abc import Sequence
from typing import ClassVar

from rich.text import Text
from textual import events
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.widgets import Sparkline, Static

from voicecapture.bars import DecisionSettings
from voicecapture.dashboard.letters import fitting, large
from voicecapture.day import Day, Event, EventKind
from voicecapture.decision import Outcome
from voicecapture.language.phrase import Entry
from voicecapture.pace import BREAK_S, pace, rates, stint
from voicecapture.reckoning.intervals import Share
from voicecapture.report.wording import written_outcome, written_result
from voicecapture.sound import level_words, listening_words, meter, trust_words
from voicecapture.update import Update

# By kind and not by outcome: an entry taken back, or refused as neither, was understood but does not count.
_SIGNS = {
    EventKind.ACCEPTED: "✓ taken",
    EventKind.QUESTION: "? asked",
    EventKind.TAKEN_BACK: "✗ taken back",
    EventKind.COMMAND: "> command",
    EventKind.NOTE: "✓ note",
}
_RECENT = 20
_ANSWER_COLUMNS = 26
"""Room for what may be answered, beside the large letters."""
_FEW = 12
"""So few cows still to come are named."""
_ALERTS, _FEW_ALERTS = 12, 2
"""Shown on a high and on a low screen."""
_METER_CELLS = 14
_PLOT_COLUMNS = 24
"""Stretches of the day in the plot of the pace."""
_EVERY_S = 1.0
"""How often what depends on the time alone is reckoned again."""


def _what(event: Event) -> str:
    """The entry in words; of a command its name, never an entry that it did not take."""
    if event.entry is None or event.kind is EventKind.COMMAND:
        return event.reason.replace("_", " ")
    return written_outcome(event.entry)


def _sign(event: Event) -> str:
    return "> at the gate" if event.is_read and event.kind is EventKind.NOTE else _SIGNS[event.kind]


def _source(event: Event) -> str:
    """Where it came from, if it was not spoken."""
    if event.utterance is not None:
        return ""
    return "" if event.is_read else "typed"


def _cow(event: Event) -> str:
    """The cow that an event is about; a command is about none."""
    return event.entry.cow or "" if event.entry and event.kind is not EventKind.COMMAND else ""


def _is_shown(event: Event) -> bool:
    """Whether an event takes the place of the last entry: commands, notes and reads leave it standing."""
    if event.is_read and event.kind is not EventKind.QUESTION:
        return False
    return event.kind in (EventKind.ACCEPTED, EventKind.QUESTION, EventKind.TAKEN_BACK) or event.entry is not None


def answers_shown(event: Event) -> list[str]:
    """What may be answered to a question, with the words to answer with; the cow only where she is in doubt."""
    cows = {candidate.entry.cow for candidate in event.candidates}
    lead = "" if len(cows) == 1 and len(event.candidates) > 1 else "{} "
    whole = [lead.format(c.entry.cow) + written_outcome(c.entry) for c in event.candidates]
    match whole:
        case [first, second]:
            return [f"first: {first}", f"second: {second}", "neither: say it again"]
        case [first]:
            return [f"first: yes, {first}", "neither: say it again"]
        case _:
            return ["say what was found in her" if _cow(event) else "say it again with her number"]


class Lines(Static):
    """Text in a place of fixed size: nothing is laid out again, and nothing is done where it stays the same."""

    def __init__(self, id: str | None = None) -> None:
        # Reasons and names are text: a bracket in them is no markup.
        super().__init__(id=id, markup=False)
        self._text = ""

    def put(self, text: str) -> None:
        """Show a text."""
        if text != self._text:
            self._text = text
            self.update(text, layout=False)


class LastEntry(Horizontal):
    """The last cow in large letters, or the question that is asked with its answers."""

    def __init__(self) -> None:
        super().__init__()
        self._event: Event | None = None
        self._said = ""

    def compose(self) -> ComposeResult:
        """State and words in a line, large letters under it, and the answers beside them."""
        with Vertical():
            yield Lines("state")
            with Horizontal():
                yield Static("", id="large", markup=False)
                yield Lines("answers")
            yield Lines("said")

    def show(self, update: Update) -> None:
        """Talk changes nothing here."""
        decision = update.decision
        if decision is None or decision.outcome is Outcome.IGNORED or not _is_shown(decision.event):
            return
        event = self._event = decision.event
        is_asked = event.kind is EventKind.QUESTION
        what = event.reason if is_asked else _what(event)
        cow = "" if what.startswith(_cow(event)) else f"{_cow(event)} "
        by_hand = f"  ({_source(event)})" if _source(event) else ""
        self.query_one("#state", Lines).put(f"{_SIGNS[event.kind].upper()}  {cow}{what}{by_hand}")
        self.query_one("#answers", Lines).put("\n".join(answers_shown(event)) if is_asked else "")
        self._said = f"read back: {update.said}" if update.said else ""
        self.follow(update)
        self.set_class(is_asked, "asking")
        self.set_class(event.kind in (EventKind.TAKEN_BACK, EventKind.COMMAND), "undone")
        self._enlarge()

    def follow(self, update: Update) -> None:
        """While the vet speaks, the words so far take the place of what was read back."""
        line = self.query_one("#said", Lines)
        line.put(f"so far: {update.words} ..." if update.words else self._said)
        line.set_class(bool(update.words), "so-far")

    def on_resize(self, _event: events.Resize) -> None:
        """The letters grow and shrink with the room."""
        self._enlarge()

    def _enlarge(self) -> None:
        if self._event is None:
            return
        is_asked = self._event.kind is EventKind.QUESTION
        columns = self.content_size.width - (_ANSWER_COLUMNS if is_asked else 0)
        text, scale = fitting(_enlarged(self._event), columns)
        if not self.screen.has_class("-high"):
            scale = 1
        self.query_one("#large", Static).update(large(text, scale))


def _enlarged(event: Event) -> list[str]:
    """What is shown in large letters, the most of it first."""
    cow, entry = _cow(event), event.entry or Entry()
    match event.kind:
        case EventKind.QUESTION:
            return _enlarged_question(event)
        case EventKind.ACCEPTED:
            result = written_result(entry.result).upper() if entry.result else ""
            parts = ("✓", cow, result, _age(entry))
            choices = (parts, parts[1:], (cow, _age(entry)), (cow,))
            return ["  ".join(filter(None, choice)) for choice in choices]
        case _:
            return [f"✗  {cow}".strip(), cow]


def _enlarged_question(event: Event) -> list[str]:
    """What is in doubt between two answers, in large letters; of another question the cow."""
    entries = [candidate.entry for candidate in event.candidates]
    cows = list(dict.fromkeys(entry.cow or "" for entry in entries)) or [_cow(event)]
    if len(cows) > 1:
        return ["/".join(cows), "?"]
    ages = list(dict.fromkeys(map(_age, entries)))
    return [f"{cows[0]} {'/'.join(ages)}", cows[0], "?"] if len(ages) > 1 and all(ages) else [cows[0], "?"]


def _age(entry: Entry) -> str:
    return str(entry.days or entry.crown_rump_mm or "")


class Tally(Lines):
    """The day in numbers of cows."""

    BORDER_TITLE = "the herd"

    def show(self, update: Update) -> None:
        """Counts, and the share in calf of the cows with an answer."""
        c, listed = update.day.counts, len(update.day.herd)
        share = Share(c.in_calf, c.in_calf + c.empty)
        low, high = share.interval
        so_far = (
            "-" if share.value is None else f"{100 * share.value:.0f} % in calf, {100 * low:.0f} to {100 * high:.0f}"
        )
        self.put(
            f"scanned {c.scanned}{f' of {listed}' if listed else ''}\n"
            f"left {c.left if listed else '-'}\n"
            f"in calf {c.in_calf:<5} empty {c.empty}\n"
            f"recheck {c.recheck:<5} twins {c.twins}\n"
            f"{so_far}\n"
            f"open questions {c.questions}"
        )


class PacePanel(Vertical):
    """Cows an hour, over the day as a plot, the time to finish, and the work since the last break."""

    BORDER_TITLE = "pace"

    def __init__(self, break_after_minutes: float | None) -> None:
        super().__init__()
        self._break_after_minutes = break_after_minutes
        self._day: Day | None = None
        self._times_s: list[float] = []
        self._shown_s = float("-inf")

    def compose(self) -> ComposeResult:
        """A plot and its figures."""
        yield Lines("an-hour")
        yield Sparkline([], summary_function=max)
        yield Lines("finish")
        yield Lines("stint")

    def show(self, update: Update) -> None:
        """From the times of the results that count."""
        if update.day is not self._day:
            self._times_s = sorted(event.at_s for _, event in update.day.results.values())
        elif 0 <= update.now_s - self._shown_s < _EVERY_S:
            return
        self._day, self._shown_s = update.day, update.now_s
        now = pace(self._times_s, update.now_s, update.day.counts.left)
        recent, whole = (
            f"{rate:.0f}" if rate is not None else "-" for rate in (now.recent_per_hour, now.whole_per_hour)
        )
        self.query_one("#an-hour", Lines).put(f"{recent} an hour, day {whole}")
        self.query_one(Sparkline).data = rates(self._times_s, update.now_s, _PLOT_COLUMNS)
        self.query_one("#finish", Lines).put(
            f"to finish {_minutes(now.finish_s)}\nlongest pause {_minutes(now.longest_pause_s)}"
        )
        self._show_stint(update.now_s)

    def _show_stint(self, now_s: float) -> None:
        work = stint(self._times_s, now_s)
        is_due = self._break_after_minutes is not None and work.duration_s / 60 >= self._break_after_minutes
        label = "a break is due:" if is_due else f"without a {BREAK_S / 60:.0f} min break:"
        line = self.query_one("#stint", Lines)
        worked = f"{work.cows} cows, {work.duration_s / 60:.0f} min"
        line.put(f"{label}\n {worked}" if work.cows else "arm and ears rest")
        line.set_class(is_due, "due")


def _minutes(seconds: float | None) -> str:
    if seconds is None:
        return "-"
    return f"{seconds / 60:.0f} min" if seconds >= 60 else f"{seconds:.0f} s"


class SoundPanel(Vertical):
    """What the microphone hears, and how far it is to be trusted."""

    BORDER_TITLE = "sound"

    def __init__(self, source: str, bars: DecisionSettings) -> None:
        super().__init__()
        self._source, self._bars = source, bars

    def compose(self) -> ComposeResult:
        """A meter and its words."""
        yield Lines("listening")
        yield Static(self._source, id="source", markup=False)
        yield Lines("meter")
        yield Lines("trust")
        yield Lines("level")

    def show(self, update: Update) -> None:
        """The bar moves with the sound."""
        trust = trust_words(update.snr_db, self._bars)
        above = "" if update.snr_db is None else f", voice +{update.snr_db:.0f}"
        words = level_words(update)
        self.query_one("#listening", Lines).put(listening_words(update))
        self.query_one("#meter", Lines).put(f"{meter(update.level_dbfs, _METER_CELLS)} {update.level_dbfs:4.0f} dB")
        self.query_one("#trust", Lines).put(f"shed: {trust}\nnoise {update.noise_dbfs:.0f} dB{above}")
        self.query_one("#level", Lines).put(words)
        self.set_class(bool(words) or not update.is_arriving or update.day.is_stopped, "wrong")


class Alerts(Static):
    """What needs a look; it goes when its reason goes."""

    def __init__(self) -> None:
        super().__init__(markup=False)
        self._shown: list[str] = []
        self._found: dict[int, tuple[str, ...]] = {}

    def show(self, update: Update) -> None:
        """Troubles of the machine first, then the entries, the newest first."""
        day = update.day
        if update.alerts:
            self._found[day.length] = update.alerts
        if update.decision is not None and self._found:
            counting = {number for number, _ in day.results.values()} | set(day.questions)
            self._found = {number: found for number, found in self._found.items() if number in counting}
        newest = [alert for found in reversed(self._found.values()) for alert in found]
        shown = list(dict.fromkeys((*update.troubles, *newest)))
        if shown == self._shown:
            return
        self._shown = shown
        most = _ALERTS if self.screen.has_class("-high") else _FEW_ALERTS
        more = f"  (and {len(shown) - most} more)" if len(shown) > most else ""
        self.set_class(not shown, "none")
        self.update("\n".join(f"! {alert}" for alert in shown[:most]) + more)


class ToCome(Static):
    """The cows still to come, once they are few."""

    def show(self, update: Update) -> None:
        """In the order of the herd list."""
        day, left = update.day, update.day.counts.left
        is_few = 0 < left <= _FEW
        self.set_class(not is_few, "none")
        if is_few:
            self.update("still to come: " + "  ".join(cow for cow in day.herd.animals if cow not in day.results))


class AtGate(Static):
    """The cows that the electronic-ID reader read and that have no result yet."""

    def show(self, update: Update) -> None:
        """In the order in which they came; nothing where there is no reader."""
        reads = update.day.gate.open
        self.set_class(not reads, "none")
        if reads:
            self.update("at the gate: " + "  ".join(read.cow or "?" for read in reads[-_FEW:]))


class Recent(VerticalScroll):
    """The last twenty utterances and typed lines that were more than talk."""

    BORDER_TITLE = "the last twenty"
    FOCUS_ON_CLICK: ClassVar[bool] = False

    def __init__(self) -> None:
        super().__init__()
        self._lines: deque[str] = deque(maxlen=_RECENT)

    def compose(self) -> ComposeResult:
        """Newest first."""
        yield Static("", id="lines", markup=False)

    def show(self, update: Update) -> None:
        """One line for an event."""
        decision = update.decision
        if decision is None or decision.outcome is Outcome.IGNORED:
            return
        event = decision.event
        minutes, seconds = divmod(int(event.at_s), 60)
        why = f"  ({event.reason})" if decision.outcome is Outcome.QUESTION else ""
        what = f"{_what(event)}{why}  {_source(event)}".rstrip()
        self._lines.appendleft(f"{minutes:3d}:{seconds:02d}  {_sign(event):<13} {_cow(event):>5}  {what}")
        self.query_one("#lines", Static).update("\n".join(self._lines))


class KeyHints(Static):
    """The keys that do something now. Textual's own footer is built anew at each change, which takes 40 ms."""

    def __init__(self) -> None:
        super().__init__()
        self._shown = ""

    def show(self, hints: Sequence[tuple[str, str]]) -> None:
        """Keys in bold with what they do."""
        shown = Text("  ").join(Text.assemble((key, "bold"), f" {does}") for key, does in hints)
        if str(shown) != self._shown:
            self._shown = str(shown)
            self.update(shown, layout=False)
