"""A day to listen to: a new one, or one that was cut off and goes on where it was."""

from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import soundfile

from voicecapture.audio import SAMPLE_RATE_HZ
from voicecapture.day import Day, Event, EventKind, ScanKind
from voicecapture.errors import RecordError
from voicecapture.herd import Animal, Herd
from voicecapture.recogniser import Hearing
from voicecapture.segmenter import Utterance
from voicecapture.store.keeper import rescues_of
from voicecapture.store.record import Record
from voicecapture.store.rows import Row, read_animal
from voicecapture.store.season import read_season

GOES_ON_WITHIN = timedelta(hours=16)
"""A day that was cut off longer ago does not go on."""
CUT_OFF = "said when the program broke off: listen to it"


@dataclass(frozen=True, slots=True)
class CutOff:
    """A day without an ending."""

    day_id: int
    scanned_on: date
    started_at: datetime
    source: str
    vet: str
    kind: ScanKind
    animals: tuple[Animal, ...]
    heard_to_s: float
    """End of the last utterance on record, on the audio clock, seconds."""

    def is_meant(self, herd: Herd, vet: str, kind: ScanKind, scanned_on: date) -> bool:
        """Whether somebody who begins this scan, with this herd list and vet if any, goes on with it."""
        is_same_herd = not herd.animals or self.animals == tuple(herd.animals.values())
        # A day may go on after midnight.
        is_same_scan = kind is self.kind and abs(scanned_on - self.scanned_on) <= timedelta(days=1)
        return is_same_herd and is_same_scan and vet in ("", self.vet)


@dataclass(frozen=True, slots=True)
class Resumed:
    """A cut-off day as it goes on."""

    day: Day
    next_utterance: int
    from_s: float
    """Where the audio clock goes on, seconds."""


def cut_off_day(record: Record, at: datetime) -> CutOff | None:
    """The last day of a file, if it was cut off and can go on.

    Args:
        record: The file.
        at: Now, with its time zone.

    Raises:
        RecordError: If it cannot be read.
    """
    with record.translated("the last day could not be read"):
        row = next(record.db.query("select * from day order by id desc limit 1"), None)
        if row is None or _has_ended(record, row["id"]):
            return None
        started_at = datetime.fromisoformat(row["started_at"])
        scanned_on = date.fromisoformat(row["scanned_on"])
        is_old = abs(at - started_at) > GOES_ON_WITHIN or abs(scanned_on - at.date()) > timedelta(days=1)
        if is_old:
            return None
        animals = record.db.query("select * from animal where day_id = ? order by position", [row["id"]])
        return CutOff(
            row["id"],
            scanned_on,
            started_at,
            row["source"],
            row["vet"],
            ScanKind(row["scan_kind"]),
            tuple(map(read_animal, animals)),
            _heard_to_s(record, row),
        )


def _has_ended(record: Record, day_id: int) -> bool:
    query = "select 1 from ending where day_id = :id union select 1 from signature where day_id = :id"
    return bool(list(record.db.query(query, {"id": day_id})))


def _heard_to_s(record: Record, row: Row) -> float:
    ((heard_to_s,),) = record.db.execute("select max(end_s) from utterance where day_id = ?", [row["id"]]).fetchall()
    return float(heard_to_s or 0.0)


def resume(record: Record, cut_off: CutOff, at: datetime, is_live: bool) -> Resumed:
    """Hold the file, tidy what a save left undone, and go on with a day.

    What was said live and is on the disk as sound alone becomes an open question; a recording is heard again from
    the last utterance on record.

    Raises:
        RecordError: If it cannot be read or written, another program holds it, or its end was rescued elsewhere.
    """
    record.hold()
    ((name,),) = record.db.execute("select name from day where id = ?", [cut_off.day_id]).fetchall()
    if rescues := rescues_of(name):
        # Going on would give other events the numbers of those that were rescued: neither could take the other in.
        raise RecordError(
            f"{record.path}: the end of its last day is in {rescues[-1]}, since it could not be written here. Put it "
            f"in first: voicecapture season add {rescues[-1]} --season {record.path}"
        )
    with record.translated("the day could not go on"):
        for unfinished in record.clips.glob(f"day{cut_off.day_id}_*.part"):
            unfinished.unlink()
        query = "select max(number) from utterance where day_id = ?"
        ((last,),) = record.db.execute(query, [cut_off.day_id]).fetchall()
        following = int(last or 0) + 1
        if is_live:
            following = _adopt(record, cut_off, following)
        day = read_season(record, cut_off.day_id).days[0]
    if not is_live:
        return Resumed(day.day, following, cut_off.heard_to_s)
    # The clock of the machine may have been set back; that of the day never goes back.
    passed_s = (at - cut_off.started_at).total_seconds()
    return Resumed(day.day, following, max(passed_s, cut_off.heard_to_s, *(event.at_s for event in day.events)))


def _adopt(record: Record, cut_off: CutOff, following: int) -> int:
    """Take sound that has no row yet into the day, to be asked about; returns the next number."""
    start_s = cut_off.heard_to_s
    while (clip := record.clips / f"day{cut_off.day_id}_{following:05d}.flac").is_file():
        try:
            samples, _ = soundfile.read(clip, dtype="float32")
        except soundfile.LibsndfileError:
            following += 1  # no sound, but its name is taken
            continue
        end_s = start_s + len(samples) / SAMPLE_RATE_HZ
        utterance = Utterance(samples, start_s, end_s, 0.0)
        question = Event(EventKind.QUESTION, end_s, following, reason=CUT_OFF)
        record.keep(cut_off.day_id, following, utterance, Hearing((), "", 0.0), question)
        start_s, following = end_s, following + 1
    return following


def cut_off_days(folder: Path, at: datetime) -> dict[Path, CutOff]:
    """The days in the files of a folder that were cut off and can go on, by file, the latest first.

    Raises:
        RecordError: If the folder cannot be read.
    """
    try:
        changed = {file: file.stat().st_mtime for file in folder.glob("*.db")}
    except OSError as error:
        raise RecordError(f"{folder}: cannot be read ({error.strerror}). Name a file with --database.") from error
    found = {}
    for file in sorted(changed, key=lambda file: -changed[file]):
        if abs(at - datetime.fromtimestamp(changed[file], UTC)) > GOES_ON_WITHIN:
            continue
        # A file without a day, of something else, or damaged, is no day that can go on.
        with suppress(RecordError), Record.reading(file) as record:
            cut_off = cut_off_day(record, at)
            if cut_off is not None:
                found[file] = cut_off
    return found
