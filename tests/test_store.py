"""The record: closed and opened again before anything is believed."""

import json
import sqlite3
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from tests.seasons import loaded_day
from voicecapture.day import Candidate, Day, Event, EventKind, ScanKind
from voicecapture.errors import RecordError
from voicecapture.herd import Animal, Herd
from voicecapture.language.phrase import Entry, Result, Stage
from voicecapture.recogniser import Hearing
from voicecapture.segmenter import Utterance
from voicecapture.store.record import Record
from voicecapture.verdict import Said, VoiceCheck

HERD = Herd([Animal("417", "826000000000417", "Ayrshire", date(2026, 12, 1)), Animal("0042")])
UTTERANCE = Utterance(np.linspace(-0.5, 0.5, 1600, dtype=np.float32), 1.0, 1.1, 20.0)
HEARING = Hearing((), "F AO R", 3.0)
ENTRY = Entry("417", Result.PREGNANT, 56, True, ("cystic",), None, Stage.EARLY)


def new_day(path: Path) -> tuple[Record, int]:
    record = Record.open(path)
    return record, record.start_day(HERD, date(2027, 2, 9), ScanKind.AGED, "herd.csv", "morning.ogg")


def event_of(kind: EventKind, cow: str, number: int, pick: int) -> Event:
    """An event that may follow `number - 1` others."""
    earlier = pick % number or None
    if kind is EventKind.ACCEPTED:
        return Event(kind, float(number), number, Entry(cow, Result.EMPTY), probability=0.99, replaces=earlier)
    if kind is EventKind.QUESTION:
        entry = Entry(cow, Result.RECHECK, recheck_weeks=3)
        return Event(
            kind,
            float(number),
            number,
            entry,
            "why",
            replaces=earlier,
            candidates=(Candidate(entry, 0.5),),
            answers=earlier,
        )
    if kind is EventKind.TAKEN_BACK:
        return Event(kind, float(number), number, Entry(cow), replaces=earlier)
    return Event(kind, float(number), number, reason="stop" if kind is EventKind.COMMAND else "talk")


@given(
    st.lists(
        st.tuples(st.sampled_from(EventKind), st.sampled_from(["417", "0042", "9"]), st.integers(0, 30)), max_size=12
    )
)
@example([(EventKind.ACCEPTED, "417", 0), (EventKind.ACCEPTED, "417", 0), (EventKind.TAKEN_BACK, "417", 2)])
@example([(EventKind.QUESTION, "9", 0), (EventKind.QUESTION, "9", 1), (EventKind.QUESTION, "417", 0)])
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_day_read_back_is_the_day_that_was_left(
    tmp_path_factory: pytest.TempPathFactory, happened: list[tuple[EventKind, str, int]]
) -> None:
    path = tmp_path_factory.mktemp("day") / "day.db"
    record, day_id = new_day(path)
    day = Day(HERD)
    for number, (kind, cow, pick) in enumerate(happened, 1):
        event = event_of(kind, cow, number, pick)
        record.append(day_id, event)
        day = day.after(event)
    record.close()
    again = Record.open(path)
    loaded = loaded_day(again, day_id)
    assert loaded.herd.animals == HERD.animals
    assert (dict(loaded.results), dict(loaded.questions)) == (dict(day.results), dict(day.questions))
    assert (loaded.length, loaded.last, loaded.is_stopped) == (day.length, day.last, day.is_stopped)
    again.close()
    views = sqlite3.connect(path)
    # Sorted lists, so that a cow or a question shown twice is seen.
    assert views.execute("select cow, event from current_result order by cow").fetchall() == sorted(
        (cow, number) for cow, (number, _) in day.results.items()
    )
    assert views.execute("select event from open_question order by event").fetchall() == sorted(
        (number,) for number in day.questions
    )
    views.close()


def test_an_utterance_is_kept_with_its_sound(tmp_path: Path) -> None:
    record, day_id = new_day(tmp_path / "day.db")
    record.keep(day_id, 1, UTTERANCE, HEARING, Event(EventKind.ACCEPTED, 1.1, 1, ENTRY, probability=0.99))
    record.close()
    again = Record.open(tmp_path / "day.db")
    assert loaded_day(again, day_id).results["417"][1].entry == ENTRY
    again.close()
    with sqlite3.connect(tmp_path / "day.db") as reader:
        ((clip,),) = reader.execute("select clip from utterance")
    samples, rate_hz = soundfile.read(tmp_path / clip, dtype="float32")
    assert rate_hz == 16_000
    assert samples == pytest.approx(UTTERANCE.samples, abs=1e-4)


def test_another_program_can_read_while_the_day_is_open(tmp_path: Path) -> None:
    record, day_id = new_day(tmp_path / "day.db")
    record.keep(day_id, 1, UTTERANCE, HEARING, Event(EventKind.ACCEPTED, 1.1, 1, ENTRY))
    with sqlite3.connect(tmp_path / "day.db") as reader:
        assert reader.execute("select cow, days from current_result").fetchall() == [("417", 56)]
        assert reader.execute("pragma journal_mode").fetchone() == ("wal",)
    record.close()


def test_every_utterance_has_its_clip(tmp_path: Path) -> None:
    record, day_id = new_day(tmp_path / "day.db")
    for number in (1, 2, 3):
        record.keep(day_id, number, UTTERANCE, HEARING, Event(EventKind.IGNORED, float(number), number))
    record.close()
    with sqlite3.connect(tmp_path / "day.db") as reader:
        clips = [clip for (clip,) in reader.execute("select clip from utterance order by number")]
    assert clips == [f"day_clips/day{day_id}_{number:05d}.flac" for number in (1, 2, 3)]
    assert sorted(path.name for path in (tmp_path / "day_clips").iterdir()) == [Path(clip).name for clip in clips]


@pytest.mark.parametrize(
    "statement",
    [
        "update event set cow = '1'",
        "update utterance set heard = ''",
        "delete from event",
        "delete from utterance",
        "insert or replace into event select * from event",
        "replace into event select null, day_id, number, 'ignored', at_s, utterance, null, null, null, 0, '[]', null,"
        " null, '', null, '[]', null, null, '', recorded_at, null, '' from event",
        "insert or replace into utterance select day_id, number, 0, 0, '', strangeness, snr_db, clip from utterance",
    ],
)
def test_the_record_is_only_ever_added_to(tmp_path: Path, statement: str) -> None:
    record, day_id = new_day(tmp_path / "day.db")
    record.keep(day_id, 1, UTTERANCE, HEARING, Event(EventKind.ACCEPTED, 1.1, 1, ENTRY))
    record.close()
    with (
        sqlite3.connect(tmp_path / "day.db") as writer,
        pytest.raises(sqlite3.DatabaseError, match="only ever added"),
    ):
        writer.execute(statement)


def test_tables_are_strict(tmp_path: Path) -> None:
    record, _ = new_day(tmp_path / "day.db")
    record.close()
    with sqlite3.connect(tmp_path / "day.db") as writer, pytest.raises(sqlite3.IntegrityError):
        writer.execute("insert into animal (day_id, position, cow) values (1, 'first', '5')")


def test_an_utterance_that_cannot_be_kept_leaves_nothing_behind(tmp_path: Path) -> None:
    record, day_id = new_day(tmp_path / "day.db")
    with pytest.raises(RecordError, match="could not be saved"):
        record.keep(99, 1, UTTERANCE, HEARING, Event(EventKind.ACCEPTED, 1.1, 1, ENTRY))
    record.close()
    again = Record.open(tmp_path / "day.db")
    assert loaded_day(again, day_id).length == 0
    again.close()
    with sqlite3.connect(tmp_path / "day.db") as reader:
        assert reader.execute("select count(*) from utterance").fetchone() == (0,)


def test_the_sound_of_a_kept_utterance_is_never_overwritten(tmp_path: Path) -> None:
    record, day_id = new_day(tmp_path / "day.db")
    record.keep(day_id, 1, UTTERANCE, HEARING, Event(EventKind.IGNORED, 1.1, 1))
    (clip,) = (tmp_path / "day_clips").iterdir()
    before = clip.read_bytes()
    silence = Utterance(np.zeros(1600, np.float32), 2.0, 2.1, 0.0)
    with pytest.raises(RecordError, match="has an utterance 1"):
        record.keep(day_id, 1, silence, HEARING, Event(EventKind.ACCEPTED, 2.1, 1, ENTRY))
    record.close()
    again = Record.open(tmp_path / "day.db")
    assert loaded_day(again, day_id).length == 1
    again.close()
    assert clip.read_bytes() == before


def test_an_event_that_cannot_be_added_is_one_sentence(tmp_path: Path) -> None:
    record, _ = new_day(tmp_path / "day.db")
    with pytest.raises(RecordError, match="could not be saved"):
        record.append(99, Event(EventKind.NOTE, 1.0))
    record.close()


def test_a_database_that_another_program_holds_is_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    connect = sqlite3.connect
    # Without the wait of 5 s for the other program.
    monkeypatch.setattr(sqlite3, "connect", lambda path, **options: connect(path, timeout=0.0, **options))
    holder = connect(tmp_path / "day.db", isolation_level=None)
    holder.execute("begin exclusive")
    with pytest.raises(RecordError, match="Close the other program"):
        Record.open(tmp_path / "day.db")
    holder.execute("rollback")
    record, _ = new_day(tmp_path / "day.db")
    holder.execute("begin immediate")
    with pytest.raises(RecordError, match="Close the other program"):
        record.start_day(HERD, date(2027, 2, 10), ScanKind.AGED, "", "")
    holder.execute("rollback")
    holder.close()
    record.close()


def test_a_database_of_another_program_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "recipes.db"
    other = sqlite3.connect(path)
    other.execute("create table recipe (name text)")
    other.close()
    before = path.read_bytes()
    with pytest.raises(RecordError, match="another program"):
        Record.open(path)
    assert path.read_bytes() == before


def test_a_database_of_a_newer_version_is_left_alone(tmp_path: Path) -> None:
    record, _ = new_day(tmp_path / "day.db")
    record.close()
    with sqlite3.connect(tmp_path / "day.db") as writer:
        writer.execute(
            "insert into _sqlite_migrations (migration_set, name, applied_at) values ('voicecapture', 'later', '')"
        )
    before = (tmp_path / "day.db").read_bytes()
    with pytest.raises(RecordError, match="newer version"):
        Record.open(tmp_path / "day.db")
    assert (tmp_path / "day.db").read_bytes() == before


def test_a_place_that_cannot_be_written_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(RecordError, match="cannot be used"):
        Record.open(tmp_path / "file" / "day.db")


def test_a_file_that_is_no_database_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "notes.db"
    path.write_text("muddy notebook " * 100)
    with pytest.raises(RecordError, match="cannot be used"):
        Record.open(path)
    assert path.read_text().startswith("muddy notebook")


def test_a_voice_check_is_kept_with_its_day_and_never_changed(tmp_path: Path) -> None:
    record, day_id = new_day(tmp_path / "day.db")
    right, wrong = (
        Said("five, recheck", "five recheck", True, True, 20.0, -20.0),
        Said("sixty, dry", "", False, False),
    )
    record.keep_voice_check(day_id, VoiceCheck((right, wrong), "2027-02-09T05:30:00.000+00:00"))
    record.close()
    with sqlite3.connect(tmp_path / "day.db") as reader:
        reader.row_factory = sqlite3.Row
        (row,) = map(dict, reader.execute("select * from voice_check"))
        said = json.loads(row.pop("said"))
        assert row == {
            "id": 1,
            "day_id": day_id,
            "checked_at": "2027-02-09T05:30:00.000+00:00",
            "lines": 2,
            "heard_right": 1,
            "taken": 1,
            "taken_wrong": 0,
            "passed_over": 1,
            "snr_db": 20.0,
            "verdict": "do not rely on it today",
        }
        assert [(line["phrase"], line["heard"]) for line in said] == [
            ("five, recheck", "five recheck"),
            ("sixty, dry", ""),
        ]
        for change in ("update voice_check set verdict = 'fit to use'", "delete from voice_check"):
            with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
                reader.execute(change)
