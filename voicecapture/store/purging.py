"""Old sound removed: voices are personal data. The record stays; only what was heard cannot be heard again."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from voicecapture.errors import RecordError
from voicecapture.store.clips import is_sound, read_clips
from voicecapture.store.record import Record
from voicecapture.store.season import read_season


@dataclass(frozen=True, slots=True)
class Purge:
    """What is to be removed."""

    days: tuple[date, ...]
    """The scan days whose sounds go."""
    files: tuple[Path, ...]
    size_bytes: int


def old_audio(record: Record, before: date) -> Purge:
    """The sounds of the days before a day, with what was spooled and what no day names if it was written before then.

    Raises:
        RecordError: If the record or its folders cannot be read.
    """
    named: set[Path] = set()
    old: dict[Path, date] = {}
    for day in read_season(record).days:
        sounds = [clip.file for clip in read_clips(record, day.name).values()]
        named.update(sounds)
        if day.scanned_on < before:
            old |= {sound: day.scanned_on for sound in sounds if is_sound(sound)}
    with record.translated("its sounds could not be looked through"):
        left = [file for file in _written(record, before) if file not in named]
        size_bytes = sum(file.stat().st_size for file in (*old, *left))
    return Purge(tuple(sorted(set(old.values()))), (*old, *left), size_bytes)


def purge(record: Record, files: Iterable[Path]) -> None:
    """Remove sounds; what cannot be removed does not keep the others.

    Raises:
        RecordError: If another program listens to a day, or some could not be removed.
    """
    kept: list[str] = []
    with record.alone():
        for file in files:
            try:
                file.unlink(missing_ok=True)
            except OSError as error:
                kept.append(f"{file} ({error.strerror})")
    if kept:
        raise RecordError(
            f"{record.path}: {len(kept)} sounds could not be removed, the first of them {kept[0]}; expected to be "
            "allowed to. Mend that and purge again."
        )


def _written(record: Record, before: date) -> Iterable[Path]:
    """Files among the sounds and on the spool that were last written before a day; links are nobody's sound."""
    for folder in (record.clips, record.spool):
        for file in sorted(folder.rglob("*")) if not folder.is_symlink() else ():
            if is_sound(file) and datetime.fromtimestamp(file.stat().st_mtime).date() < before:
                yield file
