"""Rows of the database to values, and back; and the digest of a day's rows."""

import hashlib
import json
from collections.abc import Iterable
from datetime import date
from typing import Any

from voicecapture.day import Candidate, Event, EventKind
from voicecapture.herd import Animal
from voicecapture.language.phrase import Entry, Result, Stage

Row = dict[str, Any]


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


def read_entry(row: Row) -> Entry:
    """An entry from its columns."""
    return Entry(
        cow=row["cow"],
        result=Result(row["result"]) if row["result"] else None,
        days=row["days"],
        # Questions of an older version name no such length.
        crown_rump_mm=row.get("crown_rump_mm"),
        twins=bool(row["twins"]),
        findings=tuple(json.loads(row["findings"])),
        recheck_weeks=row["recheck_weeks"],
        stage=Stage(row["stage"]) if row["stage"] else None,
    )


def read_event(row: Row) -> Event:
    """An event from its row."""
    heard = read_entry(row)
    return Event(
        kind=EventKind(row["kind"]),
        at_s=row["at_s"],
        utterance=row["utterance"],
        entry=heard if heard != Entry() else None,
        reason=row["reason"],
        probability=row["probability"],
        candidates=tuple(Candidate(read_entry(c), c["probability"]) for c in json.loads(row["candidates"])),
        replaces=row["replaces"],
        answers=row["answers"],
        heard=row["heard"],
        by=row["by_whom"],
    )


def read_animal(row: Row) -> Animal:
    """A cow of the herd list from her row."""
    return Animal(
        row["cow"],
        row["electronic_id"],
        row["breed"],
        _day(row["mated_on"]),
        _day(row["born_on"]),
        _day(row["calved_on"]),
        None if row["eligible"] is None else bool(row["eligible"]),
    )


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


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None


_OF_THE_FILE = frozenset({"id", "day_id"})
"""Columns that differ between two copies of a day."""


def digest(day: Row, animals: Iterable[Row], events: Iterable[Row]) -> str:
    """SHA-256 of a day's rows, hexadecimal: the same in every file that holds the day, another if anything differs.

    Each row is one line of JSON with sorted keys, without what is empty and what depends on the file it is in.
    """
    hashed = hashlib.sha256()
    for row in (day, *animals, *events):
        kept = {name: value for name, value in row.items() if name not in _OF_THE_FILE and value not in (None, "")}
        hashed.update(json.dumps(kept, sort_keys=True).encode())
        hashed.update(b"\n")
    return hashed.hexdigest()
