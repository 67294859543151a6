"""A copy of a record and its sound, also while a day is listened to."""

import os
import shutil
import sqlite3
from contextlib import closing, suppress
from pathlib import Path

from voicecapture.errors import RecordError
from voicecapture.store.file import read_only
from voicecapture.store.record import Record


def back_up(path: Path, folder: Path) -> tuple[int, int]:
    """Copy a record and the sound of its utterances into a folder; an older copy there is brought up to date.

    Returns:
        How many sounds were copied now, and how many are nowhere.

    Raises:
        RecordError: If it cannot be read, the folder cannot be written, or holds another file of that name.
    """
    to = folder / path.name
    with Record.reading(path) as record:
        days = _lengths(record)
    _check_older(path, to, days)
    anew = to.with_name(f".{to.name}.part")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        anew.unlink(missing_ok=True)
        with closing(sqlite3.connect(read_only(path), uri=True)) as source, closing(sqlite3.connect(anew)) as copy:
            source.backup(copy)
            copy.execute("pragma journal_mode = delete")
            clips = [row[0] for row in copy.execute("select clip from utterance")]
        with anew.open("rb") as file:
            os.fsync(file.fileno())
        copied, missing = _copy_sounds(path.parent, folder, clips)
        for end in ("-wal", "-shm"):
            to.with_name(to.name + end).unlink(missing_ok=True)
        anew.replace(to)
    except (sqlite3.Error, OSError) as error:
        with suppress(OSError):
            anew.unlink()
        raise RecordError(f"{to}: the copy could not be made ({error}). Name a folder with room.") from error
    return copied, missing


def _lengths(record: Record) -> dict[str, int]:
    """The number of events of each day."""
    with record.translated("the days could not be read"):
        query = "select name, (select count(*) from event where day_id = day.id) as n from day"
        return {row["name"]: row["n"] for row in record.db.query(query)}


def _check_older(path: Path, to: Path, days: dict[str, int]) -> None:
    if not to.exists():
        return
    if to.samefile(path):
        raise RecordError(f"{to}: the file itself; expected another folder. Name one on another disk.")
    with Record.reading(to) as copy:
        held = _lengths(copy)
    if any(days.get(name, -1) < length for name, length in held.items()):
        raise RecordError(f"{to}: holds what is not in {path}; expected an older copy of it. Name another folder.")


def _copy_sounds(source: Path, folder: Path, clips: list[str]) -> tuple[int, int]:
    copied = missing = 0
    for clip in clips:
        sound, to = source / clip, folder / clip
        if not sound.is_file():
            missing += not to.is_file()
        elif not to.is_file() or to.stat().st_size != sound.stat().st_size:
            to.parent.mkdir(exist_ok=True)
            unfinished = to.with_suffix(".part")
            shutil.copyfile(sound, unfinished)
            unfinished.replace(to)
            copied += 1
    return copied, missing
