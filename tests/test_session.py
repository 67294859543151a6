"""Sound in, rows out."""

import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import soxr

from tests.fakes import RecordingSpeaker, Samples, in_chunks, spoken, with_pauses
from tests.seasons import loaded_day
from voicecapture import session
from voicecapture.audio import CHUNK_SAMPLES, SAMPLE_RATE_HZ, AudioChunk, Outage
from voicecapture.bars import BROKEN
from voicecapture.day import Day, Event, EventKind, ScanKind
from voicecapture.ear import Ear
from voicecapture.errors import AudioError
from voicecapture.herd import Animal, Herd
from voicecapture.language.grammar_file import load_grammar
from voicecapture.recogniser.listener import Listener
from voicecapture.session import Session
from voicecapture.settings import Settings
from voicecapture.speaker import Tone
from voicecapture.store import keeper
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
        self.loaded = loaded_day(record, day_id)
        record.close()

    def show(self, update: Update) -> None:
        self.updates.append(update)

    def rows(self) -> list[tuple[str, str, int | None]]:
        with sqlite3.connect(self.path) as reader:
            return reader.execute("select cow, result, days from current_result order by event").fetchall()


@pytest.fixture(autouse=True, scope="module")
def patience() -> Iterator[None]:
    """A disk that other tests keep busy is no broken disk; `test_keeper.py` has those."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(keeper, "PATIENCE_S", 60.0)
        yield


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


class ByHand:
    """A day that stays open for typed lines; `then` gets every update and may type or stop."""

    def __init__(self, folder: Path, then: Callable[["ByHand", Update], None]) -> None:
        self.path, self.stop, self.then = folder / "day.db", threading.Event(), then
        self.record = Record.open(self.path)
        self.day_id = self.record.start_day(HERD, date(2027, 2, 9), ScanKind.AGED, "", "test")
        self.speaker = RecordingSpeaker()
        ear = Ear(Day(HERD), load_grammar(), LISTENER, Settings())
        self.session = Session(ear, self.record, self.day_id, self.speaker, self.watch)

    def watch(self, event: Event, day: Day) -> tuple[str, ...]:
        return (f"look at {event.entry.cow}",) if event.entry else ()

    def run(self, chunks: Iterator[AudioChunk | Outage]) -> Day:
        try:
            return self.session.run(chunks, lambda update: self.then(self, update), self.stop, stays_open=True)
        finally:
            self.loaded = loaded_day(self.record, self.day_id)
            self.record.close()


def stop_at_the_end(by_hand: ByHand, update: Update) -> None:
    if not update.is_arriving:
        by_hand.stop.set()


def type_one(by_hand: ByHand, update: Update) -> None:
    """Type a line once the source has ended, and stop when it was decided on."""
    if update.decision is not None:
        assert update.alerts == ("look at 417",)
        by_hand.stop.set()
    elif update.troubles == ("the recording has ended",) and not update.is_arriving:
        by_hand.session.type("417 pregnant 58 days", update.day)


def test_a_typed_line_is_kept_and_read_back_after_the_source_has_ended(tmp_path: Path) -> None:
    by_hand = ByHand(tmp_path, type_one)
    day = by_hand.run(in_chunks(with_pauses(0.2)))
    assert dict(by_hand.loaded.results) == dict(day.results)
    event = by_hand.loaded.results["417"][1]
    assert (event.reason, event.utterance, event.heard) == ("typed", None, "typed: 417 pregnant 58 days")
    assert by_hand.speaker.said == ["four one seven, in calf fifty eight days, five eight"]


def test_typed_lines_are_taken_while_the_microphone_gives_nothing_and_after_it_is_lost(tmp_path: Path) -> None:
    typed, seen = threading.Event(), list[Update]()

    def microphone() -> Iterator[AudioChunk]:
        yield from in_chunks(with_pauses(0.5, "six oh eight, empty.", 0.2))
        typed.wait(10)
        raise AudioError("the microphone: delivers nothing any more.")

    def then(by_hand: ByHand, update: Update) -> None:
        seen.append(update)
        if len(seen) == 1:
            by_hand.session.type("417 empty", update.day)
        if "417" in update.day.results:
            typed.set()
        if update.troubles and "1205" not in update.day.results:
            by_hand.session.type("1205 empty", update.day)
        if "1205" in update.day.results:
            by_hand.stop.set()

    by_hand = ByHand(tmp_path, then)
    with pytest.raises(AudioError, match="delivers nothing"):
        by_hand.run(microphone())
    assert set(by_hand.loaded.results) == {"417", "608", "1205"}
    assert seen[-1].troubles == ("the microphone: delivers nothing any more.",)


def test_a_line_typed_at_the_last_moment_is_kept(tmp_path: Path) -> None:
    def then(by_hand: ByHand, update: Update) -> None:
        if not by_hand.stop.is_set():
            by_hand.stop.set()
            by_hand.session.type("417 empty", update.day)

    by_hand = ByHand(tmp_path, then)
    by_hand.run(in_chunks(with_pauses(0.2)))
    assert set(by_hand.loaded.results) == {"417"}


def test_what_was_typed_in_vain_is_kept_but_not_sounded(tmp_path: Path) -> None:
    def then(by_hand: ByHand, update: Update) -> None:
        if update.decision is not None:
            by_hand.stop.set()
        elif by_hand.session.day.length == 0 and not by_hand.stop.is_set():
            by_hand.session.type("417 enpty", update.day)

    by_hand = ByHand(tmp_path, then)
    by_hand.run(in_chunks(with_pauses(0.14)))
    assert by_hand.loaded.length >= 1 and not by_hand.loaded.results
    assert by_hand.speaker.tones == [] and by_hand.speaker.said == []


def test_a_fault_of_the_read_back_a_full_disk_and_the_voice_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[Update] = []

    def then(by_hand: ByHand, update: Update) -> None:
        seen.append(update)
        by_hand.speaker.failure = "no read-back: no such device"
        if update.decision is not None:
            by_hand.stop.set()

    monkeypatch.setattr(session, "disk_alert", lambda free_bytes: "disk low" if free_bytes > 0 else "")
    ByHand(tmp_path, then).run(in_chunks(with_pauses(0.5, "six oh eight, empty.", 2.0)))
    assert "no read-back: no such device" in seen[-1].troubles and "disk low" in seen[-1].troubles
    assert seen[0].snr_db is None and seen[-1].snr_db is not None and seen[-1].voice_dbfs is not None


def test_clipping_and_lost_sound_are_told_for_a_while(tmp_path: Path) -> None:
    seen: list[Update] = []

    def source() -> Iterator[AudioChunk]:
        for i, chunk in enumerate(in_chunks(with_pauses(0.5, "six oh eight, empty.", 5.0))):
            yield AudioChunk((20 * chunk.samples).clip(-1, 1), chunk.start_s, gap=i == 5)

    def then(by_hand: ByHand, update: Update) -> None:
        seen.append(update)
        if not update.is_arriving:
            by_hand.stop.set()

    ByHand(tmp_path, then).run(source())
    assert any(update.is_clipped for update in seen) and any(update.has_gap for update in seen)
    assert not seen[-1].is_clipped and not seen[-1].has_gap


def test_words_so_far_are_shown_and_nowhere_kept(tmp_path: Path) -> None:
    def paced() -> Iterator[AudioChunk]:
        for chunk in in_chunks(with_pauses(0.5, "four one seven.", 0.5, "pregnant fifty six days.", 2.0)):
            yield chunk
            time.sleep(0.01)  # words so far are heard only while nothing waits

    def then(by_hand: ByHand, update: Update) -> None:
        shown.append(update.words)
        if not update.is_arriving:
            by_hand.stop.set()

    shown: list[str] = []
    by_hand = ByHand(tmp_path, then)
    by_hand.run(paced())
    assert "four one seven" in shown and shown[-1] == ""
    with sqlite3.connect(by_hand.path) as reader:
        assert reader.execute("select count(*) from utterance").fetchall() == [(1,)]
        assert reader.execute("select count(*) from event").fetchall() == [(1,)]


def test_a_day_is_the_same_at_every_speed(tmp_path: Path) -> None:
    samples = with_pauses(
        *(0.5, "four one seven, pregnant fifty six days.", 0.5, "twins.", 2.0),
        *("six oh eight.", 0.5, "empty.", 0.8, "six oh nine, eight weeks.", 2.0),
    )

    def at(speed: float) -> Iterator[AudioChunk]:
        for chunk in in_chunks(samples):
            yield chunk
            time.sleep(CHUNK_SAMPLES / SAMPLE_RATE_HZ / speed)

    days = []
    for folder, speed in (("slow", 4.0), ("fast", 1000.0)):
        (tmp_path / folder).mkdir()
        by_hand = ByHand(tmp_path / folder, stop_at_the_end)
        days.append(by_hand.run(at(speed)))
    assert days[0] == days[1] and set(days[0].results) == {"417", "608", "609"}


def lost(*after: AudioChunk | Outage) -> Iterator[AudioChunk | Outage]:
    """A microphone that is lost in the middle of an entry, and what it gives then; 20 s of the clock go by."""
    said = with_pauses(0.5, "four one seven, pregnant fifty six days.", 2.0, "six oh eight, empty.")
    loud = np.flatnonzero(np.abs(said) > 0.05)
    yield from in_chunks(said[: loud[-1] - 1600])
    yield Outage("microphone 'headset': not there. Plug it in.")
    yield from after


def test_a_lost_microphone_is_sounded_shown_and_put_on_record(tmp_path: Path) -> None:
    seen, rest = list[Update](), with_pauses(0.5, "twelve oh five, empty.", 2.0)
    back = [AudioChunk(c.samples, c.start_s + 20, gap=i == 0) for i, c in enumerate(in_chunks(rest))]

    def then(by_hand: ByHand, update: Update) -> None:
        seen.append(update)
        if update.troubles == ("the recording has ended",):
            by_hand.stop.set()

    by_hand = ByHand(tmp_path, then)
    by_hand.run(lost(Outage("another reason"), *back))
    assert by_hand.speaker.tones.count(Tone.ALARM) == 1
    assert by_hand.speaker.said.count("no sound from the microphone") == 1
    assert "listening again" in by_hand.speaker.said
    assert any("microphone 'headset': not there. Plug it in." in update.troubles for update in seen)
    reasons = [u.decision.reason for u in seen if u.decision is not None and u.decision.reason.startswith("no sound")]
    assert len(reasons) == 2 and "headset" in reasons[0] and " to " in reasons[1]
    assert {"417", "1205"} == set(by_hand.loaded.results)


def test_what_was_being_said_when_the_microphone_was_lost_is_only_asked(tmp_path: Path) -> None:
    """It is decided on at once and does not wait for the microphone to come back."""
    kinds: list[tuple[EventKind, str]] = []

    def then(by_hand: ByHand, update: Update) -> None:
        if update.decision is not None:
            kinds.append((update.decision.event.kind, update.decision.reason))
            if len(kinds) == 3:
                heard.set()

    def source() -> Iterator[AudioChunk | Outage]:
        yield from lost()
        assert heard.wait(20)
        by_hand.stop.set()

    by_hand, heard = ByHand(tmp_path, then), threading.Event()
    by_hand.run(source())
    assert [kind for kind, _ in kinds] == [
        EventKind.ACCEPTED,
        EventKind.IGNORED,
        EventKind.QUESTION,
        EventKind.IGNORED,
    ]
    assert kinds[2][1] == BROKEN
    assert kinds[3][1].endswith("to the end")


def test_a_muted_microphone_is_told_once(tmp_path: Path) -> None:
    seen: list[Update] = []

    def then(by_hand: ByHand, update: Update) -> None:
        seen.append(update)
        if not update.is_arriving:
            by_hand.stop.set()

    by_hand = ByHand(tmp_path, then)
    by_hand.run(in_chunks(np.zeros(12 * 16_000, np.float32)))
    assert by_hand.speaker.tones == [Tone.ALARM]
    assert any("muted" in trouble for trouble in seen[-1].troubles)


@pytest.mark.parametrize("is_narrow", [True, False])
def test_telephone_sound_is_told(tmp_path: Path, is_narrow: bool) -> None:
    samples = with_pauses(0.5, "six oh eight, empty.", 2.0)
    if is_narrow:
        samples = soxr.resample(soxr.resample(samples, 16_000, 8_000), 8_000, 16_000)
    listening = Listening(samples, tmp_path)
    assert listening.updates[-1].is_narrow is is_narrow
    assert any("telephone sound" in trouble for trouble in listening.updates[-1].troubles) is is_narrow


def test_lost_samples_are_counted_and_the_count_is_put_on_record(tmp_path: Path) -> None:
    reasons: list[str] = []

    def source() -> Iterator[AudioChunk]:
        for i, chunk in enumerate(in_chunks(with_pauses(2.0))):
            yield AudioChunk(chunk.samples, chunk.start_s, gap=i in (5, 9))

    def then(by_hand: ByHand, update: Update) -> None:
        if update.decision is not None:
            reasons.append(update.decision.reason)
        if not update.is_arriving:
            by_hand.stop.set()

    by_hand = ByHand(tmp_path, then)
    by_hand.run(source())
    assert reasons == ["sound was lost 2 times on its way in"]
    assert by_hand.loaded.length == 1


class Loudspeaker(RecordingSpeaker):
    """A speaker that begins a sentence after a second; it is as far as the last update says."""

    def __init__(self, sentence: Samples) -> None:
        super().__init__()
        self.sentence, self.now_s = sentence, 0.0

    def show(self, update: Update) -> None:
        self.now_s = update.now_s

    def sounding(self) -> Samples:
        return self.sentence[: max(0, round((self.now_s - 1.0) * 16_000))]


@pytest.mark.parametrize("is_own", [True, False])
def test_the_read_back_gives_way_to_the_vet_and_not_to_itself(tmp_path: Path, is_own: bool) -> None:
    heard = spoken("four one seven, in calf fifty six days, five six.")
    speaker = Loudspeaker(heard if is_own else spoken("twelve oh five, in calf eight weeks, twins."))
    record = Record.open(tmp_path / "day.db")
    day_id = record.start_day(HERD, date(2027, 2, 9), ScanKind.AGED, "", "test")
    ear = Ear(Day(HERD), load_grammar(), LISTENER, Settings())
    sound = np.concatenate([np.zeros(16_000, np.float32), heard])
    Session(ear, record, day_id, speaker).run(in_chunks(sound), speaker.show, threading.Event())
    record.close()
    assert (speaker.hushes == 0) is is_own
