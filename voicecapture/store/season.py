"""Seasons on disk: all days of a file with the farm's lists, and the days of other files added to it."""

import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TypeVar

from sqlite_utils import Database

from voicecapture.day import Day, Event, ScanKind
from voicecapture.errors import RecordError
from voicecapture.herd import Herd, Matings
from voicecapture.lists.herd import parse_herd
from voicecapture.lists.matings import parse_matings
from voicecapture.reckoning.season import Amendment, ScanDay, Season, Signature
from voicecapture.store.record import Record, check_is_ours, now
from voicecapture.store.rows import Row, digest, read_animal, read_event
from voicecapture.store.schema import SCHEMA

_List = TypeVar("_List")


def read_season(record: Record, day_id: int | None = None) -> Season:
    """All days of a file as one season, or one day alone.

    Raises:
        RecordError: If it cannot be read, or has no day.
    """
    with record.translated("the season could not be read"):
        rows = record.db.query("select * from day order by scanned_on, started_at")
        days = [scan_day(record, row) for row in rows if day_id in (None, row["id"])]
        if not days:
            raise RecordError(f"{record.path}: no scan day in it; expected one or more. Name the file of a day.")
        herd = Herd.joined([*(day.day.herd for day in days), *_lists(record, "herd", parse_herd)])
        matings = list(_lists(record, "matings", parse_matings))
        starts = record.db.query("select first_on from mating_start order by added_at desc, id desc")
        start = next(starts, {"first_on": None})["first_on"]
    return Season(
        tuple(days),
        herd,
        _joined(matings),
        date.fromisoformat(start) if start else _joined(matings).first_on,
    )


def _lists(record: Record, kind: str, parse: Callable[[str, str], _List]) -> Iterator[_List]:
    for row in record.db.query("select * from farm_list where kind = ? order by added_at, id", [kind]):
        yield parse(row["text"], row["file"])


def _joined(lists: list[Matings]) -> Matings:
    """All matings of all lists, each once."""
    return Matings(
        tuple(dict.fromkeys(service for matings in lists for service in matings.services)),
        tuple(dict.fromkeys(bull for matings in lists for bull in matings.bulls)),
    )


def scan_day(record: Record, row: Row) -> ScanDay:
    """One day of the file from its row."""
    animals, events = _rows(record.db, row["id"])
    read = tuple(map(read_event, events))
    signed = next(record.db.query("select * from signature where day_id = ?", [row["id"]]), None)
    times = tuple(event["recorded_at"] for event in events)
    return ScanDay(
        row["name"],
        date.fromisoformat(row["scanned_on"]),
        row["started_at"],
        row["vet"],
        Day(Herd(map(read_animal, animals)), ScanKind(row["scan_kind"])).after(*read),
        times,
        digest(row, animals, events),
        Signature(signed["vet"], signed["signed_at"], signed["events"], signed["digest"]) if signed else None,
        tuple(Amendment(at, event.by, event) for at, event in zip(times, read, strict=True) if event.by),
        read,
    )


def signed_digest(record: Record, day: ScanDay) -> str:
    """The digest of what was signed, as the file holds it now.

    Raises:
        RecordError: If the file cannot be read.
    """
    assert day.signature is not None
    with record.translated("the day could not be read"):
        (row,) = record.db.query("select * from day where name = ?", [day.name])
        animals, events = _rows(record.db, row["id"])
    return digest(row, animals, events[: day.signature.events])


def _rows(db: Database, day_id: int) -> tuple[list[Row], list[Row]]:
    animals = list(db.query("select * from animal where day_id = ? order by position", [day_id]))
    return animals, list(db.query("select * from event where day_id = ? order by number", [day_id]))


def add_list(record: Record, kind: str, file: str, text: str) -> bool:
    """Keep a herd or mating list with the season; False if the last one of its kind is the same.

    Args:
        record: The file.
        kind: "herd" or "matings".
        file: Where the list came from.
        text: The list, already read without a fault.

    Raises:
        RecordError: If it could not be written.
    """
    with record.translated("the list could not be kept"):
        last = next(record.db.query("select text from farm_list where kind = ? order by id desc", [kind]), None)
        if last is not None and last["text"] == text:
            return False
        record.add("farm_list", kind=kind, file=file, text=text, added_at=now())
    return True


def set_mating_start(record: Record, first_on: date) -> None:
    """Keep the first day of mating; the day kept last counts.

    Raises:
        RecordError: If they could not be written.
    """
    with record.translated("the start of mating could not be kept"):
        record.add("mating_start", first_on=first_on.isoformat(), added_at=now())


def sign(record: Record, day_name: str, vet: str) -> ScanDay:
    """Put a vet's name under a day; from then on it can only be amended.

    Raises:
        RecordError: If the day is signed already, or it could not be written.
    """
    with record.translated("the day could not be signed"), record.db.atomic():
        (row,) = record.db.query("select * from day where name = ?", [day_name])
        day = scan_day(record, row)
        if day.signature is not None:
            raise RecordError(
                f"{record.path}: the day of {day.scanned_on} was signed by {day.signature.vet} already. "
                "What must change now is an amendment: voicecapture amend."
            )
        record.add(
            "signature",
            day_id=row["id"],
            vet=vet,
            signed_at=now(),
            events=day.day.length,
            open_questions=len(day.day.questions),
            digest=day.digest,
        )
        return scan_day(record, row)


def amend(record: Record, day_name: str, *events: Event, seen: int | None = None) -> None:
    """Add a change that somebody made after the day, whose name is in its events; all of it or nothing.

    Args:
        record: The file.
        day_name: The day's own name.
        events: The change.
        seen: Number of events that the change goes by, if it names any by number.

    Raises:
        RecordError: If the day went on meanwhile, or it could not be written.
    """
    assert all(event.by for event in events)
    with record.translated("the amendment could not be kept"), record.db.atomic():
        (row,) = record.db.query(
            "select id, (select count(*) from event where day_id = day.id) as events from day where name = ?",
            [day_name],
        )
        if seen is not None and row["events"] != seen:
            raise RecordError(
                f"{record.path}: the day went on meanwhile ({row['events']} events; expected {seen}). "
                "Nothing was changed; look again."
            )
        for event in events:
            record.append(row["id"], event)


@dataclass(frozen=True, slots=True)
class Added:
    """What was new in another file."""

    days: int = 0
    """Days that were not there."""
    events: int = 0
    lists: int = 0
    sounds_missing: int = 0
    """Utterances whose sound was not beside the other file."""


def add_days(record: Record, other: Path) -> Added:
    """Add the days of another file, or what is new in them; all of it or nothing. The other file is only read.

    A day that both files hold must be the same as far as both go: then the longer one counts.

    Raises:
        RecordError: If the other file cannot be read, or a day was changed differently in both.
    """
    added = Added()
    with _copy_of(other) as source, record.translated("the days could not be added"), record.db.atomic():
        for row in source.query("select * from day order by id"):
            added = _plus(added, _add_day(record, source, row, other))
        known = {(r["kind"], r["text"], r["added_at"]) for r in record.db.query("select * from farm_list")}
        for row in source.query("select * from farm_list order by id"):
            if (row["kind"], row["text"], row["added_at"]) not in known:
                record.add("farm_list", **_without(row, "id"))
                added = _plus(added, Added(lists=1))
        held_starts = {(r["first_on"], r["added_at"]) for r in record.db.query("select * from mating_start")}
        for row in source.query("select * from mating_start order by id"):
            if (row["first_on"], row["added_at"]) not in held_starts:
                record.add("mating_start", **_without(row, "id"))
    return added


def _add_day(record: Record, source: Database, row: Row, other: Path) -> Added:
    animals, events = _rows(source, row["id"])
    held = next(record.db.query("select * from day where name = ?", [row["name"]]), None)
    if held is None:
        day_id = record.add("day", **_without(row, "id"))
        for animal in animals:
            record.add("animal", **{**animal, "day_id": day_id})
        held_events: list[Row] = []
    else:
        day_id = held["id"]
        held_animals, held_events = _rows(record.db, day_id)
        both = min(len(events), len(held_events))
        if digest(held, held_animals, held_events[:both]) != digest(row, animals, events[:both]):
            raise RecordError(
                f"{other}: the day of {row['scanned_on']} is in {record.path} too and was changed differently; "
                "expected one of them to go on where the other ends. Nothing was added; change only one of them."
            )
    new_events = events[len(held_events) :]
    if held is not None and _is_signed(record.db, day_id) and not all(event["by_whom"] for event in new_events):
        raise RecordError(
            f"{other}: the day of {row['scanned_on']} went on after it was signed in {record.path}; "
            "expected amendments only. Nothing was added. Sign a day when it has ended."
        )
    missing = _add_utterances(record, source, row, day_id, other)
    for event in new_events:
        record.add("event", **{**_without(event, "id"), "day_id": day_id})
    _add_signature(record, source, row, day_id, other)
    return Added(held is None, len(new_events), 0, missing)


def _is_signed(db: Database, day_id: int) -> bool:
    return bool(list(db.query("select 1 from signature where day_id = ?", [day_id])))


def _add_utterances(record: Record, source: Database, row: Row, day_id: int, other: Path) -> int:
    """Add the utterances that are new, and copy their sounds; how many sounds were not there."""
    (last,) = record.db.query("select coalesce(max(number), 0) as number from utterance where day_id = ?", [day_id])
    missing = 0
    for utterance in source.query(
        "select * from utterance where day_id = ? and number > ? order by number", [row["id"], last["number"]]
    ):
        sound = other.parent / utterance["clip"]
        name = f"{row['name']}_{utterance['number']:05d}.flac"
        record.clips.mkdir(exist_ok=True)
        if sound.is_file():
            shutil.copyfile(sound, record.clips / name)
        else:
            missing += 1
        record.add("utterance", **{**utterance, "day_id": day_id, "clip": f"{record.clips.name}/{name}"})
    return missing


def _add_signature(record: Record, source: Database, row: Row, day_id: int, other: Path) -> None:
    new = next(source.query("select * from signature where day_id = ?", [row["id"]]), None)
    held = next(record.db.query("select * from signature where day_id = ?", [day_id]), None)
    if new is None:
        return
    if held is None:
        record.add("signature", **{**new, "day_id": day_id})
    elif _without(held, "day_id") != _without(new, "day_id"):
        raise RecordError(
            f"{other}: the day of {row['scanned_on']} is signed by {new['vet']}, and in {record.path} by "
            f"{held['vet']}; expected one signature. Nothing was added. Keep the file whose signature is meant."
        )


@contextmanager
def _copy_of(path: Path) -> Iterator[Database]:
    """A file's content in memory, brought up to date there."""
    if not path.is_file():
        raise RecordError(f"{path}: no such file; expected the database of a scan day. Name an existing file.")
    memory = sqlite3.connect(":memory:", isolation_level=None)
    with closing(memory):
        try:
            with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as connection:
                connection.backup(memory)
            db = Database(memory)
            check_is_ours(db, path)
            is_ours = "day" in db.table_names()
            SCHEMA.apply(db)
        except sqlite3.Error as error:
            raise RecordError(f"{path}: cannot be read ({error}). Name the database of a scan day.") from error
        if not is_ours:
            raise RecordError(f"{path}: no scan day in it. Name the database of a scan day.")
        yield db


def _without(row: Row, *names: str) -> Row:
    return {name: value for name, value in row.items() if name not in names}


def _plus(one: Added, other: Added) -> Added:
    return Added(
        one.days + other.days,
        one.events + other.events,
        one.lists + other.lists,
        one.sounds_missing + other.sounds_missing,
    )
