"""What a reading is worth beside what was said before it, and what of it a question is about."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from voicecapture.language.phrase import Entry
from voicecapture.recogniser import Reading

Completed = Callable[[Entry, Entry], Entry | None]
"""What an entry is together with an earlier one; None if they do not go together."""


def completed(said: Entry, earlier: Entry) -> Entry:
    """What was said, completed from the entry before it; twins and findings leave that one's age as it is."""
    return said.added_to(earlier) or said.merged_over(earlier)


def joined(readings: Iterable[Reading], earlier: Entry, how: Completed = completed) -> tuple[Reading, ...]:
    """The readings that are part of an entry, together with what was said before; without those that do not fit."""
    entries = [(reading, how(reading.phrase.entry, earlier)) for reading in readings if reading.phrase.entry]
    return tuple(replace(r, phrase=replace(r.phrase, entry=entry)) for r, entry in entries if entry is not None)


def offered(readings: Sequence[Reading], field: str) -> Sequence[Reading]:
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
