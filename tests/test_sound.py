"""The sound in words."""

from dataclasses import replace

import pytest

from voicecapture.bars import DecisionSettings
from voicecapture.day import Day, Event, EventKind
from voicecapture.herd import Herd
from voicecapture.sound import level_words, listening_words, meter, trust_words
from voicecapture.update import Update

QUIET_ROOM = Update(Day(Herd()), None, 10.0, -30.0, -55.0, False, "", voice_dbfs=-25.0, snr_db=20.0)
BARS = DecisionSettings()


@pytest.mark.parametrize(
    ("level_dbfs", "bar"), [(-120, "····"), (-60, "····"), (-30, "■■··"), (0, "■■■■"), (3, "■■■■")]
)
def test_the_meter_runs_from_60_dB_below_full_scale(level_dbfs: float, bar: str) -> None:
    assert meter(level_dbfs, 4) == bar


@pytest.mark.parametrize(
    ("snr_db", "words"),
    [
        (None, "not judged yet"),
        (BARS.least_snr_db - 0.1, "too loud to trust"),
        (BARS.least_snr_db, "loud, speak up"),
        (20.0, "good"),
    ],
)
def test_trust_goes_by_the_bar_below_which_everything_is_asked(snr_db: float | None, words: str) -> None:
    assert trust_words(snr_db, BARS) == words


def test_a_good_microphone_needs_no_word() -> None:
    assert level_words(QUIET_ROOM) == ""


def test_each_fault_of_the_sound_has_its_word() -> None:
    assert level_words(replace(QUIET_ROOM, has_gap=True, is_clipped=True)) == "some sound was lost"
    assert level_words(replace(QUIET_ROOM, is_clipped=True)).startswith("overdriven")
    assert level_words(replace(QUIET_ROOM, noise_dbfs=-100.0)).startswith("silent")
    assert level_words(replace(QUIET_ROOM, voice_dbfs=-58.0)).startswith("too quiet")


def test_not_listening_is_told_with_its_reason() -> None:
    stopped = Day(Herd()).after(Event(EventKind.COMMAND, 1.0, 1, reason="stop"))
    assert listening_words(QUIET_ROOM) == "listening"
    assert listening_words(replace(QUIET_ROOM, is_speech=True)) == "hearing a voice"
    assert listening_words(replace(QUIET_ROOM, day=stopped)) == "not listening: told to stop"
    assert listening_words(replace(QUIET_ROOM, is_arriving=False)) == "not listening: no sound"
