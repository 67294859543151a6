"""Sound in, rows out."""

import sqlite3
import threading
from datetime import date
from pathlib import Path

import pytest

from tests.fakes import RecordingSpeaker, Samples, in_chunks, with_pauses
from voicecapture.day import Day, ScanKind
from voicecapture.ear import Ear
from voicecapture.herd import Animal, Herd
from voicecapture.language.grammar import load_grammar
from voicecapture.recogniser.listener import Listener
from voicecapture.session import Session
from voicecapture.settings import Settings
from voicecapture.speaker import Tone
from voicecapture.store.record import Record
from voicecapture.update import Update

HERD = Herd(Animal(cow) for cow in ("13", "30", "415", "419", "417", "608", "609", "1205"))
LISTENER = Listener()


class Listening:
    """A day listened to, and what came of it."""

    def __init__(self, samples: Samples, folder: Path, stop_after: int | None = None) -> None:
        self.path = folder / "day.db"
        record = Record.open(self.path)
        day_id = record.start_day(HERD, date(2027, 2, 9), ScanKind.AGED, "", "test")
        self.speaker, self.updates = RecordingSpeaker(), list[Update]()
        self.stop = threading.Event()
        ear = Ear(Day(HERD), load_grammar(), LISTENER, Settings())
        self.day = Session(ear, record, day_id, self.speaker).run(in_chunks(samples), self.show, self.stop)
        self.loaded = record.load_day(day_id)
        record.close()

    def show(self, update: Update) -> None:
        self.updates.append(update)

    def rows(self) -> list[tuple[str, str, int | None]]:
        with sqlite3.connect(self.path) as reader:
            return reader.execute("select cow, result, days from current_result order by event").fetchall()


@pytest.fixture(scope="module")
def morning(tmp_path_factory: pytest.TempPathFactory) -> Listening:
    samples = with_pauses(
        1.0,
        "four one seven, pregnant fifty six days.",
        2.5,
        "The tanker driver said he would be back on Thursday.",
        2.5,
        "six oh eight, empty.",
        2.5,
        "correction, recheck.",
        2.5,
        "seven seven two, empty.",
        2.5,
        "twelve oh five, in calf, eight weeks, twins.",
        2.5,
        "take that back.",
        2.5,
    )
    return Listening(samples, tmp_path_factory.mktemp("morning"))


def test_entries_corrections_and_take_backs_end_up_as_rows(morning: Listening) -> None:
    assert morning.rows() == [("417", "pregnant", 56), ("608", "recheck", None)]


def test_the_day_in_memory_is_the_day_in_the_database(morning: Listening) -> None:
    assert dict(morning.day.results) == dict(morning.loaded.results)
    assert dict(morning.day.questions) == dict(morning.loaded.questions)


def test_a_cow_that_is_not_in_the_herd_list_is_an_open_question(morning: Listening) -> None:
    (question,) = morning.day.questions.values()
    assert question.entry is not None and question.entry.cow == "772"


def test_every_utterance_has_its_sound(morning: Listening) -> None:
    with sqlite3.connect(morning.path) as reader:
        clips = [clip for (clip,) in reader.execute("select clip from utterance")]
    assert len(clips) == 7
    assert all((morning.path.parent / clip).stat().st_size > 1000 for clip in clips)


def test_entries_are_read_back_and_talk_is_not(morning: Listening) -> None:
    assert morning.speaker.said[0] == "four one seven, in calf fifty six days, five six"
    assert len(morning.speaker.said) == 6
    assert morning.speaker.tones.count(Tone.QUESTION) == 1


def test_the_read_back_gives_way_when_the_vet_speaks(morning: Listening) -> None:
    assert morning.speaker.hushes > 0


def test_the_screen_hears_of_levels_and_decisions(morning: Listening) -> None:
    assert sum(update.decision is not None for update in morning.updates) == 7
    assert any(update.is_speech and update.level_dbfs > -40 for update in morning.updates)


def test_a_pause_between_number_and_result_does_not_part_them(tmp_path: Path) -> None:
    listening = Listening(with_pauses(0.5, "four one seven.", 0.45, "pregnant fifty six days.", 2.0), tmp_path)
    assert listening.rows() == [("417", "pregnant", 56)]


def test_what_was_being_said_when_the_day_was_stopped_is_kept(tmp_path: Path) -> None:
    samples = with_pauses(0.5, "four one seven, empty.", 0.3)
    assert Listening(samples, tmp_path).rows() == [("417", "empty", None)]
