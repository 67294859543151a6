"""A disk that fails: nothing is called saved that is not on it, and nothing is lost once it works again."""

import errno
import os
import shutil
import sqlite3
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from tests.seasons import empty, in_calf, loaded_day
from voicecapture.day import Day, Event, EventKind, ScanKind
from voicecapture.herd import Animal, Herd
from voicecapture.recogniser import Hearing
from voicecapture.segmenter import Utterance
from voicecapture.store import keeper as keeper_module
from voicecapture.store import record as record_module
from voicecapture.store.adding import add_days
from voicecapture.store.keeper import Keeper, rescues_of
from voicecapture.store.record import Record

HERD = Herd([Animal("417"), Animal("608")])
UTTERANCE = Utterance(np.linspace(-0.5, 0.5, 1600, dtype=np.float32), 1.0, 1.1, 20.0)
HEARING = Hearing((), "four one seven", 0.0)


class Keeping:
    """A day that is being kept."""

    def __init__(self, path: Path) -> None:
        path.parent.mkdir(exist_ok=True)
        self.path, self.record = path, Record.open(path)
        self.day_id = self.record.start_day(HERD, date(2027, 2, 9), ScanKind.AGED, "", "test")
        self.keeper, self.said = Keeper(self.record, self.day_id), 0
        self.day = Day(HERD)

    def say(self, cow: str) -> bool:
        self.said += 1
        event = Event(EventKind.ACCEPTED, float(self.said), self.said, empty(cow), heard=cow)
        self.day = self.day.after(event)
        return self.keeper.keep(event, UTTERANCE, HEARING)

    def type(self, cow: str) -> bool:
        event = Event(EventKind.ACCEPTED, float(self.said), None, empty(cow), heard=cow)
        self.day = self.day.after(event)
        return self.keeper.keep(event)

    def wait(self) -> None:
        for _ in range(200):
            if not self.keeper.waiting:
                return
            time.sleep(0.05)
        raise AssertionError(self.keeper.trouble)

    def cows(self) -> list[str]:
        """As another program reads them."""
        with sqlite3.connect(self.path) as reader:
            return [cow for (cow,) in reader.execute("select cow from event order by number")]


@pytest.fixture
def keeping(tmp_path: Path) -> Iterator[Keeping]:
    keeping = Keeping(tmp_path / "days" / "day.db")
    yield keeping
    keeping.record.close()


def test_what_is_called_saved_is_in_the_file(keeping: Keeping) -> None:
    assert keeping.say("417") and keeping.type("608")
    assert keeping.cows() == ["417", "608"] and keeping.keeper.trouble == ""


@pytest.mark.parametrize("code", [errno.EIO, errno.ENOSPC, errno.EROFS])
def test_what_cannot_be_written_waits_in_order(keeping: Keeping, monkeypatch: pytest.MonkeyPatch, code: int) -> None:
    def failing(_file: int) -> None:
        raise OSError(code, os.strerror(code))

    assert keeping.say("417")
    with monkeypatch.context() as broken:
        broken.setattr(os, "fsync", failing)
        assert not keeping.say("608")
        assert not keeping.type("9")
        assert not keeping.say("417")
        assert os.strerror(code) in keeping.keeper.trouble and "NOT SAVED: 3" in keeping.keeper.trouble
        assert keeping.cows() == ["417"]
    keeping.wait()
    assert keeping.cows() == ["417", "608", "9", "417"] and keeping.keeper.trouble == ""
    assert keeping.say("608")
    assert dict(loaded_day(keeping.record, keeping.day_id).results) == dict(keeping.day.results)


def test_a_database_that_another_program_holds_is_waited_for(keeping: Keeping) -> None:
    holder = sqlite3.connect(keeping.path, isolation_level=None)
    holder.execute("begin immediate")
    assert not keeping.say("417")
    assert "NOT SAVED: 1" in keeping.keeper.trouble
    holder.execute("rollback")
    holder.close()
    keeping.wait()
    assert keeping.cows() == ["417"]


def test_a_deleted_folder_is_made_anew_with_the_whole_day(keeping: Keeping) -> None:
    assert keeping.say("417") and keeping.type("608")
    shutil.rmtree(keeping.path.parent)
    keeping.type("9")
    keeping.say("10")
    keeping.wait()
    assert keeping.cows() == ["417", "608", "9", "10"]
    assert keeping.say("11") and keeping.cows()[-1] == "11"


def test_what_goes_into_a_deleted_file_is_not_called_saved(keeping: Keeping, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Record, "reach", lambda self: None)
    keeping.path.unlink()
    assert not keeping.type("417")


def test_another_file_in_its_place_is_not_written_to(keeping: Keeping) -> None:
    assert keeping.say("417")
    shutil.rmtree(keeping.path.parent)
    other = Keeping(keeping.path)
    other.record.close()
    assert not keeping.say("608")
    assert "another file" in keeping.keeper.trouble and keeping.cows() == []


def test_what_cannot_be_written_at_last_is_rescued_elsewhere(
    keeping: Keeping, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(keeper_module, "_LAST_TRY_S", 0.1)
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    assert keeping.say("417")
    shutil.copytree(keeping.path.parent, tmp_path / "before")
    shutil.rmtree(keeping.path.parent)
    keeping.path.parent.write_text("no folder any more")
    assert not keeping.say("608") and not keeping.type("9")
    rescue = keeping.keeper.end()
    assert rescue is not None
    with Record.reading(rescue) as rescued:
        assert dict(loaded_day(rescued, keeping.day_id).results) == dict(keeping.day.results)
    (clip,) = rescue.with_name(f"{rescue.stem}_clips").iterdir()
    assert clip.stat().st_size > 100
    # The rescue goes on where the file ends that comes back.
    again = Record.open(tmp_path / "before" / "day.db")
    name = next(again.db["day"].rows)["name"]
    assert rescues_of(name) == [rescue] and rescues_of("another day") == []
    assert add_days(again, rescue).events == 2
    again.close()


def test_the_sound_of_what_waits_is_bounded_and_its_events_are_not(
    keeping: Keeping, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(keeper_module, "MOST_SOUND_BYTES", 2 * UTTERANCE.samples.nbytes)
    monkeypatch.setattr(keeper_module, "PATIENCE_S", 0.05)
    holder = sqlite3.connect(keeping.path, isolation_level=None)
    holder.execute("begin immediate")
    for cow in ("1", "2", "3", "4"):
        assert not keeping.say(cow)
    holder.execute("rollback")
    holder.close()
    keeping.wait()
    assert keeping.cows() == ["1", "2", "3", "4"]
    assert len(list(keeping.record.clips.iterdir())) == 2
    assert keeping.say("5") and len(list(keeping.record.clips.iterdir())) == 3


def test_a_clock_that_is_set_back_is_told_and_changes_no_order(
    keeping: Keeping, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(keeper_module, "now", lambda: "2999-01-01T10:00:00.000+00:00")
    keeping.keeper.keep(Event(EventKind.ACCEPTED, 1.0, None, in_calf("417", 56)))
    monkeypatch.setattr(keeper_module, "now", record_module.now)
    later = Event(EventKind.ACCEPTED, 2.0, None, in_calf("417", 58))
    assert keeping.keeper.keep(replace(later, replaces=1))
    assert "set back" in keeping.keeper.trouble
    with sqlite3.connect(keeping.path) as reader:
        assert reader.execute("select days from season_result").fetchall() == [(58,)]
