"""The record: one SQLite file, with the sound of every utterance beside it. The only import of sqlite_utils.

Events and utterances are only ever added; the database refuses to change them. What `keep` has returned from is
on the disk: journal and file are synchronised at every commit.
"""

import json
import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import soundfile
from sqlite_utils import Database
from sqlite_utils.migrations import Migrations

from voicecapture import __version__
from voicecapture.audio import SAMPLE_RATE_HZ
from voicecapture.day import Candidate, Day, Event, EventKind, ScanKind
from voicecapture.errors import RecordError
from voicecapture.herd import Animal, Herd
from voicecapture.language.phrase import Entry, Result, Stage
from voicecapture.recogniser import Hearing
from voicecapture.segmenter import Utterance

_SCHEMA = Migrations("voicecapture")


@_SCHEMA()
def first_tables(db: Database) -> None:
    """Days, herd lists, utterances and events, and the views on what counts now."""
    kinds = ", ".join(f"'{kind}'" for kind in EventKind)
    for statement in (
        """create table day (id integer primary key, started_at text not null, scanned_on text not null,
            scan_kind text not null, herd_file text not null, source text not null, program_version text not null
        ) strict""",
        """create table animal (day_id integer not null references day, position integer not null, cow text not null,
            electronic_id text, breed text, mated_on text, primary key (day_id, cow)) strict""",
        """create table utterance (day_id integer not null references day, number integer not null,
            start_s real not null, end_s real not null, heard text not null, strangeness real, snr_db real,
            clip text not null, primary key (day_id, number)) strict, without rowid""",
        f"""create table event (id integer primary key, day_id integer not null references day,
            number integer not null, kind text not null check (kind in ({kinds})), at_s real not null,
            utterance integer, cow text, result text, days integer, twins integer not null,
            findings text not null, recheck_weeks integer, stage text, reason text not null, probability real,
            candidates text not null, replaces integer, answers integer, heard text not null,
            recorded_at text not null, unique (day_id, number)) strict""",
        """create view current_result as
            select day_id, cow, result, days, twins, findings, recheck_weeks, stage, number as event, at_s
            from event e where kind = 'accepted' and not exists (
                select 1 from event later where later.day_id = e.day_id and later.number > e.number
                and ((later.replaces = e.number and later.kind <> 'question')
                    or (later.kind = 'accepted' and later.cow = e.cow)))""",
        """create view open_question as
            select day_id, number as event, at_s, cow, heard, reason, candidates
            from event e where kind = 'question' and not exists (
                select 1 from event later where later.day_id = e.day_id and later.number > e.number
                and later.answers = e.number)""",
        *(
            f"""create trigger {table}_no_{verb} before {verb} on {table}
            begin select raise(abort, 'the record is only ever added to'); end"""
            for table in ("event", "utterance")
            for verb in ("update", "delete")
        ),
        # "insert or replace" deletes the old row without its delete trigger, unless the writer asks for that.
        *(
            f"""create trigger {table}_no_replace before insert on {table}
            when exists (select 1 from {table} where {is_same})
            begin select raise(abort, 'the record is only ever added to'); end"""
            for table, is_same in (
                ("event", "id = new.id or (day_id = new.day_id and number = new.number)"),
                ("utterance", "day_id = new.day_id and number = new.number"),
            )
        ),
    ):
        db.execute(statement)


class Record:
    """The database of one or more scan days."""

    def __init__(self, db: Database, path: Path) -> None:
        self._db, self.path = db, path
        self._clips = path.with_name(f"{path.stem}_clips")

    @classmethod
    def open(cls, path: Path) -> "Record":
        """Open or make a database.

        Raises:
            RecordError: If the place cannot be written, the file is no database of ours, or a newer version of the
                program made it.
        """
        try:
            # The thread that listens writes; the thread that opened it only closes it afterwards.
            connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        except sqlite3.Error as error:
            raise _unusable(path, error) from error
        try:
            db = Database(connection)
            _check_is_ours(db, path)
            connection.execute("pragma journal_mode = wal")
            connection.execute("pragma synchronous = full")
            connection.execute("pragma foreign_keys = on")
            _SCHEMA.apply(db)
        except sqlite3.Error as error:
            connection.close()
            raise _unusable(path, error) from error
        except RecordError:
            connection.close()
            raise
        return cls(db, path)

    def start_day(self, herd: Herd, scanned_on: date, kind: ScanKind, herd_file: str, source: str) -> int:
        """Begin a day with the herd list as it is now; returns its number in the database.

        Raises:
            RecordError: If it could not be written.
        """
        with self._translated("the day could not be begun"), self._db.atomic():
            day_id = self._add(
                "day",
                started_at=_now(),
                scanned_on=scanned_on.isoformat(),
                scan_kind=kind.value,
                herd_file=herd_file,
                source=source,
                program_version=__version__,
            )
            for position, animal in enumerate(herd.animals.values()):
                self._add(
                    "animal",
                    day_id=day_id,
                    position=position,
                    cow=animal.cow,
                    electronic_id=animal.electronic_id,
                    breed=animal.breed,
                    mated_on=animal.mated_on.isoformat() if animal.mated_on else None,
                )
        return day_id

    def keep(self, day_id: int, number: int, utterance: Utterance, hearing: Hearing, event: Event) -> None:
        """Keep one utterance, its sound and what was decided. When this returns it is saved.

        Raises:
            RecordError: If it could not be written; then the database is as it was.
        """
        with self._translated("the last utterance could not be saved"):
            if list(self._db.query("select 1 from utterance where day_id = ? and number = ?", [day_id, number])):
                # Its sound would overwrite the sound of the entry that is kept.
                raise RecordError(
                    f"{self.path}: the last utterance could not be saved (day {day_id} has an utterance {number}); "
                    "expected the next number. Begin a new day."
                )
            clip = self._write_clip(day_id, number, utterance)
            with self._db.atomic():
                self._add(
                    "utterance",
                    day_id=day_id,
                    number=number,
                    start_s=utterance.start_s,
                    end_s=utterance.end_s,
                    heard=hearing.heard,
                    strangeness=hearing.strangeness if hearing.readings else None,
                    snr_db=utterance.snr_db,
                    clip=clip,
                )
                self._add_event(day_id, event)

    def append(self, day_id: int, event: Event) -> None:
        """Add an event that was not spoken.

        Raises:
            RecordError: If it could not be written.
        """
        with self._translated("the last event could not be saved"), self._db.atomic():
            self._add_event(day_id, event)

    def load_day(self, day_id: int) -> Day:
        """The day as its events left it.

        Raises:
            RecordError: If there is no such day, or it cannot be read.
        """
        with self._translated("the day could not be read"):
            return self._load_day(day_id)

    def last_day(self) -> int | None:
        """Number of the day begun last; None if there is none.

        Raises:
            RecordError: If it cannot be read.
        """
        with self._translated("the days could not be read"):
            (row,) = self._db.query("select max(id) as id from day")
        return None if row["id"] is None else int(row["id"])

    def close(self) -> None:
        """Close the database."""
        self._db.close()

    def _load_day(self, day_id: int) -> Day:
        rows = list(self._db.query("select * from day where id = ?", [day_id]))
        if not rows:
            raise RecordError(f"{self.path}: no day {day_id} in it. Name the file of the day.")
        animals = self._db.query("select * from animal where day_id = ? order by position", [day_id])
        day = Day(Herd(map(_animal, animals)), ScanKind(rows[0]["scan_kind"]))
        for row in self._db.query("select * from event where day_id = ? order by number", [day_id]):
            day = day.after(_event(row))
        return day

    @contextmanager
    def _translated(self, what: str) -> Iterator[None]:
        """Errors of the disk and the database as one sentence."""
        try:
            yield
        except (sqlite3.Error, soundfile.LibsndfileError, OSError) as error:
            advice = _advice(error, "Make room on the disk, and check that the file may be written")
            raise RecordError(f"{self.path}: {what} ({error}). {advice}.") from error

    def _add(self, table: str, **values: Any) -> int:
        names, places = ", ".join(values), ", ".join("?" * len(values))
        cursor = self._db.execute(f"insert into {table} ({names}) values ({places})", list(values.values()))
        return int(cursor.lastrowid or 0)

    def _add_event(self, day_id: int, event: Event) -> None:
        (row,) = self._db.query("select count(*) as n from event where day_id = ?", [day_id])
        self._add(
            "event",
            day_id=day_id,
            number=row["n"] + 1,
            kind=event.kind.value,
            at_s=event.at_s,
            utterance=event.utterance,
            **_entry_columns(event.entry),
            reason=event.reason,
            probability=event.probability,
            candidates=json.dumps(
                [{**_entry_columns(c.entry), "probability": c.probability} for c in event.candidates]
            ),
            replaces=event.replaces,
            answers=event.answers,
            heard=event.heard,
            recorded_at=_now(),
        )

    def _write_clip(self, day_id: int, number: int, utterance: Utterance) -> str:
        """Write the sound of an utterance; it has its name only once it is whole on the disk."""
        self._clips.mkdir(exist_ok=True)
        clip = self._clips / f"day{day_id}_{number:05d}.flac"
        unfinished = clip.with_suffix(".part")
        try:
            with open(unfinished, "wb") as file:
                soundfile.write(file, utterance.samples, SAMPLE_RATE_HZ, format="FLAC", subtype="PCM_16")
                file.flush()
                os.fsync(file.fileno())
            unfinished.replace(clip)
        except (soundfile.LibsndfileError, OSError):
            unfinished.unlink(missing_ok=True)
            raise
        return f"{self._clips.name}/{clip.name}"


def _check_is_ours(db: Database, path: Path) -> None:
    """Refuse, before anything is written, what another program or a newer version made."""
    applied = {migration.name for migration in _SCHEMA.applied(db)}
    with closing(Database(memory=True)) as empty:
        newer = applied - {migration.name for migration in _SCHEMA.pending(empty)}
    if newer:
        raise RecordError(
            f"{path}: made by a newer version of voicecapture ({min(newer)}). Update voicecapture, or name "
            "another file with --database."
        )
    # A first start that was cut off may have left the list of migrations, still empty.
    foreign = set(db.table_names()) - {_SCHEMA.migrations_table}
    if foreign and not applied:
        raise RecordError(
            f"{path}: a database of another program (table {min(foreign)}); expected one of voicecapture or a new "
            "file. Name another file with --database."
        )


def _unusable(path: Path, error: sqlite3.Error) -> RecordError:
    advice = _advice(error, "Name a writable file with --database")
    return RecordError(f"{path}: cannot be used as the day's database ({error}). {advice}.")


def _advice(error: Exception, otherwise: str) -> str:
    # The low byte is the kind of error; the rest says more of it.
    is_locked = getattr(error, "sqlite_errorcode", 0) & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
    return "Close the other program that is writing to it" if is_locked else otherwise


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def _entry_columns(entry: Entry | None) -> dict[str, Any]:
    entry = entry or Entry()
    return {
        "cow": entry.cow,
        "result": entry.result.value if entry.result else None,
        "days": entry.days,
        "twins": int(entry.twins),
        "findings": json.dumps(entry.findings),
        "recheck_weeks": entry.recheck_weeks,
        "stage": entry.stage.value if entry.stage else None,
    }


def _entry(row: dict[str, Any]) -> Entry:
    return Entry(
        cow=row["cow"],
        result=Result(row["result"]) if row["result"] else None,
        days=row["days"],
        twins=bool(row["twins"]),
        findings=tuple(json.loads(row["findings"])),
        recheck_weeks=row["recheck_weeks"],
        stage=Stage(row["stage"]) if row["stage"] else None,
    )


def _event(row: dict[str, Any]) -> Event:
    entry = _entry(row)
    return Event(
        kind=EventKind(row["kind"]),
        at_s=row["at_s"],
        utterance=row["utterance"],
        entry=entry if entry != Entry() else None,
        reason=row["reason"],
        probability=row["probability"],
        candidates=tuple(Candidate(_entry(c), c["probability"]) for c in json.loads(row["candidates"])),
        replaces=row["replaces"],
        answers=row["answers"],
        heard=row["heard"],
    )


def _animal(row: dict[str, Any]) -> Animal:
    mated_on = date.fromisoformat(row["mated_on"]) if row["mated_on"] else None
    return Animal(row["cow"], row["electronic_id"], row["breed"], mated_on)
