"""A day that was cut off goes on where it was."""

import shutil
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from tests.seasons import empty
from voicecapture.day import Event, EventKind, ScanKind
from voicecapture.errors import RecordError
from voicecapture.herd import Animal, Herd
from voicecapture.language.phrase import Entry
from voicecapture.recogniser import Hearing
from voicecapture.segmenter import Utterance
from voicecapture.store.adding import add_days
from voicecapture.store.record import Record
from voicecapture.store.resume import CUT_OFF, cut_off_day, cut_off_days, resume
from voicecapture.store.season import sign

HERD = Herd([Animal("417"), Animal("608")])
HEARING = Hearing((), "four one seven", 0.0)
NOW = datetime.now(UTC).astimezone()
SCAN = (ScanKind.AGED, NOW.date())


def utterance(end_s: float) -> Utterance:
    return Utterance(np.linspace(-0.5, 0.5, 1600, dtype=np.float32), end_s - 0.1, end_s, 20.0)


def a_day(path: Path, on: date | None = None) -> tuple[Record, int]:
    """A day with an entry and an open question, not ended."""
    record = Record.open(path)
    day_id = record.start_day(HERD, on or NOW.date(), ScanKind.AGED, "", "microphone", "Vet")
    record.keep(day_id, 1, utterance(10.0), HEARING, Event(EventKind.ACCEPTED, 10.0, 1, empty("417")))
    record.keep(day_id, 2, utterance(20.0), HEARING, Event(EventKind.QUESTION, 20.0, 2, Entry("9"), "which?"))
    return record, day_id


@pytest.mark.parametrize("is_live", [True, False])
def test_a_day_goes_on_with_its_results_questions_numbers_and_clock(tmp_path: Path, is_live: bool) -> None:
    a_day(tmp_path / "day.db")[0].close()
    record = Record.open(tmp_path / "day.db")
    at = datetime.now(UTC).astimezone() + timedelta(minutes=10)
    cut_off = cut_off_day(record, at)
    assert cut_off is not None and cut_off.is_meant(HERD, "", *SCAN)
    assert not cut_off.is_meant(Herd([Animal("1")]), "", *SCAN)
    assert not cut_off.is_meant(HERD, "Another vet", *SCAN)
    kind, day = SCAN
    assert not cut_off.is_meant(HERD, "", ScanKind.YES_NO, day)
    assert cut_off.is_meant(HERD, "", kind, day + timedelta(days=1))
    assert not cut_off.is_meant(HERD, "", kind, day + timedelta(days=2))
    resumed = resume(record, cut_off, at, is_live)
    assert set(resumed.day.results) == {"417"} and set(resumed.day.questions) == {2}
    assert resumed.day.last == 1 and resumed.next_utterance == 3
    assert resumed.from_s == pytest.approx(600, abs=30) if is_live else resumed.from_s == 20.0
    record.close()


def test_the_clock_of_the_day_never_goes_back(tmp_path: Path) -> None:
    record, _ = a_day(tmp_path / "day.db")
    at = NOW - timedelta(hours=1)
    cut_off = cut_off_day(record, at)
    assert cut_off is not None and resume(record, cut_off, at, True).from_s == 20.0
    record.close()


def test_a_day_that_was_ended_signed_or_is_old_does_not_go_on(tmp_path: Path) -> None:
    record, day_id = a_day(tmp_path / "day.db")
    assert cut_off_day(record, NOW + timedelta(hours=17)) is None
    record.end_day(day_id)
    assert cut_off_day(record, NOW) is None
    record.close()
    record, _ = a_day(tmp_path / "signed.db")
    sign(record, next(record.db.query("select name from day"))["name"], "Vet")
    assert cut_off_day(record, NOW) is None
    record.close()
    record, _ = a_day(tmp_path / "demo.db", date(2020, 2, 9))
    assert cut_off_day(record, NOW) is None
    record.close()


def test_sound_that_was_kept_and_not_decided_is_asked_about_and_half_written_sound_is_tidied(tmp_path: Path) -> None:
    record, day_id = a_day(tmp_path / "day.db")
    record.clips.joinpath(f"day{day_id}_00003.flac").write_bytes(next(record.clips.iterdir()).read_bytes())
    record.clips.joinpath(f"day{day_id}_00004.part").write_bytes(b"fLaC")
    record.close()
    record = Record.open(tmp_path / "day.db")
    cut_off = cut_off_day(record, NOW)
    assert cut_off is not None
    resumed = resume(record, cut_off, NOW, True)
    assert resumed.day.questions[3].reason == CUT_OFF and resumed.day.questions[3].utterance == 3
    assert resumed.next_utterance == 4 and not list(record.clips.glob("*.part"))
    record.close()


def test_a_folder_is_searched_for_days_that_were_cut_off(tmp_path: Path) -> None:
    record, day_id = a_day(tmp_path / "day.db")
    (tmp_path / "notes.db").write_text("muddy notebook")
    ended, ended_id = a_day(tmp_path / "ended.db")
    ended.end_day(ended_id)
    ended.close()
    ((file, cut_off),) = cut_off_days(tmp_path, NOW).items()
    assert (file, cut_off.day_id, cut_off.source) == (tmp_path / "day.db", day_id, "microphone")
    assert cut_off_days(tmp_path, NOW + timedelta(hours=17)) == {} == cut_off_days(tmp_path / "nowhere", NOW)
    record.close()


def test_a_day_whose_end_was_rescued_goes_on_only_once_that_is_in_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    record, day_id = a_day(tmp_path / "day.db")
    name = next(record.db["day"].rows)["name"]
    record.close()
    rescue = tmp_path / f"voicecapture_rescue_{name[:8]}_1.db"
    shutil.copy(tmp_path / "day.db", rescue)
    with closing(Record.open(rescue)) as rescued:
        rescued.append(day_id, Event(EventKind.ACCEPTED, 30.0, None, empty("608")))
        rescued.end_day(day_id)
    record = Record.open(tmp_path / "day.db")
    cut_off = cut_off_day(record, NOW)
    assert cut_off is not None
    with pytest.raises(RecordError, match=f"season add {rescue} --season {tmp_path / 'day.db'}"):
        resume(record, cut_off, NOW, is_live=True)
    assert add_days(record, rescue).events == 1
    assert cut_off_day(record, NOW) is None, "the rescue ended the day"
    record.close()
