"""What a question offers: readings completed from what is known, and those that differ in what is in doubt. Pure."""

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import replace

from voicecapture.day import Candidate, Event
from voicecapture.language.phrase import Entry, Result
from voicecapture.reasons import OTHER
from voicecapture.recogniser import Certainty, Reading

Together = Callable[[Entry, Entry], Entry | None]
"""What an entry is together with an earlier one; None if they do not go together."""


def together(said: Entry, earlier: Entry) -> Entry:
    """What was said, completed from the entry before it; twins and findings leave that one's age as it is."""
    return said.added_to(earlier) or said.merged_over(earlier)


def carried(said: Entry, earlier: Entry) -> Entry:
    """As `together`, with the findings of the entry before, and its twins while the cow is in calf: said once."""
    merged = together(said, earlier)
    if said.cow is not None:
        return merged
    return replace(
        merged,
        twins=merged.twins or (earlier.twins and merged.result is Result.PREGNANT),
        findings=tuple(dict.fromkeys(earlier.findings + merged.findings)),
    )


def corrected(said: Entry, earlier: Entry) -> tuple[Entry, ...]:
    """What a correction may mean: a new age or result, which leaves the rest; if that changes nothing, also without.

    A new result is never kept waiting by a question about what goes with it.
    """
    merged, kept = together(said, earlier), carried(said, earlier)
    return (kept,) if kept != earlier or kept == merged else (merged, kept)


def completing(question: Event) -> Together:
    """How an answer completes what was asked: twins and findings that were not in question stay."""
    besides = {(candidate.entry.twins, candidate.entry.findings) for candidate in question.candidates}
    is_choice = len(question.candidates) > 1 and len(besides) == 1
    return carried if is_choice or question.reason in (f"{OTHER} number", f"{OTHER} age") else together


def joined(readings: Iterable[Reading], earlier: Entry, how: Together = together) -> tuple[Reading, ...]:
    """The readings that are part of an entry, together with what was said before; without those that do not fit."""
    entries = [(reading, how(reading.phrase.entry, earlier)) for reading in readings if reading.phrase.entry]
    return tuple(replace(r, phrase=replace(r.phrase, entry=entry)) for r, entry in entries if entry is not None)


def completed(readings: Sequence[Reading], question: Event) -> tuple[Reading, ...]:
    """The best reading, completed from each entry that a question offered; each completed entry once."""
    whole = Candidate(question.entry or Entry(), question.probability or 0.0)
    found = [
        # What is completed is no surer than what completes it.
        replace(reading, probability=reading.probability * context.probability)
        for context in question.candidates or (whole,)
        for reading in joined(readings, context.entry, completing(question))[:1]
    ]
    return tuple({reading.phrase: reading for reading in reversed(found)}.values())[::-1]


def cows_of(question: Event) -> set[str | None]:
    """The cows that a question is between."""
    return {candidate.entry.cow for candidate in question.candidates}


def is_hers(entry: Entry, cows: Collection[str | None], question: Event) -> bool:
    """Whether an entry of a cow that a question is about settles it.

    Of several cows that were offered one may be the next, with a result of her own.
    """
    return len(cows) == 1 or entry in [candidate.entry for candidate in question.candidates]


def of_cows(reading: Reading, cows: Sequence[str]) -> tuple[Reading, ...]:
    """One reading as the entry of each of these cows, who share its probability."""
    return tuple(
        replace(
            reading,
            phrase=replace(reading.phrase, entry=replace(reading.phrase.entry or Entry(), cow=cow)),
            probability=reading.probability / len(cows),
        )
        for cow in cows
    )


def what_is_missing(entry: Entry) -> str:
    """Why part of an entry must be asked about."""
    if entry.cow is None:
        return "a result without a cow number"
    return f"{entry.cow} without a result"


def doubtful_field(certainty: Certainty, bar: float) -> str:
    """The only field that a question has to be about: "number", "result" or "age"; empty if it is several."""
    chances = {"number": certainty.number, "result": certainty.result, "age": certainty.age}
    doubtful = [field for field, chance in chances.items() if chance < bar]
    return doubtful[0] if len(doubtful) == 1 else ""


def differing_in(readings: Sequence[Reading], field: str) -> Sequence[Reading]:
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
