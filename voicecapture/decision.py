"""Take it, ask, or let it pass: what follows from what was heard.

A pure function of the hearing and the day. A cow that is not in the herd, a cow scanned already and an
implausible age are never taken without asking, however clearly they were heard.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from voicecapture.day import Candidate, Day, Event, EventKind, ScanKind
from voicecapture.echo import OVER_READ_BACK
from voicecapture.language.phrase import YES_NO, Answer, Command, Entry, Phrase
from voicecapture.reckoning.foetus import CROWN_RUMP_MM
from voicecapture.recogniser import PLAUSIBLE_DAYS, Hearing, Reading
from voicecapture.segmenter import Utterance

TALK = "not an entry: talk or noise"
"""Reason of what is passed over in silence."""
STOPPED = "listening is stopped"
"""Reason of what is passed over because the vet said so."""
OTHER = "it may have been another"
"""Reason of a question between readings; the field in doubt may follow it."""
_UNCLEAR = "not clearly heard"
_CORRECTED = "a correction of what was asked"


class Outcome(StrEnum):
    """The three outcomes."""

    ACCEPTED = "accepted"
    QUESTION = "question"
    IGNORED = "ignored"


@dataclass(frozen=True, slots=True)
class DecisionSettings:
    """The bars to take something without asking. DEVELOPERS.md tells how they were set."""

    wrong_costs: float = 100.0
    """Questions that a wrong entry which nobody notices is worth. An entry is taken where the chance that it is
    wrong costs less than a question."""
    least_snr_db: float = 4.0
    """Estimated signal-to-noise ratio below which nothing is taken without asking. The estimate counts the noise
    under the voice: 3 dB where both are equally loud."""
    accept_strangeness: float = 8.0
    """Nats by which an entry may fit worse than a free phone string and still be taken."""
    talk_strangeness: float = 26.0
    """Nats from which an utterance is talk or noise."""
    entry_chance: float = 0.0002
    """Chance of being meant for the listener below which an utterance is talk."""
    command_probability: float = 0.8
    """Posterior from which a command or an answer is followed."""
    answer_window_s: float = 20.0
    """Seconds after a question in which the next words may settle it."""
    join_window_s: float = 6.0
    """Seconds between a lone cow number and the result that belongs to it."""

    @property
    def accept_probability(self) -> float:
        """Chance of being right from which an entry is taken."""
        return 1 - 1 / self.wrong_costs


@dataclass(frozen=True, slots=True)
class Decision:
    """What was decided on one utterance, and why."""

    outcome: Outcome
    event: Event
    command: Command | None = None
    """The command to carry out."""

    @property
    def reason(self) -> str:
        """For a person to read."""
        return self.event.reason


TOO_LOUD = "too loud to trust"
OVERDRIVEN = "the microphone is overdriven"
BROKEN = "some of the sound was lost"
_DISTRUST = (TOO_LOUD, OVERDRIVEN, BROKEN, OVER_READ_BACK)


def distrust(utterance: Utterance, settings: DecisionSettings) -> str:
    """Why nothing in this sound may be taken without asking; empty if it may."""
    if utterance.has_gap:
        return BROKEN
    if utterance.is_clipped:
        return OVERDRIVEN
    return TOO_LOUD if utterance.snr_db < settings.least_snr_db else ""


def is_talk(hearing: Hearing, settings: DecisionSettings) -> bool:
    """Whether an utterance is passed over as talk or noise."""
    return hearing.strangeness > settings.talk_strangeness or hearing.certainty.entry < settings.entry_chance


def decide(
    hearing: Hearing,
    day: Day,
    utterance: int,
    start_s: float,
    end_s: float,
    settings: DecisionSettings,
    distrusted: str = "",
) -> Decision:
    """Decide on one utterance.

    Args:
        hearing: What the recogniser made of it.
        day: The day so far.
        utterance: Its number within the day.
        start_s: Start on the audio clock, seconds.
        end_s: End on the audio clock, seconds.
        settings: The bars.
        distrusted: From `distrust`.
    """
    judge = _Judge(hearing, day, utterance, start_s, end_s, settings, distrusted)
    decision = judge.decide()
    if day.is_noting and decision.outcome is Outcome.IGNORED:
        return Decision(Outcome.ACCEPTED, replace(decision.event, kind=EventKind.NOTE, reason="a spoken note"))
    return decision


def joined(hearing: Hearing, context: Entry) -> tuple[Reading, ...]:
    """The readings that are part of an entry, completed from what was said before."""
    return tuple(
        replace(reading, phrase=replace(reading.phrase, entry=reading.phrase.entry.merged_over(context)))
        for reading in hearing.readings
        if reading.phrase.entry is not None
    )


@dataclass(frozen=True, slots=True)
class _Judge:
    hearing: Hearing
    day: Day
    utterance: int
    start_s: float
    end_s: float
    settings: DecisionSettings
    distrusted: str

    def decide(self) -> Decision:
        readings = self.hearing.readings
        if not readings or is_talk(self.hearing, self.settings):
            return self.ignore(TALK)
        best = readings[0].phrase
        if self.day.is_stopped and best.command is not Command.GO_ON:
            if best.entry is not None and best.entry.is_whole:
                return self.ask("heard while listening was stopped", readings)
            return self.ignore(STOPPED)
        if best.command is not None:
            return self.command(best.command, readings)
        if best.answer is not None:
            return self.answer(best.answer, readings)
        return self.entry(best, readings)

    # ---- the three outcomes ------------------------------------------------------------------

    def event(self, kind: EventKind, reason: str, **more: object) -> Event:
        return Event(
            kind,
            self.end_s,
            self.utterance,
            reason=reason,
            heard=self.hearing.readings[0].words if self.hearing.readings else self.hearing.heard,
            **more,  # type: ignore[arg-type]
        )

    def ignore(self, reason: str) -> Decision:
        return Decision(Outcome.IGNORED, self.event(EventKind.IGNORED, reason))

    def ask(
        self,
        reason: str,
        readings: Sequence[Reading],
        answers: int | None = None,
        replaces: int | None = None,
    ) -> Decision:
        whole = tuple(
            Candidate(reading.phrase.entry, reading.probability)
            for reading in readings
            if reading.phrase.entry is not None and reading.phrase.entry.is_whole
        )
        # No more than is said: an answer must never choose what the vet was not offered.
        candidates = whole[: 2 if reason.startswith((OTHER, _CORRECTED)) else 1]
        best = readings[0]
        event = self.event(
            EventKind.QUESTION,
            reason,
            entry=best.phrase.entry,
            probability=best.probability,
            candidates=candidates,
            answers=answers,
            replaces=replaces,
        )
        return Decision(Outcome.QUESTION, event)

    def accept(
        self, entry: Entry, probability: float, reason: str, replaces: int | None, answers: int | None
    ) -> Decision:
        event = self.event(
            EventKind.ACCEPTED,
            reason,
            entry=entry,
            probability=probability,
            replaces=replaces,
            answers=answers,
        )
        return Decision(Outcome.ACCEPTED, event)

    # ---- commands and answers ------------------------------------------------------------------

    def is_clear(self, readings: Sequence[Reading]) -> bool:
        return readings[0].probability >= self.settings.command_probability and self.is_fitting()

    def command(self, command: Command, readings: Sequence[Reading]) -> Decision:
        if not self.is_clear(readings):
            return self.ask("not clearly heard: say it again", readings[:1])
        if command is Command.TAKE_BACK:
            if self.day.current is not None:
                # "That" is what was asked, not the entry before it.
                asked = self.day.questions[self.day.current].entry
                event = self.event(EventKind.TAKEN_BACK, "taken back", entry=asked, answers=self.day.current)
                return Decision(Outcome.ACCEPTED, event, command)
            last = self.day.last_entry()
            if last is None:
                return self.ignore("there is no entry to take back")
            event = self.event(EventKind.TAKEN_BACK, "taken back", entry=last.entry, replaces=self.day.last)
        else:
            event = self.event(EventKind.COMMAND, command.value)
        return Decision(Outcome.ACCEPTED, event, command)

    def asked(self) -> tuple[int, Event] | None:
        """The question that these words may settle."""
        number = self.day.current
        if number is None:
            return None
        question = self.day.questions[number]
        window = self.settings.answer_window_s if question.candidates else self.settings.join_window_s
        return (number, question) if self.start_s - question.at_s <= window else None

    def answer(self, answer: Answer, readings: Sequence[Reading]) -> Decision:
        asked = self.asked()
        if asked is None or not asked[1].candidates:
            return self.ignore("an answer, but nothing was asked")
        if not self.is_clear(readings):
            if any(reading.phrase.entry is not None for reading in readings):
                return self.ask(self.unclear(), readings)
            return self.ignore("an answer, not clearly heard: say it again")
        number, question = asked
        if answer is Answer.YES and len(question.candidates) > 1:
            return self.ignore("yes to a choice of two: say first, second or neither")
        place = {Answer.FIRST: 0, Answer.YES: 0, Answer.SECOND: 1}.get(answer)
        if place is None or place >= len(question.candidates):
            event = self.event(EventKind.COMMAND, "neither: say the entry again", entry=question.entry)
            return Decision(Outcome.ACCEPTED, event)
        chosen = question.candidates[place].entry
        return self.accept(chosen, 1.0, f"answered: {answer}", self.replaced(chosen, question), number)

    def replaced(self, entry: Entry, question: Event) -> int | None:
        """What an answered question replaces: the entry that it corrects, or the cow's earlier result."""
        held = self.day.results.get(entry.cow or "")
        return question.replaces or (held[0] if held else None)

    # ---- entries ---------------------------------------------------------------------------------

    def entry(self, best: Phrase, readings: Sequence[Reading]) -> Decision:
        assert best.entry is not None
        answers, replaces = None, None
        asked = self.asked()
        is_correction = best.corrects or self.day.is_correcting
        if is_correction and self.day.current is not None:
            return self.correct_question(self.day.current, readings)
        if is_correction:
            last = self.day.last_entry()
            if last is None or last.entry is None:
                return self.ask("a correction, but there is no entry to correct", readings)
            readings, replaces = joined(self.hearing, last.entry), self.day.last
        elif asked is not None and asked[1].entry is not None:
            number, question = asked
            assert question.entry is not None
            cows = {candidate.entry.cow for candidate in question.candidates} | {question.entry.cow}
            if not best.entry.is_whole and (best.entry.cow is None or question.candidates):
                readings = joined(self.hearing, question.entry)
                if not self.is_rest_certain(question, best.entry):
                    return self.ask(OTHER, self.completed(question), number, question.replaces)
                answers, replaces = number, question.replaces
            elif best.entry.is_whole and best.entry.cow in cows:
                answers, replaces = number, question.replaces
        chosen, probability = readings[0], readings[0].probability
        entry = chosen.phrase.entry
        assert entry is not None
        if not entry.is_whole:
            return self.ask(_what_is_missing(entry) if self.is_fitting() else self.unclear(), readings)
        doubt = self.doubt(chosen.phrase, entry, replaces)
        if doubt == OTHER:
            field = self.doubtful_field()
            readings = _offered(readings, field)
            doubt = f"{OTHER} {field}".strip()
        if doubt:
            return self.ask(doubt, readings, answers, replaces)
        return self.accept(entry, probability, "clearly heard", replaces, answers)

    def is_rest_certain(self, question: Event, said: Entry) -> bool:
        """Whether what `said` does not say was heard well enough when the question arose.

        "Four one nine" settles which cow, never an age that was in doubt; a result never settles which cow.
        """
        if question.reason in (_UNCLEAR, *_DISTRUST) or question.entry is None:
            return False
        if not question.candidates:
            return (question.probability or 0.0) >= self.settings.accept_probability
        rest = said.merged_over(question.entry)
        agreeing = [c.probability for c in question.candidates if said.merged_over(c.entry) == rest]
        return sum(agreeing) >= self.settings.accept_probability

    def completed(self, question: Event) -> tuple[Reading, ...]:
        """What was said now, completed from each entry that the question offered."""
        whole = Candidate(question.entry or Entry(), question.probability or 0.0)
        completed = [
            # What is completed is no surer than what completes it.
            replace(reading, probability=reading.probability * context.probability)
            for context in question.candidates or (whole,)
            for reading in joined(self.hearing, context.entry)[:1]
        ]
        return tuple(dict.fromkeys(completed))

    def correct_question(self, number: int, readings: Sequence[Reading]) -> Decision:
        """What was asked is corrected, never the entry before it; the rest of it is still in doubt, so ask again."""
        question = self.day.questions[number]
        readings = self.completed(question) or readings
        return self.ask(_CORRECTED, readings, number, question.replaces)

    def is_fitting(self) -> bool:
        """Whether the sound is good, and fits the best reading, well enough for it to be taken."""
        return not self.distrusted and self.hearing.strangeness <= self.settings.accept_strangeness

    def unclear(self) -> str:
        """What is the matter with sound that does not fit."""
        return self.distrusted or _UNCLEAR

    def doubtful_field(self) -> str:
        """The only field that a question has to be about: "number", "result" or "age"; empty if it is several."""
        certainty = self.hearing.certainty
        chances = {"number": certainty.number, "result": certainty.result, "age": certainty.age}
        doubtful = [field for field, chance in chances.items() if chance < self.settings.accept_probability]
        return doubtful[0] if len(doubtful) == 1 else ""

    def doubt(self, phrase: Phrase, entry: Entry, replaces: int | None) -> str:
        """Why an entry must be asked about; empty if it may be taken."""
        assert entry.cow is not None
        if not self.is_fitting():
            return self.unclear()
        held = self.day.results.get(entry.cow)
        if held is not None and held[0] != replaces:
            return f"{entry.cow} has been scanned already"
        if self.day.herd.animals and entry.cow not in self.day.herd:
            return f"{entry.cow} is not in the herd list"
        if entry.days is not None and not PLAUSIBLE_DAYS[0] <= entry.days <= PLAUSIBLE_DAYS[1]:
            return f"{entry.days} days is not an age that a scan finds"
        if entry.crown_rump_mm is not None and not CROWN_RUMP_MM[0] <= entry.crown_rump_mm <= CROWN_RUMP_MM[1]:
            return f"a crown-rump length of {entry.crown_rump_mm} millimetres tells no age"
        if phrase.caution and not (phrase.caution == YES_NO and self.day.kind is ScanKind.YES_NO):
            return phrase.caution
        if self.hearing.readings[0].probability < self.settings.accept_probability:
            return OTHER
        return ""


def _what_is_missing(entry: Entry) -> str:
    if entry.cow is None:
        return "a result without a cow number"
    return f"{entry.cow} without a result"


def _offered(readings: Sequence[Reading], field: str) -> Sequence[Reading]:
    """The best reading and those that differ from it in the field alone; all of them where no field is named."""
    best, *others = readings
    if not field or best.phrase.entry is None:
        return readings
    same = _apart_from(best.phrase.entry, field)
    return [best, *(r for r in others if r.phrase.entry and _apart_from(r.phrase.entry, field) == same)]


def _apart_from(entry: Entry, field: str) -> Entry:
    """The entry without one field."""
    match field:
        case "number":
            return replace(entry, cow=None)
        case "age":
            return replace(entry, days=None, crown_rump_mm=None)
        case "result":
            return Entry(cow=entry.cow)
        case _:
            return entry
