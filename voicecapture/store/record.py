"""One SQLite file of scan days, with the sound of every utterance beside it.

Events and utterances are only ever added; the database refuses to change them. What `keep` has returned from is
on the disk: journal and file are synchronised at every commit.
"""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

import soundfile
from filelock import FileLock, Timeout
from sqlite_utils import Database

from voicecapture import __version__, private
from voicecapture.audio import SAMPLE_RATE_HZ
from voicecapture.day import Event, ScanKind
from voicecapture.errors import RecordError
from voicecapture.herd import Herd
from voicecapture.plain_text import shown
from voicecapture.recogniser import Hearing
from voicecapture.segmenter import Utterance
from voicecapture.store.rows import animal_columns, event_columns
from voicecapture.store.schema import SCHEMA, altered_part

_DAMAGE = (sqlite3.Error, UnicodeDecodeError)
"""What comes of a damaged file; its bytes may stand in the error that tells of them."""


class Record:
    """The database of one or more scan days."""

    def __init__(self, db: Database, path: Path) -> None:
        self.db, self.path = db, path
        self.clips = path.with_name(f"{path.stem}_clips")
        self.spool = path.with_name(f"{path.stem}_spool")
        self._lock = FileLock(f"{path}.lock", timeout=0, mode=0o600, thread_local=False)

    @classmethod
    def open(cls, path: Path) -> "Record":
        """Open a database, or make one that is private to the user.

        Raises:
            RecordError: If the place cannot be written, the file is no database of ours, or a newer version of the
                program made it.
        """
        try:
            # SQLite gives the files beside it the same mode.
            private.create(path)
            # The thread that listens writes; the thread that opened it only closes it afterwards.
            connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        except sqlite3.Error as error:
            raise _unusable(path, error) from error
        try:
            db = Database(connection)
            check_is_ours(db, path)
            connection.execute("pragma journal_mode = wal")
            connection.execute("pragma synchronous = full")
            connection.execute("pragma foreign_keys = on")
            SCHEMA.apply(db)
        except _DAMAGE as error:
            connection.close()
            raise _unusable(path, error) from error
        except RecordError:
            connection.close()
            raise
        return cls(db, path)

    @classmethod
    @contextmanager
    def reading(cls, path: Path) -> Iterator["Record"]:
        """A copy of a file in memory, brought up to date there; the file may lie where nothing can be written.

        Raises:
            RecordError: If there is no such file, it cannot be read, or it has no scan day.
        """
        if not path.is_file():
            raise RecordError(f"{path}: no such file; expected the file of a day or a season. Name an existing file.")
        with closing(sqlite3.connect(":memory:", isolation_level=None)) as memory:
            try:
                with closing(sqlite3.connect(_read_only(path), uri=True)) as connection:
                    check_is_ours(Database(connection), path)
                    connection.backup(memory)
                db = Database(memory)
                has_days = "day" in db.table_names()
                SCHEMA.apply(db)
            except _DAMAGE as error:
                raise RecordError(f"{path}: cannot be read ({error}). Name the file of a day or a season.") from error
            if not has_days:
                raise RecordError(f"{path}: no scan day in it. Name the file of a day or a season.")
            yield cls(db, path)

    @contextmanager
    def alone(self) -> Iterator[None]:
        """Keep every other program from changing the file meanwhile; a day that was begun holds it until `close`.

        Events are known by their place in the day: a change made beside the listening would shift those after it.

        Raises:
            RecordError: If another program holds it.
        """
        self._hold()
        try:
            yield
        finally:
            self._lock.release()

    def _hold(self) -> None:
        with self.translated("the file could not be kept for this program alone"):
            try:
                self._lock.acquire()
            except Timeout as error:
                raise RecordError(
                    f"{self.path}: another program is listening to a day in it or changing it; expected nobody to. "
                    "End the day first. Nothing was changed."
                ) from error

    def start_day(
        self, herd: Herd, scanned_on: date, kind: ScanKind, herd_file: str, source: str, vet: str = ""
    ) -> int:
        """Begin a day with the herd list as it is now; returns its number in the database.

        Until `close` no other program can change the file.

        Raises:
            RecordError: If it could not be written, or another program holds the file.
        """
        self._hold()
        with self.translated("the day could not be begun"), self.db.atomic():
            day_id = self.add(
                "day",
                started_at=now(),
                scanned_on=scanned_on.isoformat(),
                scan_kind=kind.value,
                herd_file=herd_file,
                source=source,
                program_version=__version__,
                name=uuid4().hex,
                vet=vet,
            )
            for position, animal in enumerate(herd.animals.values()):
                self.add("animal", day_id=day_id, position=position, **animal_columns(animal))
        return day_id

    def keep(self, day_id: int, number: int, utterance: Utterance, hearing: Hearing, event: Event) -> None:
        """Keep one utterance, its sound and what was decided. When this returns it is saved.

        Raises:
            RecordError: If it could not be written; then the database is as it was.
        """
        with self.translated("the last utterance could not be saved"):
            if list(self.db.query("select 1 from utterance where day_id = ? and number = ?", [day_id, number])):
                # Its sound would overwrite the sound of the entry that is kept.
                raise RecordError(
                    f"{self.path}: the last utterance could not be saved (day {day_id} has an utterance {number}); "
                    "expected the next number. Begin a new day."
                )
            clip = self._write_clip(day_id, number, utterance)
            with self.db.atomic():
                self.add(
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
        with self.translated("the last event could not be saved"), self.db.atomic():
            self._add_event(day_id, event)

    def close(self) -> None:
        """Close the database."""
        self.db.close()
        self._lock.release(force=True)

    @contextmanager
    def translated(self, what: str) -> Iterator[None]:
        """Errors of the disk and the database as one sentence."""
        try:
            yield
        except (*_DAMAGE, soundfile.LibsndfileError, OSError) as error:
            advice = _advice(error, "Make room on the disk, and check that the file may be written")
            raise RecordError(f"{self.path}: {what} ({error}). {advice}.") from error

    @contextmanager
    def undamaged(self, what: str) -> Iterator[None]:
        """Content that the program never writes as one sentence."""
        try:
            yield
        except (ValueError, KeyError, TypeError, RecursionError) as error:
            raise RecordError(
                f"{self.path}: {what} is damaged ({shown(str(error))}); expected what voicecapture wrote. Use a "
                "copy of the file."
            ) from error

    def add(self, table: str, **values: Any) -> int:
        """Add one row; returns its number."""
        names, places = ", ".join(values), ", ".join("?" * len(values))
        cursor = self.db.execute(f"insert into {table} ({names}) values ({places})", list(values.values()))
        return int(cursor.lastrowid or 0)

    def _add_event(self, day_id: int, event: Event) -> None:
        (row,) = self.db.query("select count(*) as n from event where day_id = ?", [day_id])
        self.add(
            "event",
            day_id=day_id,
            number=row["n"] + 1,
            **event_columns(event),
            recorded_at=now(),
        )

    def _write_clip(self, day_id: int, number: int, utterance: Utterance) -> str:
        """Write the sound of an utterance; it has its name only once it is whole on the disk."""
        private.make_folder(self.clips)
        clip = self.clips / f"day{day_id}_{number:05d}.flac"
        unfinished = clip.with_suffix(".part")
        try:
            with open(unfinished, "wb", opener=private.opener) as file:
                soundfile.write(file, utterance.samples, SAMPLE_RATE_HZ, format="FLAC", subtype="PCM_16")
                file.flush()
                os.fsync(file.fileno())
            unfinished.replace(clip)
        except (soundfile.LibsndfileError, OSError):
            unfinished.unlink(missing_ok=True)
            raise
        return f"{self.clips.name}/{clip.name}"


def _read_only(path: Path) -> str:
    """The address of a file that is only read.

    SQLite keeps what belongs to the file beside it while it is open, and only one who may write tidies that up.
    """
    if os.access(path.parent, os.W_OK) and os.access(path, os.W_OK):
        return f"{path.resolve().as_uri()}?mode=rw"
    is_settled = not path.with_name(f"{path.name}-wal").exists()
    return f"{path.resolve().as_uri()}?mode=ro{'&immutable=1' if is_settled else ''}"


def check_is_ours(db: Database, path: Path) -> None:
    """Refuse, before anything is written, what another program or a newer version made."""
    applied = {migration.name for migration in SCHEMA.applied(db)}
    with closing(Database(memory=True)) as empty:
        newer = applied - {migration.name for migration in SCHEMA.pending(empty)}
    if newer:
        raise RecordError(
            f"{path}: made by a newer version of voicecapture ({min(newer)}). Update voicecapture, or name "
            "another file."
        )
    # A first start that was cut off may have left the list of migrations, still empty.
    foreign = set(db.table_names()) - {SCHEMA.migrations_table}
    if foreign and not applied:
        raise RecordError(
            f"{path}: a database of another program (table {min(foreign)}); expected one of voicecapture or a new "
            "file. Name another file."
        )
    altered = altered_part(db)
    if altered is not None:
        raise RecordError(
            f"{path}: {altered} is not as voicecapture made it; expected its own tables and rules. The file is "
            "damaged or was changed by another program: use a copy of it."
        )


def _unusable(path: Path, error: Exception) -> RecordError:
    advice = _advice(error, "Name a file that can be written")
    return RecordError(f"{path}: cannot be used as the day's database ({error}). {advice}.")


def _advice(error: Exception, otherwise: str) -> str:
    # The low byte is the kind of error; the rest says more of it.
    is_locked = getattr(error, "sqlite_errorcode", 0) & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
    return "Close the other program that is writing to it" if is_locked else otherwise


def now() -> str:
    """The time in UTC, as in ISO 8601, to the millisecond."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")
