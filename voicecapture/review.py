"""What a person should look at after milking, in which order, and what hearing it again would change. Pure.

The record is only looked at here; `amend.py` makes the events that change it.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import groupby

from voicecapture.amend import absences
from voicecapture.bars import BROKEN, CUT, OVERDRIVEN, DecisionSettings, distrust
from voicecapture.day import Candidate, Day, Event, EventKind
from voicecapture.decision import Decision, decide
from voicecapture.herd import Animal
from voicecapture.language.grammar import Grammar
from voicecapture.language.phrase import Entry
from voicecapture.reasons import READ_BACK, STOPPED, TALK
from voicecapture.reckoning.cow import Alert, CowReckoning
from voicecapture.reckoning.season import Amendment, ScanDay, Season, in_order
from voicecapture.reckoning.settings import ReckoningSettings
from voicecapture.recogniser import Hearing, Language, Recogniser
from voicecapture.report.wording import written_outcome
from voicecapture.segmenter import Utterance
from voicecapture.settings import Settings

_NEAR = 0.5
"""An entry that used up more than this share of the risk at which it would have been asked about is near the bar."""


class Need(StrEnum):
    """Why a person should look at something; the most urgent first."""

    QUESTION = "open question"
    UNSURE = "not surely heard"
    TWICE = "scanned twice"
    UNLISTED = "not in the herd"
    MISFIT = "does not fit"
    NOT_UNDERSTOOD = "not understood"


_RANK = {need: rank for rank, need in enumerate(Need)}


class State(StrEnum):
    """What became of something that was heard."""

    OPEN = "open"
    COUNTS = "counts"
    CHANGED = "no longer counts"
    PASSED = "no entry"


@dataclass(frozen=True, slots=True)
class Item:
    """One thing that happened, as the desk lists it."""

    day: str
    """The day's own name."""
    number: int
    """Of the event, within the day."""
    event: Event
    state: State
    needs: tuple[Need, ...] = ()
    """Most urgent first; empty if nothing is left to settle."""
    why: str = ""
    """What is the matter with it, for a person to read."""

    @property
    def cow(self) -> str:
        """The cow that it is about; empty if it is about none."""
        return (self.event.entry.cow or "") if self.event.entry else ""

    @property
    def what(self) -> str:
        """The entry in words; of anything else what was heard."""
        written = written_outcome(self.event.entry) if self.event.entry else ""
        if self.event.kind is EventKind.TAKEN_BACK:
            return f"taken back: {written}" if written else "taken back"
        return written or self.event.heard or self.event.reason.replace("_", " ")


class Order(StrEnum):
    """What the list goes by."""

    NEED = "need"
    TIME = "time"
    COW = "cow"


class Show(StrEnum):
    """What the list shows."""

    EVERYTHING = "everything"
    TO_SETTLE = "to settle"
    COUNTING = "results that count"
    AMENDED = "changed at the desk"
    WOULD_CHANGE = "heard otherwise now"


# ---- the record as the desk has it open ----------------------------------------------------------


@dataclass(frozen=True)
class Book:
    """A season, and what is reckoned from it."""

    season: Season
    bars: DecisionSettings
    reckoning: ReckoningSettings
    cows: Mapping[str, CowReckoning]
    """By number; empty as long as nothing was reckoned."""

    def reckoned(self) -> "Book":
        """The book with every cow reckoned."""
        return replace(self, cows={cow.cow: cow for cow in self.season.cows(self.reckoning)})

    def day(self, name: str) -> ScanDay:
        """A day by its own name."""
        return next(day for day in self.season.days if day.name == name)

    def after(self, name: str, events: Sequence[Event], at: str) -> "Book":
        """The book once these events were added to a day.

        Only the cows that they name are reckoned again. The digest of the day is no longer known.

        Args:
            name: The day's own name.
            events: In order.
            at: When, UTC, as in ISO 8601.
        """
        was = self.day(name)
        now = replace(
            was,
            day=was.day.after(*events),
            recorded_at=(*was.recorded_at, *([at] * len(events))),
            digest="",
            amendments=(*was.amendments, *(Amendment(at, e.by, e) for e in events if e.by)),
            events=(*was.events, *events),
        )
        season = replace(self.season, days=tuple(now if day is was else day for day in self.season.days))
        replaced = [was.events[e.replaces - 1] for e in events if e.replaces and e.replaces <= len(was.events)]
        touched = {cow for event in (*events, *replaced) for cow in _cows_of(event)}
        cows = dict(self.cows)
        for cow in touched if self.cows else ():
            animal = cows[cow].animal if cow in cows else Animal(cow)
            scans = in_order(scan for day in season.days for scan in day.scans_of(cow))
            if scans or cow in season.herd:
                cows[cow] = season.reckoned(animal, scans, self.reckoning)
            else:
                cows.pop(cow, None)
        return replace(self, season=season, cows=cows)


def unseen(book: Book) -> list[tuple[str, str]]:
    """The cows of the lists without a result, and why if somebody said it; in the order of the lists."""
    seen = {cow for day in book.season.days for cow in day.day.results}
    reasons = {cow: why for day in book.season.days for cow, why in absences(day.events).items()}
    return [(cow, reasons.get(cow, "")) for cow in book.season.herd.animals if cow not in seen]


# ---- what needs a person -------------------------------------------------------------------------


def items(book: Book, was: Book | None = None, listed: Iterable[Item] = ()) -> tuple[Item, ...]:
    """Everything that happened, in the order of the days and of their clocks.

    What the desk itself added is listed where it counts; what it only noted is not.

    Args:
        book: As it stands.
        was: As it stood before. A day that has stayed the same is not gone through again.
        listed: Everything that had happened then.
    """
    alerts, old_alerts = _alerts(book), _alerts(was) if was else {}
    old_days = {day.name: day for day in was.season.days} if was else {}
    found = {name: list(group) for name, group in groupby(listed, key=lambda item: item.day)}
    for day in book.season.days:
        told = alerts.get(day.name, {})
        if old_days.get(day.name) is not day or old_alerts.get(day.name, {}) != told:
            found[day.name] = _items_of(book, day, told)
    return tuple(item for day in book.season.days for item in found.get(day.name, ()))


def _items_of(book: Book, day: ScanDay, alerts: Mapping[int, tuple[Alert, ...]]) -> list[Item]:
    facts = _Facts.of(day)
    found = [
        _item(book, day, number, event, facts, alerts.get(number, ()))
        for number, event in enumerate(day.events, 1)
        if not event.by or number in facts.counting or number in day.day.questions
    ]
    return sorted(found, key=lambda item: (item.event.at_s, item.number))


def _cows_of(event: Event) -> tuple[str, ...]:
    return (event.entry.cow,) if event.entry is not None and event.entry.cow is not None else ()


@dataclass(frozen=True, slots=True)
class _Facts:
    """What of a day's events depends on later ones."""

    counting: Mapping[int, str]
    """The cow whose result counts, by event number."""
    looked_at: frozenset[int]
    """Events that a person settled or left as they are."""
    earlier: Mapping[int, tuple[int, Event]]
    """Of a cow's entries that were never withdrawn, the one before this."""

    @classmethod
    def of(cls, day: ScanDay) -> "_Facts":
        counting = {number: cow for cow, (number, _) in day.day.results.items()}
        withdrawn: set[int] = set()
        for event in day.events:
            if event.replaces is not None and event.kind is not EventKind.QUESTION:
                asked = day.events[event.answers - 1] if event.answers else None
                # "Scanned already" was answered with yes: the vet took two entries of one cow, and withdrew none.
                if asked is None or asked.replaces == event.replaces or event.by:
                    withdrawn.add(event.replaces)
        looked_at = frozenset(
            event.answers
            for number, event in enumerate(day.events, 1)
            if event.by
            and event.answers is not None
            # An entry settles as long as it counts, a word on something until it is undone.
            and (number in counting if event.kind is EventKind.ACCEPTED else number not in withdrawn)
        )
        earlier: dict[int, tuple[int, Event]] = {}
        last: dict[str, tuple[int, Event]] = {}
        for number, event in enumerate(day.events, 1):
            if event.kind is not EventKind.ACCEPTED or event.entry is None or event.entry.cow is None:
                continue
            before = last.get(event.entry.cow)
            if before is not None and (before[1].utterance, before[1].at_s) == (event.utterance, event.at_s):
                before = earlier.get(before[0])  # the same words, put on record again
            if before is not None:
                earlier[number] = before
            if number not in withdrawn and number not in looked_at:
                last[event.entry.cow] = (number, event)
        return cls(counting, looked_at, earlier)


def _item(book: Book, day: ScanDay, number: int, event: Event, facts: _Facts, alerts: Sequence[Alert]) -> Item:
    if number in day.day.questions:
        return Item(day.name, number, event, State.OPEN, (Need.QUESTION,), event.reason)
    if number in facts.counting:
        if number in facts.looked_at:
            return Item(day.name, number, event, State.COUNTS)
        needs, whys = _doubts(book, number, event, facts, alerts)
        return Item(day.name, number, event, State.COUNTS, needs, "; ".join(whys))
    if event.kind in (EventKind.ACCEPTED, EventKind.QUESTION):
        return Item(day.name, number, event, State.CHANGED)
    is_vain = event.kind is EventKind.IGNORED and event.reason not in (TALK, STOPPED, READ_BACK)
    if is_vain and number not in facts.looked_at:
        return Item(day.name, number, event, State.PASSED, (Need.NOT_UNDERSTOOD,), event.reason)
    return Item(day.name, number, event, State.PASSED)


def _doubts(
    book: Book, number: int, event: Event, facts: _Facts, alerts: Sequence[Alert]
) -> tuple[tuple[Need, ...], list[str]]:
    """Why a result that counts should be looked at."""
    assert event.entry is not None and event.entry.cow is not None
    cow, chance, herd = event.entry.cow, event.probability, book.season.herd.animals
    is_sure = chance is None or 1 - chance <= _NEAR * (1 - book.bars.accept_probability)
    is_twice = number in facts.earlier and (not event.by or chance is not None)
    is_unlisted = len(herd) > 0 and cow not in herd
    if is_sure and not is_twice and not is_unlisted and not alerts:
        return (), []
    found = dict[Need, str]()
    if chance is not None and not is_sure:
        found[Need.UNSURE] = f"{100 * chance:.1f} % sure"
    if is_twice:
        before = facts.earlier[number][1].entry
        found[Need.TWICE] = f"before: {written_outcome(before) if before else ''}"
    if Alert.SAME_DAY in alerts:
        found[Need.TWICE] = Alert.SAME_DAY.value
    if is_unlisted:
        found[Need.UNLISTED] = Alert.UNLISTED.value
    others = [alert.value for alert in alerts if alert not in (Alert.SAME_DAY, Alert.UNLISTED)]
    if others:
        found[Need.MISFIT] = "; ".join(others)
    return tuple(sorted(found, key=_RANK.__getitem__)), list(found.values())


def _alerts(book: Book) -> dict[str, dict[int, tuple[Alert, ...]]]:
    """What does not fit, by the day and event of the cow's last scan."""
    found: dict[str, dict[int, tuple[Alert, ...]]] = {}
    for cow in book.cows.values():
        last = cow.last or next(reversed(cow.scans), None)
        if cow.alerts and last is not None:
            found.setdefault(last.day, {})[last.event] = cow.alerts
    return found


# ---- order and search ----------------------------------------------------------------------------


def arranged(
    listed: Iterable[Item], order: Order, show: Show, search: str, otherwise: frozenset[tuple[str, int]] = frozenset()
) -> list[Item]:
    """The items that are to be shown, in order.

    Args:
        listed: In the order in which they happened.
        order: What the list goes by. What needs a person comes in the order of `Need`, then the rest, then talk and
            reads.
        show: What is shown.
        search: Words, each of which an item must have in its cow number, entry, words or need; a number finds a cow.
        otherwise: Day and number of what was heard otherwise when it was heard again.
    """
    kept = list(listed) if show is Show.EVERYTHING else [i for i in listed if _is_shown(i, show, otherwise)]
    for word in search.lower().split():
        kept = [item for item in kept if _has(item, word)]
    match order:
        case Order.NEED:
            return sorted(kept, key=_urgency)
        case Order.COW:
            return sorted(kept, key=lambda item: (not item.cow, int(item.cow or 0), item.cow))
        case Order.TIME:
            return kept


def to_settle(listed: Iterable[Item]) -> int:
    """How many items still need a person."""
    return sum(bool(item.needs) for item in listed)


def _urgency(item: Item) -> int:
    is_aside = item.event.kind is EventKind.IGNORED or item.event.is_read
    return _RANK[item.needs[0]] if item.needs else len(_RANK) + is_aside


def _is_shown(item: Item, show: Show, otherwise: frozenset[tuple[str, int]]) -> bool:
    match show:
        case Show.EVERYTHING:
            return True
        case Show.TO_SETTLE:
            return bool(item.needs)
        case Show.COUNTING:
            return item.state is State.COUNTS
        case Show.AMENDED:
            return bool(item.event.by)
        case Show.WOULD_CHANGE:
            return (item.day, item.number) in otherwise


def _has(item: Item, word: str) -> bool:
    if word.isdigit():
        return item.cow.startswith(word)
    return word in f"{item.what} {item.event.heard} {' '.join(item.needs)} {item.why} {item.event.by}".lower()


# ---- hearing again -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Reheard:
    """What would be made of an utterance today, everything before it being as it was."""

    hearing: Hearing
    decision: Decision
    is_otherwise: bool
    """Something else would come of it."""


def hear_again(
    told: Event, before: Day, utterance: Utterance, grammar: Grammar, recogniser: Recogniser, settings: Settings
) -> Reheard:
    """Hear an utterance again; nothing is changed by it.

    Args:
        told: What was decided then.
        before: The day before it.
        utterance: With its sound.
        grammar: What may be said now.
        recogniser: The one of then, or another.
        settings: Today's.
    """
    # What the sound itself no longer tells, the decision of then does.
    utterance = replace(
        utterance,
        is_clipped=told.reason == OVERDRIVEN,
        has_gap=told.reason == BROKEN,
        is_cut=told.reason == CUT,
    )
    language = Language(grammar, before.herd, before.scanned, before.current is not None)
    hearing = recogniser.recognise(utterance, language)
    bars = settings.decision
    decision = decide(
        hearing, before, told.utterance or 0, utterance.start_s, utterance.end_s, bars, distrust(utterance, bars)
    )
    now = decision.event
    return Reheard(hearing, decision, (now.kind, now.entry) != (told.kind, told.entry))


def alternatives(event: Event, reheard: Reheard | None = None) -> list[Candidate]:
    """What may have been meant, with posteriors: what was kept, and what was heard again.

    Whole entries only, each once, in the order in which they were offered.
    """
    found: dict[Entry, float] = {c.entry: c.probability for c in event.candidates}
    if event.entry is not None and event.entry.is_whole:
        found.setdefault(event.entry, event.probability if event.probability is not None else 1.0)
    for reading in reheard.hearing.readings if reheard else ():
        entry = reading.phrase.entry
        if entry is not None and entry.is_whole:
            found.setdefault(entry, reading.probability)
    return [Candidate(entry, probability) for entry, probability in found.items()]
