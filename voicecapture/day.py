"""A scan day: the events that happened, and the state that follows from them.

Events are only ever added. The state is a fold over them, so that a day read back from its database
is the day that was left.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import cached_property
from typing import cast

from voicecapture.gate import Gate, Read
from voicecapture.herd import Herd
from voicecapture.language.phrase import Entry, Result

READER = "reader: "
"""What is `heard` in an event of the electronic-ID reader begins so; such an event has no utterance."""
STILL_THERE = "still at the gate"
"""Reason of a read that says nothing new."""
NEITHER = "neither: say the entry again"
"""Reason of what follows from that answer."""


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
    """A spoken note, whose clip is the note; or a cow was read at the gate."""


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

    @property
    def is_number_alone(self) -> bool:
        """Whether a cow number was spoken, and nothing else."""
        return bool(self.utterance) and self.entry is not None and self.entry == Entry(cow=self.entry.cow)

    @property
    def is_read(self) -> bool:
        """Whether it came from the electronic-ID reader."""
        return self.heard.startswith(READER)


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
    correcting_s: float | None = None
    """When it was said that the next entry replaces the last; None if it was not, or is done."""
    replaced: Mapping[int, str] = field(default_factory=dict)
    """Another cow whose result an entry took the place of, by the entry's number."""
    gate: Gate = field(default_factory=Gate)
    """Who stands at the electronic-ID reader."""

    def after(self, *events: Event) -> "Day":
        """The day once these events have happened, in this order."""
        # The mappings are copied once, however many events follow.
        day = replace(self, results=dict(self.results), questions=dict(self.questions), replaced=dict(self.replaced))
        for event in events:
            day = day._after_one(event)
        return day

    def _after_one(self, event: Event) -> "Day":
        """The day after one event; its mappings are changed in place."""
        number, results, questions = self.length + 1, cast(_Results, self.results), cast(_Questions, self.questions)
        is_asked, gate = self._is_asked(), self._gate_after(event)
        if event.answers is not None:
            questions.pop(event.answers, None)
        if event.replaces is not None and event.kind is not EventKind.QUESTION:
            for cow in [cow for cow, held in results.items() if held[0] == event.replaces]:
                del results[cow]
                if event.entry is not None and event.kind is EventKind.ACCEPTED and event.entry.cow != cow:
                    cast(dict[int, str], self.replaced)[number] = cow
        if event.is_read:
            # Whoever comes to the gate, what the vet is being asked or has begun to say goes on.
            if event.kind is EventKind.QUESTION:
                questions[number] = event
            return replace(self, length=number, gate=gate)
        current = self.current if self.current in questions else None
        changed: dict[str, object] = {"current": None, "is_noting": False}
        if event.kind in (EventKind.ACCEPTED, EventKind.QUESTION, EventKind.TAKEN_BACK):
            # "Correction" holds for one entry; one that is asked about knows itself what it replaces.
            changed["correcting_s"] = None
        match event.kind:
            case EventKind.ACCEPTED:
                assert event.entry is not None and event.entry.cow is not None
                results[event.entry.cow] = (number, event)
                changed["last"] = number
            case EventKind.QUESTION:
                questions[number] = event
                changed["current"] = number
            case EventKind.TAKEN_BACK if event.replaces is not None:
                changed["last"] = None
            case EventKind.IGNORED:
                changed |= {"current": current if is_asked else None, "is_noting": self.is_noting}
            case EventKind.COMMAND:
                changed |= {
                    "current": current,
                    "is_stopped": {"stop": True, "go_on": False}.get(event.reason, self.is_stopped),
                    "is_noting": event.reason == "note",
                    "correcting_s": self._correcting_after(event),
                }
        return replace(self, length=number, gate=gate, **changed)  # type: ignore[arg-type]

    def _correcting_after(self, command: Event) -> float | None:
        """When a correction was announced, after a command; "neither" ends it."""
        if command.reason == "correct":
            return command.at_s
        return None if command.reason == NEITHER else self.correcting_s

    def _gate_after(self, event: Event) -> Gate:
        """Who stands at the gate once this has happened; what was amended at the desk says nothing of it."""
        cow = event.entry.cow if event.entry else None
        if event.is_read:
            return self._gate_read(event, cow)
        match event.kind:
            case EventKind.ACCEPTED if cow is not None and not event.by:
                if event.utterance is None or event.replaces is not None:
                    return self.gate.after_other_result(cow)
                asked = self.questions.get(event.answers) if event.answers is not None else None
                said_s = asked.at_s if asked else event.at_s
                return self.gate.after_result(cow, self.code_of(cow), said_s, asked is not None)
            case EventKind.QUESTION if cow is None and event.entry and event.entry.result and event.utterance:
                return self.gate.out_of_step()
        return self.gate

    def _gate_read(self, event: Event, cow: str | None) -> Gate:
        code = "" if event.kind is EventKind.IGNORED else event.heard.removeprefix(READER)
        if event.reason == STILL_THERE:
            return self.gate.still_there(code, event.at_s)
        question = self.length + 1 if event.kind is EventKind.QUESTION else self.asked_of_code(code)
        return self.gate.after_read(Read(cow, code, event.at_s, question))

    def asked_of_code(self, code: str) -> int | None:
        """Number of the open question about a code that is not in the herd list."""
        return next((number for number, asked in self.questions.items() if asked.heard == READER + code), None)

    def code_of(self, cow: str) -> str | None:
        """The electronic ID of a cow by the herd list; None if it tells none."""
        return self.herd.animals[cow].electronic_id if cow in self.herd else None

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
