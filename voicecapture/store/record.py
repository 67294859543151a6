"""One SQLite file of scan days, with the sound of every utterance beside it.

Events and utterances are only ever added; the database refuses to change them. What `keep` has returned from is
on the disk: log and file are synchronised at every commit, and the file is still the one that bears its name.
"""

import errno
import io
import json
import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import asdict
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
from voicecapture.store.file import (
    check_is_ours,
    check_is_whole,
    connect,
    damaged,
    identity,
    is_damage,
    read_only,
    synchronise,
    write_through,
)
from voicecapture.store.place import check_place
from voicecapture.store.rows import animal_columns, event_columns
from voicecapture.store.schema import SCHEMA
from voicecapture.verdict import VoiceCheck

_DAMAGE = (sqlite3.Error, UnicodeDecodeError)
"""What comes of a damaged file; its bytes may stand in the error that tells of them."""


class Record:
    """The database of one or more scan days."""

    def __init__(self, db: Database, path: Path) -> None:
        self.db, self.path = db, path
        self.clips = path.with_name(f"{path.stem}_clips")
        self.spool = path.with_name(f"{path.stem}_spool")
        self._lock = FileLock(f"{path}.lock", timeout=0, mode=0o600, thread_local=False)
        self._identity = identity(path)

    @classmethod
    def open(cls, path: Path) -> "Record":
        """Open a database, or make one that is private to the user.

        Raises:
            RecordError: If the place cannot be written or is on another machine, the file is no database of ours, or
                a newer version of the program made it.
            DamagedError: If it is ours and damaged.
        """
        check_place(path)
        try:
            # SQLite gives the files beside it the same mode.
            private.create(path)
            connection = connect(path)
        except sqlite3.Error as error:
            raise _unusable(path, error) from error
        try:
            db = Database(connection)
            check_is_ours(db, path)
            check_is_whole(db, path)
            write_through(connection)
            SCHEMA.apply(db)
        except _DAMAGE as error:
            connection.close()
            raise (damaged(path, str(error)) if is_damage(error) else _unusable(path, error)) from error
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
                with closing(sqlite3.connect(read_only(path), uri=True)) as connection:
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
        self.hold()
        try:
            yield
        finally:
            self._lock.release()

    def hold(self) -> None:
        """Keep every other program from changing the file until `close`.

        Raises:
            RecordError: If another program holds it.
        """
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
        self.hold()
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

    def keep(
        self,
        day_id: int,
        number: int,
        utterance: Utterance,
        hearing: Hearing,
        event: Event,
        recorded_at: str | None = None,
    ) -> None:
        """Keep one utterance, its sound and what was decided. When this returns it is saved.

        Args:
            day_id: The day's number in the database.
            number: The utterance's within the day.
            utterance: One without samples is kept without sound.
            hearing: What was heard.
            event: What was decided.
            recorded_at: When, in UTC; now if it is not given.

        Raises:
            RecordError: If it could not be written; then the database is as it was, or no more where it was.
        """
        with self.translated("the last utterance could not be saved"):
            if list(self.db.query("select 1 from utterance where day_id = ? and number = ?", [day_id, number])):
                # Its sound would overwrite the sound of the entry that is kept.
                raise RecordError(
                    f"{self.path}: the last utterance could not be saved (day {day_id} has an utterance {number}); "
                    "expected the next number. Begin a new day."
                )
            clip = self._write_clip(day_id, number, utterance)
            self._check_there()
            with self.db.atomic():
                self._add_utterance(day_id, number, utterance, hearing, clip)
                self._add_event(day_id, event, recorded_at)
            self._check_there()

    def append(self, day_id: int, event: Event, recorded_at: str | None = None) -> None:
        """Add an event that was not spoken.

        Raises:
            RecordError: If it could not be written.
        """
        with self.translated("the last event could not be saved"):
            self._check_there()
            with self.db.atomic():
                self._add_event(day_id, event, recorded_at)
            self._check_there()

    def end_day(self, day_id: int) -> None:
        """Note that a day has ended in order; another is begun next time.

        Raises:
            RecordError: If it could not be written.
        """
        with self.translated("the end of the day could not be kept"):
            self.add("ending", day_id=day_id, ended_at=now())

    def reach(self) -> bool:
        """Find the file again after its folder was deleted, or its disk taken away and put back.

        Where the folder was deleted on a disk that is still there, the file is made anew from what is open of it.

        Returns:
            Whether it was made anew; the sound beside it is gone then.

        Raises:
            RecordError: If there is no way to it.
        """
        with self.translated("the file is gone"):
            if identity(self.path) == self._identity:
                return False
            anew = None if self.path.exists() else self._made_anew()
            connection = connect(anew or self.path)
            try:
                check_is_ours(Database(connection), self.path)
            except BaseException:
                connection.close()
                raise
            self.db.close()
            self._lock.release(force=True)
            if anew is not None:
                connection.close()
                anew.replace(self.path)
                connection = connect(self.path)
            write_through(connection)
            self.db, self._identity = Database(connection), identity(self.path)
            self.hold()
        return anew is not None

    def _made_anew(self) -> Path:
        """A whole copy of what is open of the file, in a folder of the name that was deleted."""
        there = next(folder for folder in self.path.absolute().parents if folder.is_dir())
        if self._identity is None or there.stat().st_dev != self._identity[0]:
            # What is left is the place where its disk was.
            raise OSError(errno.ENODEV, os.strerror(errno.ENODEV))
        self.path.parent.mkdir(parents=True, exist_ok=True)
        copy = self.path.with_name(f".{self.path.name}.part")
        copy.unlink(missing_ok=True)
        with closing(sqlite3.connect(copy)) as connection:
            self.db.conn.backup(connection)
        return copy

    def _check_there(self) -> None:
        """SQLite goes on writing into a file that was deleted, and says nothing."""
        if identity(self.path) != self._identity:
            raise OSError(errno.ENOENT, os.strerror(errno.ENOENT))

    def keep_voice_check(self, day_id: int, check: VoiceCheck) -> None:
        """Keep a check of voice and microphone that was made for a day.

        Raises:
            RecordError: If it could not be written.
        """
        with self.translated("the voice check could not be kept"):
            self.add(
                "voice_check",
                day_id=day_id,
                checked_at=check.checked_at,
                lines=len(check.said),
                heard_right=check.right.count,
                taken=check.taken,
                taken_wrong=check.taken_wrong.count,
                passed_over=check.lost,
                snr_db=check.snr_db,
                verdict=check.verdict.value,
                said=json.dumps([asdict(said) for said in check.said]),
            )

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

    def _add_utterance(self, day_id: int, number: int, utterance: Utterance, hearing: Hearing, clip: str) -> None:
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

    def _add_event(self, day_id: int, event: Event, recorded_at: str | None) -> None:
        (row,) = self.db.query("select count(*) as n from event where day_id = ?", [day_id])
        self.add(
            "event",
            day_id=day_id,
            number=row["n"] + 1,
            **event_columns(event),
            recorded_at=recorded_at or now(),
        )

    def _write_clip(self, day_id: int, number: int, utterance: Utterance) -> str:
        """Write the sound of an utterance; it has its name only once it is whole on the disk."""
        clip = self.clips / f"day{day_id}_{number:05d}.flac"
        if not len(utterance.samples):
            return f"{self.clips.name}/{clip.name}"
        private.make_folder(self.clips)
        unfinished = clip.with_suffix(".part")
        # In memory: soundfile does not pass on what is the matter with a file that it is given.
        encoded = io.BytesIO()
        soundfile.write(encoded, utterance.samples, SAMPLE_RATE_HZ, format="FLAC", subtype="PCM_16")
        try:
            with open(unfinished, "wb", opener=private.opener) as file:
                file.write(encoded.getvalue())
                file.flush()
                os.fsync(file.fileno())
            unfinished.replace(clip)
            synchronise(self.clips)
        except OSError:
            with suppress(OSError):
                unfinished.unlink()
            raise
        return f"{self.clips.name}/{clip.name}"


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
