"""Rows of the database to values, and back; and the digest of a day's rows."""

import hashlib
import json
import math
import re
from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from voicecapture.day import Candidate, Event, EventKind
from voicecapture.herd import Animal
from voicecapture.language.phrase import Entry, Result, Stage
from voicecapture.plain_text import one_line, shown

Row = dict[str, Any]
_NOTHING = Entry()
_COW, _ELECTRONIC_ID, _NAME = re.compile(r"[0-9]{1,5}"), re.compile(r"[0-9]{15}"), re.compile(r"[0-9a-f]{32}")
_TIME = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]+)?\+00:00")
_YEARS = range(1980, 2101)
_LARGEST = 100_000
"""Of any number that is an age, a length or a count of weeks; and of seconds, in days."""


def entry_columns(entry: Entry | None) -> Row:
    """The columns of an entry; all empty without one."""
    entry = entry or Entry()
    return {
        "cow": entry.cow,
        "result": entry.result.value if entry.result else None,
        "days": entry.days,
        "crown_rump_mm": entry.crown_rump_mm,
        "twins": int(entry.twins),
        "findings": json.dumps(entry.findings),
        "recheck_weeks": entry.recheck_weeks,
        "stage": entry.stage.value if entry.stage else None,
    }


def _listed(text: str) -> list[Any]:
    """A list in JSON; most are empty."""
    return [] if text == "[]" else list(json.loads(text))


def read_entry(row: Row) -> Entry:
    """An entry from its columns.

    Raises:
        ValueError: If they hold what no entry has; KeyError or TypeError, if they are no columns of an entry.
    """
    return Entry(
        cow=_matching(_COW, row["cow"]),
        result=Result(row["result"]) if row["result"] else None,
        days=_number(row["days"]),
        # Questions of an older version name no such length.
        crown_rump_mm=_number(row.get("crown_rump_mm")),
        twins=bool(row["twins"]),
        findings=tuple(map(one_line, _listed(row["findings"]))),
        recheck_weeks=_number(row["recheck_weeks"]),
        stage=Stage(row["stage"]) if row["stage"] else None,
    )


def read_event(row: Row) -> Event:
    """An event from its row.

    Raises:
        ValueError, KeyError, TypeError: If it holds what no event has.
    """
    heard = read_entry(row)
    kind = EventKind(row["kind"])
    if kind is EventKind.ACCEPTED and heard.cow is None:
        raise ValueError("an entry without a cow")
    return Event(
        kind=kind,
        at_s=_seconds(row["at_s"]),
        utterance=_number(row["utterance"]),
        entry=heard if heard != _NOTHING else None,
        reason=one_line(row["reason"]),
        probability=_share(row["probability"]),
        candidates=tuple(
            Candidate(read_entry(c), _share(c["probability"]) or 0.0) for c in _listed(row["candidates"])
        ),
        replaces=_number(row["replaces"]),
        answers=_number(row["answers"]),
        heard=one_line(row["heard"]),
        by=one_line(row["by_whom"]),
    )


def read_animal(row: Row) -> Animal:
    """A cow of the herd list from her row.

    Raises:
        ValueError, TypeError: If it holds what no cow has.
    """
    cow = _matching(_COW, row["cow"])
    if cow is None:
        raise ValueError("a cow without a number")
    return Animal(
        cow,
        _matching(_ELECTRONIC_ID, row["electronic_id"]),
        one_line(row["breed"]) if row["breed"] else None,
        read_day(row["mated_on"]),
        read_day(row["born_on"]),
        read_day(row["calved_on"]),
        None if row["eligible"] is None else bool(row["eligible"]),
    )


def read_name(text: str) -> str:
    """A day's own name.

    Raises:
        ValueError, TypeError: If it is none.
    """
    if not _NAME.fullmatch(text):
        raise ValueError(f"'{shown(text)}' is no name of a day")
    return text


def read_time(text: str) -> str:
    """A time in UTC as the record keeps it, unchanged.

    Raises:
        ValueError, TypeError: If it is none.
    """
    if not _TIME.fullmatch(text) or datetime.fromisoformat(text).year not in _YEARS:
        raise ValueError(f"'{shown(text)}' is no time")
    return text


def read_day(text: str | None) -> date | None:
    """A day from its column; None if it is empty.

    Raises:
        ValueError, TypeError: If it is no day, or not of our time.
    """
    day = date.fromisoformat(text) if text else None
    if day is not None and day.year not in _YEARS:
        raise ValueError(f"{day} is not of our time")
    return day


def _matching(pattern: re.Pattern[str], text: str | None) -> str | None:
    if text is not None and not pattern.fullmatch(text):
        raise ValueError(f"'{shown(text)}' where a number of a cow is kept")
    return text


def _number(value: int | None) -> int | None:
    if value is not None and not (isinstance(value, int) and 0 <= value <= _LARGEST):
        raise ValueError(f"'{shown(str(value))}' where a small number is kept")
    return value


def _seconds(value: float) -> float:
    if not abs(value) <= _LARGEST * 86_400:
        raise ValueError(f"{value} seconds")
    return value


def _share(value: float | None) -> float | None:
    if value is not None and not (math.isfinite(value) and -0.01 < value < 1.01):
        raise ValueError(f"{value} where a chance is kept")
    return value


def animal_columns(animal: Animal) -> Row:
    """The columns of a cow of the herd list."""
    return {
        "cow": animal.cow,
        "electronic_id": animal.electronic_id,
        "breed": animal.breed,
        "mated_on": animal.mated_on and animal.mated_on.isoformat(),
        "born_on": animal.born_on and animal.born_on.isoformat(),
        "calved_on": animal.calved_on and animal.calved_on.isoformat(),
        "eligible": None if animal.eligible is None else int(animal.eligible),
    }


def event_columns(event: Event) -> Row:
    """The columns of an event, besides its day, number and time."""
    return {
        "kind": event.kind.value,
        "at_s": event.at_s,
        "utterance": event.utterance,
        **entry_columns(event.entry),
        "reason": event.reason,
        "probability": event.probability,
        "candidates": json.dumps(
            [{**entry_columns(c.entry), "probability": c.probability} for c in event.candidates]
        ),
        "replaces": event.replaces,
        "answers": event.answers,
        "heard": event.heard,
        "by_whom": event.by,
    }


_OF_THE_FILE = frozenset({"id", "day_id"})
"""Columns that differ between two copies of a day."""


_SORTED = json.JSONEncoder(sort_keys=True)


def digest(day: Row, animals: Iterable[Row], events: Iterable[Row]) -> str:
    """SHA-256 of a day's rows, hexadecimal: the same in every file that holds the day, another if anything differs.

    Each row is one line of JSON with sorted keys, without what is empty and what depends on the file it is in.
    """
    hashed = hashlib.sha256()
    for row in (day, *animals, *events):
        kept = {name: value for name, value in row.items() if name not in _OF_THE_FILE and value not in (None, "")}
        hashed.update(_SORTED.encode(kept).encode())
        hashed.update(b"\n")
    return hashed.hexdigest()
