"""The day that `listen` listens to: a new one, or the one that was cut off."""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import chain, count
from pathlib import Path

import platformdirs
import typer

from voicecapture import private
from voicecapture.day import Day, ScanKind
from voicecapture.errors import DamagedError, RecordError
from voicecapture.herd import Herd
from voicecapture.store.record import Record
from voicecapture.store.repair import repair
from voicecapture.store.resume import CutOff, cut_off_day, cut_off_days, resume


@dataclass(frozen=True, slots=True)
class Wanted:
    """What somebody who begins a day says of it."""

    herd: Herd
    herd_file: Path | None
    scanned_on: date
    kind: ScanKind
    source: str
    vet: str
    is_live: bool
    farm: str = ""
    """Names the file of a new day."""

    def goes_on_with(self, cut_off: CutOff) -> bool:
        """Whether a day that was cut off is the one that is wanted, whatever it listened to."""
        return cut_off.is_meant(self.herd, self.vet, self.kind, self.scanned_on)


@dataclass(frozen=True, slots=True)
class Begun:
    """A day with its record open and held."""

    record: Record
    day_id: int
    day: Day
    scanned_on: date
    next_utterance: int = 1
    from_s: float = 0.0
    """Where the audio clock goes on, seconds."""
    is_new: bool = True


def begin(wanted: Wanted, database: Path | None, is_new_wanted: bool) -> Begun:
    """Open the record, and begin a day or go on with the one that was cut off.

    Raises:
        RecordError: If the file cannot be used, or its day was cut off with another herd list or vet.
    """
    at = datetime.now(UTC).astimezone()
    if database is None:
        database = _meant_in(days_folder(), wanted, at, is_new_wanted)
    path = database or new_database(wanted.farm)
    record = open_or_repair(path)
    try:
        return _begin_in(record, wanted, at, is_new_wanted)
    except BaseException:
        record.close()
        raise


def _meant_in(folder: Path, wanted: Wanted, at: datetime, is_new_wanted: bool) -> Path | None:
    """The file whose day was cut off and goes on with this source, herd list and vet; others are told of."""
    for file, cut_off in cut_off_days(folder, at).items():
        if not is_new_wanted and cut_off.source == wanted.source and wanted.goes_on_with(cut_off):
            return file
        typer.echo(f"A day that was cut off ({cut_off.source}) is in {file}; --database goes on with it.")
    return None


def _begin_in(record: Record, wanted: Wanted, at: datetime, is_new_wanted: bool) -> Begun:
    cut_off = cut_off_day(record, at)
    if cut_off is not None and not is_new_wanted:
        _check_meant(record, cut_off, wanted)
        resumed = resume(record, cut_off, at, wanted.is_live)
        counts = resumed.day.counts
        typer.echo(
            f"Going on with the day that was cut off: {counts.scanned} scanned, {counts.questions} open. "
            "Another day is begun with --new-day."
        )
        return Begun(
            *(record, cut_off.day_id, resumed.day, cut_off.scanned_on),
            *(resumed.next_utterance, resumed.from_s),
            is_new=False,
        )
    herd_file = str(wanted.herd_file) if wanted.herd_file else ""
    day_id = record.start_day(wanted.herd, wanted.scanned_on, wanted.kind, herd_file, wanted.source, wanted.vet)
    if cut_off is not None:
        record.end_day(cut_off.day_id)
    return Begun(record, day_id, Day(wanted.herd, wanted.kind), wanted.scanned_on)


def _check_meant(record: Record, cut_off: CutOff, wanted: Wanted) -> None:
    is_same_source = wanted.is_live or cut_off.source == wanted.source
    if is_same_source and wanted.goes_on_with(cut_off):
        return
    raise RecordError(
        f"{record.path}: its day was cut off, and had another herd list, vet, kind of scan or recording "
        f"({cut_off.source}); expected the same to go on with it. Name the same, or begin another day with --new-day."
    )


def open_or_repair(path: Path) -> Record:
    """Open a record; a damaged one is copied aside and rebuilt first, and what was lost is told.

    Raises:
        RecordError: If it cannot be used, or nothing of it can be read.
    """
    try:
        return Record.open(path)
    except DamagedError:
        for line in repair(path):
            typer.echo(line)
        return Record.open(path)


def days_folder() -> Path:
    """Where days are kept for which no file is named."""
    return platformdirs.user_data_path("voicecapture") / "days"


def new_database(farm: str = "") -> Path:
    """A new file for the day in the user's data folder, named by the time and the farm.

    Raises:
        RecordError: If the folder cannot be made.
    """
    folder = days_folder()
    try:
        private.make_folder(folder, parents=True)
    except OSError as error:
        raise RecordError(
            f"{folder}: cannot be made ({error.strerror}). Name a writable place with --database."
        ) from error
    called = re.sub(r"[^\w]+", "-", farm).strip("-").lower()
    name = f"{datetime.now(UTC).astimezone():%Y-%m-%d_%H%M%S}" + (f"_{called}" if called else "")
    # Another day may have begun in the same second.
    files = (folder / f"{name}{ending}.db" for ending in chain([""], (f"_{number}" for number in count(2))))
    return next(file for file in files if not file.exists())
