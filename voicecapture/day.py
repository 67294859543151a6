"""A scan day: the events that happened, and the state that follows from them.

Events are only ever added. The state is a fold over them, so that a day read back from its database
is the day that was left.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import cached_property
from typing import cast

from voicecapture.herd import Herd
from voicecapture.language.phrase import Entry, Result


class EventKind(StrEnum):
    """What can happen on a scan day."""

    ACCEPTED = "accepted"
    """An entry was taken; it may replace an earlier one."""
    QUESTION = "question"
    """Something was heard that must be asked; open until another event answers it."""
    IGNORED = "ignored"
    """Talk, noise, or an answer to nothing."""
    TAKEN_BACK = "taken_back"
    """The entry of the event named in `replaces` no longer counts."""
    COMMAND = "command"
    """A command that changes no entry; its name is in `reason`."""
    NOTE = "note"
    """A spoken note; its clip is the note."""


class ScanKind(StrEnum):
    """What the day's scan is to find out."""

    AGED = "aged"
    """In calf or not, and how long."""
    YES_NO = "yes_no"
    """In calf or not."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """An entry that may have been meant."""

    entry: Entry
    probability: float
    """Posterior, 0-1."""


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened, in the order of the day."""

    kind: EventKind
    at_s: float
    """End of the utterance on the audio clock, in seconds."""
    utterance: int | None = None
    """Number of the utterance within the day, counted from 1."""
    entry: Entry | None = None
    reason: str = ""
    """Why it was decided so, for a person to read."""
    probability: float | None = None
    """Posterior of the entry, 0-1."""
    candidates: tuple[Candidate, ...] = ()
    """What a question asks about, likeliest first."""
    replaces: int | None = None
    """Number of the event whose entry no longer counts; of a question, the one that its answer will replace."""
    answers: int | None = None
    """Number of the question that this event settles."""
    heard: str = ""
    by: str = ""
    """Who amended the record, of what was not spoken."""


@dataclass(frozen=True, slots=True)
class Counts:
    """The day in numbers of cows."""

    scanned: int
    left: int
    """Cows of the herd list without a result; 0 without a list."""
    in_calf: int
    empty: int
    recheck: int
    twins: int
    questions: int
    """Questions still open."""


_Results = dict[str, tuple[int, Event]]
_Questions = dict[int, Event]


@dataclass(frozen=True)
class Day:
    """The state of a scan day after some events. Events are numbered from 1."""

    herd: Herd
    kind: ScanKind = ScanKind.AGED
    length: int = 0
    """Number of events so far."""
    results: Mapping[str, tuple[int, Event]] = field(default_factory=dict)
    """Event number and event of the result that counts, by cow."""
    last: int | None = None
    """Number of the last entry taken, if it still counts."""
    questions: Mapping[int, Event] = field(default_factory=dict)
    """Open questions by event number."""
    current: int | None = None
    """Number of the question or lone cow number that the next utterance may settle."""
    is_stopped: bool = False
    is_noting: bool = False
    """The next utterance is a spoken note."""
    is_correcting: bool = False
    """The next entry replaces the last."""

    def after(self, *events: Event) -> "Day":
        """The day once these events have happened, in this order."""
        # The mappings are copied once, however many events follow.
        day = replace(self, results=dict(self.results), questions=dict(self.questions))
        for event in events:
            day = day._after_one(event)
        return day

    def _after_one(self, event: Event) -> "Day":
        """The day after one event; its mappings are changed in place."""
        number, results, questions = self.length + 1, cast(_Results, self.results), cast(_Questions, self.questions)
        is_asked = self._is_asked()
        if event.answers is not None:
            questions.pop(event.answers, None)
        if event.replaces is not None and event.kind is not EventKind.QUESTION:
            for cow in [cow for cow, held in results.items() if held[0] == event.replaces]:
                del results[cow]
        day = replace(self, length=number, current=None, is_noting=False)
        current = self.current if self.current in questions else None
        match event.kind:
            case EventKind.ACCEPTED:
                assert event.entry is not None and event.entry.cow is not None
                results[event.entry.cow] = (number, event)
                return replace(day, last=number, is_correcting=False)
            case EventKind.QUESTION:
                questions[number] = event
                return replace(day, current=number)
            case EventKind.TAKEN_BACK:
                return replace(day, last=self.last if event.replaces is None else None)
            case EventKind.IGNORED:
                return replace(day, current=current if is_asked else None, is_noting=self.is_noting)
            case EventKind.COMMAND:
                return replace(
                    day,
                    current=current,
                    is_stopped={"stop": True, "go_on": False}.get(event.reason, self.is_stopped),
                    is_noting=event.reason == "note",
                    is_correcting=event.reason == "correct" or self.is_correcting,
                )
            case EventKind.NOTE:
                return day

    def _is_asked(self) -> bool:
        """Whether the current question was put to the vet; a lone number waits for the very next words."""
        return self.current is not None and len(self.questions[self.current].candidates) > 0

    @cached_property
    def scanned(self) -> frozenset[str]:
        """Cows with a result."""
        return frozenset(self.results)

    @cached_property
    def counts(self) -> Counts:
        """The day in numbers."""
        entries = [event.entry for _, event in self.results.values() if event.entry]
        return Counts(
            scanned=len(entries),
            left=sum(cow not in self.results for cow in self.herd.animals),
            in_calf=sum(entry.result is Result.PREGNANT for entry in entries),
            empty=sum(entry.result is Result.EMPTY for entry in entries),
            recheck=sum(entry.result is Result.RECHECK for entry in entries),
            twins=sum(entry.twins for entry in entries),
            questions=len(self.questions),
        )

    def last_entry(self) -> Event | None:
        """The last entry taken, if it still counts."""
        for number, event in self.results.values():
            if number == self.last:
                return event
        return None
