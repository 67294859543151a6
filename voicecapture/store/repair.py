"""A damaged file rebuilt from the rows that can still be read; the damaged one is kept beside it.

Events are the journal of a day: results, questions and counts follow from them. An event that cannot be read leaves
an open question in its place, so that every other event keeps its number and somebody looks at what is missing.
"""

import shutil
import sqlite3
from contextlib import closing, suppress
from datetime import UTC, datetime
from pathlib import Path

from filelock import FileLock, Timeout
from sqlite_utils import Database

from voicecapture.day import Event, EventKind
from voicecapture.errors import RecordError
from voicecapture.store.file import connect, write_through
from voicecapture.store.rows import Row, event_columns
from voicecapture.store.schema import SCHEMA

UNREADABLE = "could not be read from the damaged file: listen to it, or ask the vet"
_TABLES = ("day", "animal", "utterance", "event", "farm_list", "mating_start", "signature", "voice_check", "ending")
"""In an order in which each may name the rows of those before it."""

_Rows = dict[tuple[object, ...], Row]
"""Rows by their keys."""


def repair(path: Path) -> tuple[str, ...]:
    """Copy a damaged file aside and build it anew from what can be read of it.

    Returns:
        What was done and what could not be read, in sentences.

    Raises:
        RecordError: If nothing can be read of it, another program holds it, or there is no room; it is as it was.
    """
    aside = path.with_name(f"{path.stem}_damaged_{datetime.now(UTC):%Y%m%dT%H%M%S%f}{path.suffix}")
    anew = path.with_name(f".{path.name}.part")
    try:
        with FileLock(f"{path}.lock", timeout=0):
            # What was committed last may still be in the log beside it.
            for end in ("", "-wal"):
                if (of := path.with_name(path.name + end)).exists():
                    shutil.copyfile(of, aside.with_name(aside.name + end))
            anew.unlink(missing_ok=True)
            with closing(connect(path)) as old, closing(connect(anew)) as new:
                told = _rebuild(old, Database(new))
                write_through(new)
            for end in ("-wal", "-shm"):
                path.with_name(path.name + end).unlink(missing_ok=True)
            anew.replace(path)
    except Timeout as error:
        raise RecordError(
            f"{path}: damaged, and another program is using it; expected nobody to. End the day first."
        ) from error
    except (sqlite3.Error, OSError) as error:
        with suppress(OSError):
            anew.unlink()
        raise RecordError(
            f"{path}: damaged, and cannot be rebuilt ({error}); expected rows that can be read. It is as it was, "
            f"with its sound in {path.stem}_clips. Name another file to begin a day."
        ) from error
    return (f"{path}: was damaged and has been rebuilt; the damaged file is {aside}.", *told)


def _rebuild(old: sqlite3.Connection, new: Database) -> list[str]:
    SCHEMA.apply(new)
    told: list[str] = []
    # Foreign keys are not checked here: a lost day must not take its events with it.
    with new.atomic():
        for table in _TABLES:
            columns = {row[1]: row[5] for row in new.execute(f"pragma table_info({table})").fetchall()}
            rows, is_whole = _read_table(old, table, [name for name, place in columns.items() if place])
            for row in rows:
                _insert(new, table, {name: value for name, value in row.items() if name in columns})
            if not is_whole:
                told.append(f"{table}: {len(rows)} rows could be read, and not all.")
        if not list(new.query("select 1 from day")):
            raise sqlite3.DatabaseError("no day can be read")
        told += _fill(new)
    return told


def _insert(new: Database, table: str, row: Row) -> None:
    names, places = ", ".join(row), ", ".join("?" * len(row))
    new.execute(f"insert into {table} ({names}) values ({places})", list(row.values()))


def _read_table(old: sqlite3.Connection, table: str, keys: list[str]) -> tuple[list[Row], bool]:
    """The rows of a table that can be read, and whether these are all."""
    if not old.execute("select 1 from sqlite_master where name = ?", [table]).fetchall():
        return [], True  # an older version made the file
    found: _Rows = {}
    if _gather(old, f"select * from {table}", keys, found):
        return list(found.values()), True
    # From both ends, and then what lies between them row by row.
    for direction in ("", "desc"):
        by = ", ".join(f"{key} {direction}" for key in keys)
        _gather(old, f"select * from {table} order by {by}", keys, found)
    if table == "event":
        last = max((row["id"] for row in found.values()), default=0)
        for number in range(1, last):
            if (number,) not in found:
                _gather(old, f"select * from event where id = {number}", keys, found)
    return sorted(found.values(), key=lambda row: tuple(row[key] for key in keys)), False


def _gather(old: sqlite3.Connection, query: str, keys: list[str], found: _Rows) -> bool:
    """Take rows until one cannot be read; False if that happened."""
    try:
        cursor = old.execute(query)
        names = [column[0] for column in cursor.description]
        for values in cursor:
            row = dict(zip(names, values, strict=True))
            found[tuple(row[key] for key in keys)] = row
    except sqlite3.DatabaseError:
        return False
    return True


def _fill(new: Database) -> list[str]:
    """Put an open question in the place of every event that is missing between or after the others."""
    told = []
    for day in list(new.query("select * from day")):
        events = {row["number"]: row for row in new.query("select * from event where day_id = ?", [day["id"]])}
        ends_s = {
            row["number"]: row["end_s"]
            for row in new.query("select number, end_s from utterance where day_id = ?", [day["id"]])
        }
        unheard = sorted(set(ends_s) - {row["utterance"] for row in events.values()})
        last = max(events, default=0)
        missing = [number for number in range(1, last) if number not in events]
        # Utterances beyond the events that were read had theirs too.
        missing += range(last + 1, last + 1 + len(unheard) - len(missing))
        for place, number in enumerate(missing):
            utterance = unheard[place] if place < len(unheard) else None
            at_s = ends_s.get(utterance, 0.0)
            question = Event(EventKind.QUESTION, at_s, utterance, reason=UNREADABLE)
            of_day = {"day_id": day["id"], "number": number, "recorded_at": day["started_at"]}
            _insert(new, "event", {**of_day, **event_columns(question)})
            what = "not spoken, or its sound has no row" if utterance is None else f"said at {at_s:.0f} s"
            told.append(f"{day['scanned_on']}: event {number} could not be read ({what}); it is an open question.")
    return told
