"""What became of a trial: pure, so that other bars are tried on what was heard once."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from voicecapture.bars import DecisionSettings, distrust
from voicecapture.bench.manifest import same_meaning
from voicecapture.bench.trial import Trial
from voicecapture.day import Day, EventKind
from voicecapture.decision import Decision, decide
from voicecapture.decision import Outcome as Decided
from voicecapture.herd import Herd
from voicecapture.language.phrase import Entry, Phrase
from voicecapture.recogniser import Hearing
from voicecapture.segmenter import Utterance


class Became(StrEnum):
    """What became of what was said."""

    TAKEN = "taken"
    """An entry was taken or a command followed, without asking."""
    ASKED = "asked"
    """Also where an entry was taken and then asked about, because twins or a finding came late, unless it is wrong
    and the question does not offer what was said. It stands until the question is answered."""
    LOST = "lost"
    """Passed over in silence: right for talk and noise, and for what changes nothing; never for an entry."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """One trial as it was decided."""

    trial: Trial
    became: Became
    first: Phrase | None
    """The reading that counts, see `Account`."""
    heard: str
    """The words of all utterances."""
    probability: float
    """Chance that the engine gave it, 0-1."""
    entries: int
    """Entries taken."""
    is_listed: bool
    """The cow that was said is in the herd; true where no cow was."""
    is_foreign_taken: bool
    """A cow outside the herd was taken as one of it."""

    @property
    def kind(self) -> str:
        """Of the recording."""
        return self.trial.case.recording.kind

    @property
    def said(self) -> Phrase | None:
        """What was said."""
        return self.trial.case.recording.said

    @property
    def is_whole_entry(self) -> bool:
        """Whether a cow and her result were said."""
        return self.said is not None and self.said.entry is not None and self.said.entry.is_whole

    @property
    def is_right(self) -> bool:
        """The reading is what was said; talk and noise were passed over, an entry was not."""
        is_lost = self.became is Became.LOST
        if self.said is None:
            return is_lost
        return same_meaning(self.first, self.said) and not (is_lost and self.said.entry is not None)

    @property
    def is_taken_wrong(self) -> bool:
        """Taken without asking, and not what was said."""
        return self.became is Became.TAKEN and not self.is_right


@dataclass(frozen=True, slots=True)
class Account:
    """What became of one saying, over all utterances that were found in it."""

    became: Became
    first: Phrase | None
    """The best reading, whether taken or asked: of several taken a wrong one, of several asked the last."""
    probability: float
    """Chance that it was given, 0-1."""
    heard: str
    """The words of all utterances."""
    taken: tuple[Entry, ...]
    """Entries taken, also those that were then asked about."""


def account(
    utterances: Iterable[tuple[Utterance, Hearing]], said: Phrase | None, herd: Herd, settings: DecisionSettings
) -> Account:
    """Decide on one saying as on a day of its own.

    Args:
        utterances: In the order in which they were heard.
        said: What it means; None for talk and noise.
        herd: The herd of the day.
        settings: The bars.
    """
    decisions = _decisions(utterances, herd, settings)
    asked = [(phrase, decision) for phrase, decision in decisions if decision.outcome is Decided.QUESTION]
    accepted = {n: pair for n, pair in enumerate(decisions, 1) if pair[1].outcome is Decided.ACCEPTED}
    asked_about = {decision.event.replaces for _, decision in asked}
    # A question that does not offer what was said lets a wrong entry stand, whatever is answered.
    offered = {decision.event.replaces for phrase, decision in asked if same_meaning(phrase, said)}
    right = {number for number, (phrase, _) in accepted.items() if same_meaning(phrase, said)}
    taken = {number: pair for number, pair in accepted.items() if number not in asked_about & (right | offered)}
    wrong = [pair for number, pair in taken.items() if number not in right]
    chosen = (wrong or [*taken.values()] or asked or decisions)[-1:]
    events = [decision.event for _, decision in accepted.values()]
    return Account(
        Became.TAKEN if taken else Became.ASKED if asked else Became.LOST,
        chosen[0][0] if chosen else None,
        (chosen[0][1].event.probability or 0.0) if chosen else 0.0,
        " | ".join(decision.event.heard for _, decision in decisions),
        tuple(event.entry for event in events if event.kind is EventKind.ACCEPTED and event.entry),
    )


def _decisions(
    utterances: Iterable[tuple[Utterance, Hearing]], herd: Herd, settings: DecisionSettings
) -> list[tuple[Phrase | None, Decision]]:
    """Each utterance's meaning, completed from those before it, and its decision."""
    day, decisions = Day(herd), []
    for number, (sound, hearing) in enumerate(utterances, 1):
        decision = decide(hearing, day, number, sound.start_s, sound.end_s, settings, distrust(sound, settings))
        day = day.after(decision.event)
        read = hearing.readings[0].phrase if hearing.readings else None
        is_entry = read is not None and read.entry is not None and decision.event.entry is not None
        decisions.append((Phrase(entry=decision.event.entry) if is_entry else read, decision))
    return decisions


def judge(trial: Trial, herd: Herd, settings: DecisionSettings) -> Outcome:
    """Decide on a trial; what is decided may differ from what was while it was heard, if the bars do.

    Where a recording holds several utterances, the later ones were heard expecting what followed from the first
    decision; that expectation stays.
    """
    said = trial.case.recording.said
    found = account(((heard.utterance, heard.hearing) for heard in trial.utterances), said, herd, settings)
    cow = said.entry.cow if said and said.entry else None
    return Outcome(
        trial,
        found.became,
        found.first,
        found.heard,
        found.probability,
        len(found.taken),
        cow is None or cow in herd,
        cow is not None and cow not in herd and any(entry.cow in herd for entry in found.taken),
    )


def judged(trials: Iterable[Trial], herd: Herd, settings: DecisionSettings) -> list[Outcome]:
    """The outcome of each trial."""
    return [judge(trial, herd, settings) for trial in trials]


def number_type(outcome: Outcome) -> str:
    """How long the cow number is that was said: "3 digits"."""
    cow = (outcome.said.entry.cow if outcome.said and outcome.said.entry else None) or ""
    return f"{len(cow)} digit{'' if len(cow) == 1 else 's'}"


def result_type(outcome: Outcome) -> str:
    """How the result was said: "weeks", "days", "length", "twins", or the result itself."""
    entry = (outcome.said.entry if outcome.said else None) or Entry()
    if entry.twins:
        return "twins"
    if entry.crown_rump_mm is not None:
        return "length"
    if entry.days is not None:
        return "weeks" if {"week", "weeks"}.intersection(outcome.trial.case.recording.words.split()) else "days"
    return entry.result.value if entry.result else "none"


def is_herd_entry(outcome: Outcome) -> bool:
    """Whether a whole entry for a cow of the herd was said, whatever its kind."""
    return outcome.is_whole_entry and outcome.is_listed
