"""Copies that can be restored, and damaged files that are rebuilt."""

import sqlite3
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from tests.seasons import empty, loaded_day
from voicecapture.day import Event, EventKind, ScanKind
from voicecapture.errors import DamagedError, RecordError
from voicecapture.herd import Animal, Herd
from voicecapture.recogniser import Hearing
from voicecapture.segmenter import Utterance
from voicecapture.store.backup import back_up
from voicecapture.store.clips import read_clips, read_utterance
from voicecapture.store.record import Record
from voicecapture.store.repair import UNREADABLE, repair
from voicecapture.store.season import read_season

HERD = Herd([Animal(str(cow)) for cow in range(1, 401)])
UTTERANCE = Utterance(np.linspace(-0.5, 0.5, 1600, dtype=np.float32), 1.0, 1.1, 20.0)
PAGE_BYTES = 4096


def keep(record: Record, day_id: int, *numbers: int) -> None:
    for number in numbers:
        event = Event(EventKind.ACCEPTED, float(number), number, empty(str(number)), heard="x" * 200)
        record.keep(day_id, number, UTTERANCE, Hearing((), "", 0.0), event)


def begin(path: Path) -> tuple[Record, int]:
    record = Record.open(path)
    return record, record.start_day(HERD, date(2027, 2, 9), ScanKind.AGED, "", "test")


def test_a_copy_made_while_the_day_goes_on_can_be_restored_with_its_sound(tmp_path: Path) -> None:
    record, day_id = begin(tmp_path / "day.db")
    keep(record, day_id, 1, 2)
    assert back_up(tmp_path / "day.db", tmp_path / "stick") == (2, 0)
    keep(record, day_id, 3)
    record.close()
    copy = Record.open(tmp_path / "stick" / "day.db")
    (day,) = read_season(copy).days
    assert set(day.day.results) == {"1", "2"}
    for clip in read_clips(copy, day.name).values():
        assert read_utterance(clip).samples == pytest.approx(UTTERANCE.samples, abs=1e-4)
    keep(copy, day_id, 3)  # it goes on from the copy
    copy.close()


def test_a_second_copy_brings_the_first_up_to_date(tmp_path: Path) -> None:
    record, day_id = begin(tmp_path / "day.db")
    keep(record, day_id, 1)
    back_up(tmp_path / "day.db", tmp_path / "stick")
    keep(record, day_id, 2)
    assert back_up(tmp_path / "day.db", tmp_path / "stick") == (1, 0)
    record.close()
    with Record.reading(tmp_path / "stick" / "day.db") as copy:
        assert loaded_day(copy, day_id).length == 2


def test_a_copy_never_takes_the_place_of_another_record_nor_of_a_longer_one(tmp_path: Path) -> None:
    record, day_id = begin(tmp_path / "day.db")
    keep(record, day_id, 1)
    (tmp_path / "stick").mkdir()
    other, other_id = begin(tmp_path / "stick" / "day.db")
    keep(other, other_id, 7)
    other.close()
    with pytest.raises(RecordError, match="holds what is not in"):
        back_up(tmp_path / "day.db", tmp_path / "stick")
    with pytest.raises(RecordError, match="the file itself"):
        back_up(tmp_path / "day.db", tmp_path)
    record.close()
    with Record.reading(tmp_path / "stick" / "day.db") as kept:
        assert set(loaded_day(kept, other_id).results) == {"7"}


def pages_of(path: Path, table: str) -> list[int]:
    """The leaf pages of a table, by the bytes on them: text that only its rows hold."""
    marks = {"event": b"x" * 200, "animal": b"399"}
    data = path.read_bytes()
    pages = range(len(data) // PAGE_BYTES)
    return [n for n in pages if marks[table] in data[n * PAGE_BYTES : (n + 1) * PAGE_BYTES]]


@pytest.fixture
def whole(tmp_path: Path) -> Path:
    record, day_id = begin(tmp_path / "day.db")
    keep(record, day_id, *range(1, 121))
    record.close()
    return tmp_path / "day.db"


def overwrite(path: Path, page: int, data: bytes = b"\xff" * PAGE_BYTES) -> None:
    with path.open("r+b") as file:
        file.seek(page * PAGE_BYTES)
        file.write(data)


def test_a_damaged_file_is_refused_before_anything_is_written(whole: Path) -> None:
    overwrite(whole, pages_of(whole, "event")[3])
    before = whole.read_bytes()
    with pytest.raises(DamagedError, match="voicecapture repair"):
        Record.open(whole)
    assert whole.read_bytes() == before


def test_a_rebuilt_day_has_all_that_could_be_read_in_its_place_and_asks_about_the_rest(whole: Path) -> None:
    page = pages_of(whole, "event")[3]
    overwrite(whole, page)
    damaged = whole.read_bytes()
    told = repair(whole)
    record = Record.open(whole)
    assert record.db.execute("pragma integrity_check").fetchall() == [("ok",)]
    (day,) = read_season(record).days
    record.close()
    lost = [number for number, event in day.day.questions.items() if event.reason == UNREADABLE]
    assert 0 < len(lost) < 40 and day.day.length == 120
    for number, event in enumerate(day.events, 1):
        # Every event stands where it stood, with its sound; cows were numbered as their events.
        assert event.utterance == number
        assert number in lost or (event.entry is not None and event.entry.cow == str(number))
    assert len([line for line in told if "could not be read (" in line]) == len(lost)
    (aside,) = whole.parent.glob("day_damaged_*.db")
    assert aside.read_bytes() == damaged


def test_the_end_of_the_events_is_asked_about_too(whole: Path) -> None:
    overwrite(whole, pages_of(whole, "event")[-1])
    repair(whole)
    with Record.reading(whole) as record:
        (day,) = read_season(record).days
    assert day.day.length == 120 and len(day.day.questions) + len(day.day.results) == 120


def test_a_file_of_which_nothing_can_be_read_stays_as_it_was(whole: Path) -> None:
    overwrite(whole, 0, b"SQLite format 3\x00" + b"\xff" * (PAGE_BYTES - 16))
    before = whole.read_bytes()
    with pytest.raises(RecordError, match="cannot be rebuilt"):
        repair(whole)
    assert whole.read_bytes() == before


def test_every_page_may_be_damaged(tmp_path: Path, whole: Path) -> None:
    """Whatever page it is, the file is found whole, is rebuilt, or is refused in one sentence and left alone."""
    data = whole.read_bytes()
    outcomes = []
    for page in range(1, len(data) // PAGE_BYTES, 8):
        folder = tmp_path / str(page)
        folder.mkdir()
        file = folder / "day.db"
        file.write_bytes(data)
        overwrite(file, page)
        try:
            Record.open(file).close()
            outcomes.append("whole")
        except DamagedError:
            try:
                repair(file)
            except RecordError:
                outcomes.append("refused")
                continue
            with sqlite3.connect(file) as reader:
                assert reader.execute("pragma integrity_check").fetchall() == [("ok",)]
            with Record.reading(file) as record:
                (day,) = read_season(record).days
                assert day.day.length == 120
            outcomes.append("rebuilt")
    assert outcomes.count("rebuilt") > len(outcomes) / 2
