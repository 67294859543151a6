"""Lines of the electronic-ID reader as events, and what they come to over a day. Pure; `gate.py` has the rules."""

from collections.abc import Iterable, Mapping

from voicecapture.day import READER, STILL_THERE, Day, Event, EventKind
from voicecapture.electronic_id import read_line
from voicecapture.language.phrase import Entry

LOST = "the connection was lost"
"""What a reader hands on as a line when it is gone."""
NO_CODE = "the reader's line is no electronic ID"
NOT_LISTED = "an electronic ID that is not in the herd list: say her number"
_HEARD_CHARACTERS = 40
"""So much is kept of a line that is no code."""


def is_electronic_id(line: str) -> bool:
    """Whether a line holds an electronic ID that an animal may wear."""
    try:
        read_line(line)
    except ValueError:
        return False
    return True


def decide_read(line: str, day: Day, at_s: float, window_s: float) -> Event | None:
    """What follows from a line of the reader: a read, a question, or a line that is no code.

    Args:
        line: As the reader sent it, or `LOST`.
        day: The day so far.
        at_s: When it came, on the audio clock, seconds.
        window_s: Seconds for which a cow that was read stands at the gate.

    Returns:
        None if the line says nothing that is not known: the cow was read just before.
    """
    code = read_line(line) if is_electronic_id(line) else ""
    last_s = day.gate.seen_s.get(code, float("-inf"))
    # Kept from time to time while she stands there, so that her read stays fresh.
    is_repeated = 0 <= at_s - last_s < window_s / 2
    if not code:
        if is_repeated and any(not read.code for read in day.gate.open):
            return None
        printable = "".join(c for c in line if c.isprintable())[:_HEARD_CHARACTERS]
        reason = "the reader is lost" if line == LOST else NO_CODE
        return Event(EventKind.IGNORED, at_s, reason=reason, heard=READER + printable)
    if is_repeated:
        return None
    cow, heard = day.herd.by_electronic_id.get(code), READER + code
    entry = Entry(cow) if cow is not None else None
    held = day.results.get(cow or "")
    seen_s = max(last_s, held[1].at_s) if held is not None else last_s
    if 0 <= at_s - seen_s <= window_s:
        return Event(EventKind.NOTE, at_s, entry=entry, reason=STILL_THERE, heard=heard)
    if cow is not None:
        return Event(EventKind.NOTE, at_s, entry=entry, reason=f"{cow} at the gate", heard=heard)
    if day.asked_of_code(code) is not None:
        return Event(EventKind.NOTE, at_s, reason=NOT_LISTED, heard=heard)
    return Event(EventKind.QUESTION, at_s, reason=NOT_LISTED, heard=heard)


def unmatched(events: Iterable[Event], results: Mapping[str, object]) -> tuple[list[str], list[str]]:
    """Cows that were read and have no result, and cows that have one and were not read, of one day.

    Args:
        events: The day's.
        results: The results that count, by cow.

    Returns:
        Both in order; nothing on a day without a reader.
    """
    reads = [event for event in events if event.is_read]
    read = dict.fromkeys(event.entry.cow for event in reads if event.entry is not None and event.entry.cow)
    return (
        [cow for cow in read if cow not in results],
        [cow for cow in results if cow not in read] if reads else [],
    )
