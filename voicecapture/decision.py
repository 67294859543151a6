"""Take it, ask, or let it pass: what follows from what was heard.

A pure function of the hearing and the day. A cow that is not in the herd, a cow scanned already and an
implausible age are never taken without asking, however clearly they were heard.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from voicecapture import reasons
from voicecapture.bars import BROKEN, DISTRUST, OVER_READ_BACK, DecisionSettings, is_talk
from voicecapture.day import NEITHER, Candidate, Day, Event, EventKind, ScanKind
from voicecapture.gate import Read
from voicecapture.language.phrase import YES_NO, Answer, Command, Entry, Phrase
from voicecapture.offers import (
    carried,
    completed,
    completing,
    corrected,
    cows_of,
    differing_in,
    doubtful_field,
    is_hers,
    joined,
    of_cows,
    what_is_missing,
)
from voicecapture.reckoning.foetus import CROWN_RUMP_MM
from voicecapture.recogniser import PLAUSIBLE_DAYS, Hearing, Reading


class Outcome(StrEnum):
    """The three outcomes."""

    ACCEPTED = "accepted"
    QUESTION = "question"
    IGNORED = "ignored"


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
        distrusted: From `bars.distrust`.
    """
    judge = _Judge(hearing, day, utterance, start_s, end_s, settings, distrusted)
    decision = judge.decide()
    if day.is_noting and decision.outcome is Outcome.IGNORED:
        return Decision(Outcome.ACCEPTED, replace(decision.event, kind=EventKind.NOTE, reason="a spoken note"))
    return decision


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
            # Half an entry is no entry any more, and must not be passed over in silence for it.
            is_spoilt = self.distrusted in (BROKEN, OVER_READ_BACK)
            return self.ignore(f"{self.distrusted}: {reasons.SAY_AGAIN}" if is_spoilt else reasons.TALK)
        best = readings[0].phrase
        if self.day.is_stopped and best.command is not Command.GO_ON:
            if best.entry is not None and best.entry.is_whole:
                return self.ask("heard while listening was stopped", readings)
            return self.ignore(reasons.STOPPED)
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
        candidates = whole[: 2 if reason.startswith(reasons.CHOICES) else 1]
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
            if any(reading.phrase.entry is not None for reading in readings):
                return self.ask(self.unclear(), readings)
            # No question: "take that back", said again, would take back that.
            return self.ignore(f"a command, {reasons.IN_VAIN}")
        if command is Command.TAKE_BACK:
            number = self.day.current
            if number is not None and self.start_s - self.day.questions[number].at_s <= self.settings.answer_window_s:
                # "That" is what was asked, not the entry before it.
                asked = self.day.questions[number].entry
                event = self.event(EventKind.TAKEN_BACK, "taken back", entry=asked, answers=number)
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
            return self.ignore(f"an answer, {reasons.IN_VAIN}")
        number, question = asked
        if answer is Answer.YES and len(question.candidates) > 1:
            return self.ignore("yes to a choice of two: say first, second or neither")
        place = {Answer.FIRST: 0, Answer.YES: 0, Answer.SECOND: 1}.get(answer)
        if place is None or place >= len(question.candidates):
            event = self.event(EventKind.COMMAND, NEITHER, entry=question.entry)
            return Decision(Outcome.ACCEPTED, event)
        chosen = question.candidates[place].entry
        # Late words are about a cow whose result was taken, whoever stands at the gate now.
        if question.reason != reasons.LATE and (against := self.against(chosen, number)):
            return self.ask_reader(Reading(Phrase(chosen), "", 1.0), against, number, question.replaces)
        return self.accept(chosen, 1.0, f"answered: {answer}", self.replaced(chosen, question), number)

    def replaced(self, entry: Entry, question: Event) -> int | None:
        """What an answered question replaces: the entry that it corrects, or the cow's earlier result."""
        held = self.day.results.get(entry.cow or "")
        return question.replaces or (held[0] if held else None)

    # ---- entries ---------------------------------------------------------------------------------

    def entry(self, best: Phrase, readings: Sequence[Reading]) -> Decision:
        assert best.entry is not None
        answers, replaces, why = None, None, reasons.CLEARLY
        asked = self.asked()
        is_correction = best.corrects or self.day.correcting_s is not None
        late = () if is_correction else self.late(best.entry)
        at_gate = () if is_correction or late or best.entry.cow else self.at_gate(asked and asked[1])
        if not best.corrects and self.is_lapsed():
            return self.ask(reasons.LAPSED, readings)
        if is_correction and self.day.current is not None:
            return self.correct_question(self.day.current, readings)
        if is_correction:
            last = self.day.last_entry()
            if last is None or last.entry is None:
                return self.ask("a correction, but there is no entry to correct", readings)
            meant = corrected(best.entry, last.entry)
            if len(meant) > 1:
                return self.ask_besides(meant)
            readings, replaces = joined(readings, last.entry, carried), self.day.last
        elif len(at_gate) == 1 and at_gate[0] is not None:
            readings, why = joined(readings, Entry(cow=at_gate[0])), reasons.BY_READER
        elif at_gate:
            return self.ask_whose(at_gate, readings[0])
        elif late:
            # A word of talk may sound like one of these, so they are never taken without asking.
            return self.ask(reasons.LATE, late, replaces=self.day.last)
        elif asked is not None and asked[1].entry is not None:
            number, question = asked
            assert question.entry is not None
            cows = {candidate.entry.cow for candidate in question.candidates} | {question.entry.cow}
            # A number that was not offered is the next cow's.
            is_offered = best.entry.cow is None or (bool(question.candidates) and best.entry.cow in cows)
            if not best.entry.is_whole and is_offered:
                readings = joined(readings, question.entry, completing(question))
                if not self.is_rest_certain(question, best.entry):
                    reason = question.reason if question.reason == reasons.NOT_IN_STEP else reasons.OTHER
                    return self.ask(reason, completed(self.hearing.readings, question), number, question.replaces)
                answers, replaces = number, question.replaces
            elif best.entry.is_whole and best.entry.cow in cows and is_hers(best.entry, cows, question):
                answers, replaces = number, question.replaces
        chosen, probability = readings[0], readings[0].probability
        entry = chosen.phrase.entry
        assert entry is not None
        if not entry.is_whole:
            return self.ask(
                what_is_missing(entry) if self.is_fitting() else self.unclear(), readings, answers, replaces
            )
        against = () if is_correction else self.against(entry, answers)
        # Only the numbers are asked about, so the rest must be sure.
        is_sure = probability >= self.settings.accept_probability or self.doubtful_field() == "number"
        if against and is_sure and self.is_fitting() and entry.cow not in self.day.results:
            return self.ask_reader(chosen, against, answers, replaces)
        doubt = self.doubt(chosen.phrase, entry, replaces)
        if not doubt and why == reasons.BY_READER:
            doubt = self.doubt_of_reader()
        if doubt == reasons.OTHER:
            field = self.doubtful_field()
            readings = differing_in(readings, field)
            doubt = f"{reasons.OTHER} {field}".strip()
        if doubt:
            return self.ask(doubt, readings, answers, replaces)
        return self.accept(entry, probability, why, replaces, answers or self.asked_at_gate(entry))

    def is_lapsed(self) -> bool:
        """Whether "correction" was said too long ago to be about these words."""
        said_s = self.day.correcting_s
        return said_s is not None and self.start_s - said_s > self.settings.answer_window_s

    def late(self, said: Entry) -> tuple[Reading, ...]:
        """Twins or findings said after an entry was taken, together with it; empty if these are none.

        Late twins may have been heard as a lone number first, and are said again.
        """
        last, asked = self.day.last_entry(), self.asked()
        added = said.added_to(last.entry) if last is not None and last.entry is not None else None
        if last is None or last.entry is None or added is None:
            return ()
        since_s = self.start_s
        if self.day.current is not None:
            is_said_again = said.twins and added != last.entry and bool(self.utterance)
            if asked is None or not asked[1].is_number_alone or not is_said_again:
                return ()
            since_s = asked[1].at_s
        is_soon = since_s - last.at_s <= self.settings.join_window_s
        return joined(self.hearing.readings, last.entry, Entry.added_to) if is_soon else ()

    def is_rest_certain(self, question: Event, said: Entry) -> bool:
        """Whether what `said` does not say was heard well enough when the question arose.

        "Four one nine" settles which cow, never an age that was in doubt; a result never settles which cow.
        """
        if question.reason in (reasons.UNCLEAR, reasons.LATE, *DISTRUST) or question.entry is None:
            return False
        complete = completing(question)
        if said.cow is None and self.day.gate.seen_s:
            # Where a reader tells the numbers, a result alone is likelier to be the next cow's than a new answer.
            if question.reason == reasons.NOT_IN_STEP:
                return False
            offered = [c.entry for c in question.candidates]
            if offered and complete(said, question.entry) not in offered:
                return False
        if not question.candidates:
            return (question.probability or 0.0) >= self.settings.accept_probability
        rest = complete(said, question.entry)
        agreeing = [c.probability for c in question.candidates if complete(said, c.entry) == rest]
        return sum(agreeing) >= self.settings.accept_probability

    def ask_besides(self, meant: Sequence[Entry]) -> Decision:
        """Ask whether a correction leaves the twins and findings of the entry that it is about."""
        best = self.hearing.readings[0]
        readings = [replace(best, phrase=Phrase(entry), probability=best.probability / len(meant)) for entry in meant]
        return self.ask(reasons.BESIDES if self.is_fitting() else self.unclear(), readings, replaces=self.day.last)

    def correct_question(self, number: int, readings: Sequence[Reading]) -> Decision:
        """What was asked is corrected, never the entry before it; the rest of it is still in doubt, so ask again."""
        question = self.day.questions[number]
        readings = completed(self.hearing.readings, question) or readings
        return self.ask(reasons.CORRECTED, readings, number, question.replaces)

    # ---- the reader at the gate; `gate.py` has the rules --------------------------------------------

    @property
    def said_s(self) -> float:
        """When the words began; of what was typed, when it came."""
        return self.start_s if self.utterance else self.end_s

    def at_gate(self, question: Event | None) -> tuple[str | None, ...]:
        """The cows whose a result without a number may be; none if it belongs to what was said or asked before."""
        if question is not None and not question.candidates and question.entry and question.entry.cow:
            return ()  # her number was just said
        about = [candidate.entry.cow for candidate in question.candidates] if question is not None else []
        return self.day.gate.whose(about, self.said_s, self.settings.reader_window_s)

    def ask_whose(self, cows: Sequence[str | None], reading: Reading) -> Decision:
        """Ask whose a result without a number is: between two, or else for the number."""
        named = [cow for cow in cows if cow is not None]
        offered = of_cows(reading, named)
        entries = [r.phrase.entry for r in offered if r.phrase.entry is not None and r.phrase.entry.is_whole]
        is_choice = len(cows) == 2 == len(entries)
        if is_choice and not any(self.doubt(reading.phrase, entry, None) for entry in entries):
            return self.ask(reasons.TWO_READ, offered)
        return self.ask(reasons.NOT_SURE_WHO if self.is_fitting() else self.unclear(), (reading,))

    def doubt_of_reader(self) -> str:
        """Why a result is not taken for the cow that was read; empty if it is."""
        if self.day.gate.steps:
            return reasons.NOT_IN_STEP
        # A single word of talk can sound like a result, and no number shows that it was meant.
        return reasons.OTHER if self.hearing.certainty.entry < self.settings.accept_probability else ""

    def against(self, entry: Entry, answers: int | None) -> tuple[Read, ...]:
        """The reads that speak against the number of an entry that was said, now or in what it answers."""
        if entry.cow is None or not self.utterance:
            return ()
        question, said_s = self.day.questions.get(answers or 0), self.said_s
        if question is not None:
            if question.reason.startswith((reasons.READER_SAYS, reasons.TWO_READ)) and entry.cow in cows_of(question):
                return ()
            said_s = min(said_s, question.at_s)
        return self.day.gate.against(entry.cow, self.day.code_of(entry.cow), said_s, self.settings.reader_window_s)

    def ask_reader(
        self, reading: Reading, against: Sequence[Read], answers: int | None, replaces: int | None
    ) -> Decision:
        """Ask which is right, the number that was read or the one that was heard."""
        entry = reading.phrase.entry
        assert entry is not None and entry.cow is not None
        named = list(dict.fromkeys(read.cow for read in against if read.cow))
        reason = (
            f"{reasons.READER_SAYS} {' or '.join(named) or 'a cow that is not in the herd list'}, heard {entry.cow}"
        )
        other = replace(entry, cow=named[0]) if len(against) == 1 == len(named) else None
        if other is not None and self.doubt(reading.phrase, other, None) in ("", reasons.OTHER):
            return self.ask(reason, of_cows(reading, (named[0], entry.cow)), answers, replaces)
        return self.ask(reason, (reading,), answers, replaces)

    def asked_at_gate(self, entry: Entry) -> int | None:
        """The question about an unlisted electronic ID that this entry settles."""
        if entry.cow is None or not self.utterance:
            return None
        code, window_s = self.day.code_of(entry.cow), self.settings.reader_window_s
        return self.day.gate.asked_of(entry.cow, code, self.said_s, window_s)

    def doubtful_field(self) -> str:
        """The only field that a question has to be about; empty if it is several."""
        return doubtful_field(self.hearing.certainty, self.settings.accept_probability)

    def is_fitting(self) -> bool:
        """Whether the sound is good, and fits the best reading, well enough for it to be taken."""
        return not self.distrusted and self.hearing.strangeness <= self.settings.accept_strangeness

    def unclear(self) -> str:
        """What is the matter with sound that does not fit."""
        return self.distrusted or reasons.UNCLEAR

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
            return reasons.OTHER
        return ""
