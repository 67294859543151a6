"""One person at the desk: the record that is open, what was changed in this sitting, and its undoing. No screen."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from voicecapture import amend
from voicecapture.alert import entry_alerts
from voicecapture.day import Day, Event, EventKind
from voicecapture.errors import RecordError, VoiceCaptureError
from voicecapture.language.grammar import Grammar
from voicecapture.language.phrase import Entry
from voicecapture.reckoning.season import Season
from voicecapture.recogniser import Recogniser
from voicecapture.report.wording import written_outcome
from voicecapture.review import Book, Item, Reheard, hear_again, items, to_settle, unseen
from voicecapture.settings import Settings
from voicecapture.store.clips import Clip, read_utterance
from voicecapture.store.record import now


@dataclass(frozen=True, slots=True)
class Desk:
    """What the desk works with."""

    by: str
    """Who sits at it."""
    settings: Settings
    read: Callable[[], Season]
    """Reads the record."""
    clips: Callable[[str], Mapping[int, Clip]]
    """Reads the utterances of a day, by its name."""
    keep: Callable[[str, int, tuple[Event, ...]], None]
    """Adds events to a day, by its name, if it has as many events as are told."""
    recogniser: Callable[[], Recogniser]
    """Loads today's engine."""


@dataclass(frozen=True, slots=True)
class Checked:
    """What was typed into the form, as it is understood."""

    entry: Entry | None
    """None if it cannot be taken."""
    words: str
    """What it is understood to be, or what is wrong with it."""
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Change:
    name: str
    before: Day
    absent: Mapping[str, str]
    made: tuple[tuple[int, Event], ...]


class Sitting:
    """The record as one person has it open."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.reheard: dict[tuple[str, int], Reheard] = {}
        """What was heard again, by day and number of the event."""
        self._changes: list[_Change] = []
        self._open(desk.read())

    def _open(self, season: Season) -> None:
        self._changes.clear()
        self.clips = {day.name: self.desk.clips(day.name) for day in season.days}
        self._set(Book(season, self.desk.settings.decision, self.desk.settings.reckoning, {}))

    def _set(self, book: Book, was: Book | None = None) -> None:
        self.items: tuple[Item, ...] = items(book, was, self.items if was is not None else ())
        """Everything that happened."""
        self.book = book
        self.left = to_settle(self.items)
        """Items that need a person."""
        self.unseen = unseen(book)
        """Cows without a result, and why if somebody said it."""

    def reckon(self) -> None:
        """Reckon every cow, so that what does not fit shows."""
        self._set(self.book.reckoned())

    def take_reckoned(self, of: Book, reckoned: Book) -> bool:
        """Take what was reckoned elsewhere; False if the record has changed since."""
        if of is not self.book:
            return False
        self._set(reckoned, of)
        return True

    @cached_property
    def grammar(self) -> Grammar:
        """What may be said and typed."""
        # Half as long to load as all that the list needs.
        from voicecapture.language.grammar_file import load_grammar

        return load_grammar(practice_findings=self.desk.settings.findings)

    @cached_property
    def recogniser(self) -> Recogniser:
        """Today's engine, loaded when it is first needed."""
        return self.desk.recogniser()

    # ---- what is left ----------------------------------------------------------------------------

    def otherwise(self) -> frozenset[tuple[str, int]]:
        """What was heard otherwise when it was heard again."""
        return frozenset(key for key, again in self.reheard.items() if again.is_otherwise)

    # ---- changes ---------------------------------------------------------------------------------

    def take(self, item: Item, found: Sequence[Entry], why: str = "") -> None:
        """Make an entry of an item, or two.

        Raises:
            RecordError: If it cannot be, or could not be kept.
        """
        told = (self._day(item), item.number, item.event)
        match found:
            case [entry]:
                self._change(item.day, amend.settled(*told, entry, self.desk.by, why))
            case [first, second]:
                self._change(item.day, *amend.in_two(*told, (first, second), self.desk.by, why))

    def no_entry(self, item: Item) -> None:
        """Say that an item is no entry.

        Raises:
            RecordError: If it could not be kept.
        """
        self._change(item.day, amend.no_entry(self._day(item), item.number, item.event, self.desk.by))

    def leave(self, item: Item) -> None:
        """Say that an item is right as it is.

        Raises:
            RecordError: If it is an open question, or it could not be kept.
        """
        self._change(item.day, amend.right_as_it_is(self._day(item), item.number, item.event, self.desk.by))

    def note_absence(self, cow: str, reason: str) -> None:
        """Say why a cow was not seen; it is noted on the last day.

        Raises:
            RecordError: If it could not be kept.
        """
        self._change(self.book.season.days[-1].name, amend.absence(cow, reason, self.desk.by))

    def undo(self) -> str:
        """Restore what was before the last change of this sitting; returns what that was, empty if there is none.

        Raises:
            RecordError: If it could not be kept.
        """
        if not self._changes:
            return ""
        change = self._changes[-1]
        day = self.book.day(change.name).day
        self._add(change.name, amend.undoing(change.before, day, change.made, change.absent, self.desk.by))
        self._changes.pop()
        return change.made[0][1].reason

    def _day(self, item: Item) -> Day:
        return self.book.day(item.day).day

    def _change(self, name: str, *events: Event) -> None:
        was = self.book.day(name)
        self._add(name, events)
        made = tuple(enumerate(events, was.day.length + 1))
        self._changes.append(_Change(name, was.day, amend.absences(was.events), made))

    def _add(self, name: str, events: tuple[Event, ...]) -> None:
        """Keep events first, and only then show them."""
        try:
            self.desk.keep(name, self.book.day(name).day.length, events)
        except RecordError:
            # Whatever stands in the record now is shown, and nothing that is not in it.
            self._open(self.desk.read())
            self.reckon()
            raise
        self._set(self.book.after(name, events, now()), self.book)

    # ---- checks and hearing ----------------------------------------------------------------------

    def checked(self, item: Item, cow: str, found: str) -> Checked:
        """What was typed into the form, checked as an entry of an item."""
        if not cow.strip() or not found.strip():
            return Checked(None, "her number, and what was found in her")
        try:
            number = amend.read_cow(cow)
            entry = replace(amend.read_typed(found, self.grammar), cow=number)
        except VoiceCaptureError as error:
            return Checked(None, str(error))
        day = self.book.day(item.day)
        event = amend.settled(day.day, item.number, item.event, entry, self.desk.by)
        cautions = list(
            entry_alerts(
                event, day.day.after(event), day.scanned_on, self.book.season.matings, self.desk.settings.reckoning
            )
        )
        held = day.day.results.get(entry.cow or "")
        if held is not None and held[0] != item.number and held[1].entry is not None:
            cautions.append(f"{entry.cow} has a result, {written_outcome(held[1].entry)}: this takes its place")
        return Checked(entry, f"{entry.cow} {written_outcome(entry)}", tuple(cautions))

    def clip(self, item: Item) -> Clip | None:
        """The utterance of an item; None if it was typed, or its sound is not on record."""
        return self.clips[item.day].get(item.event.utterance or 0)

    def can_be_heard(self, item: Item) -> bool:
        """Whether hearing an item again says anything: what was put right by hand is compared with nothing."""
        return self.clip(item) is not None and not item.event.by and item.event.kind is not EventKind.NOTE

    def hear(self, item: Item) -> Reheard:
        """Hear an item again and keep in mind what came of it; the record stays as it is.

        Raises:
            VoiceCaptureError: If its sound or the engine cannot be had.
        """
        clip = self.clip(item)
        assert clip is not None
        day = self.book.day(item.day)
        before = Day(day.day.herd, day.day.kind).after(*day.events[: item.number - 1])
        again = hear_again(
            item.event, before, read_utterance(clip), self.grammar, self.recogniser, self.desk.settings
        )
        self.reheard[item.day, item.number] = again
        return again
