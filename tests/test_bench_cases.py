"""Which recording is heard in which noise, and its sound."""

from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.bench_trials import recording
from tests.fakes import spoken
from voicecapture.audio import is_narrow_band
from voicecapture.bench.cases import (
    SHEDS,
    Case,
    as_they_are,
    conditions_in_order,
    in_turns,
    mixed,
    shed_noise_cases,
)
from voicecapture.bench.mixing import sound
from voicecapture.errors import AudioError
from voicecapture.synthesis.shed import active_speech

CLEAN, NOISY, YARD = recording(), recording(snr_db=10, noise="shed 7"), recording(noise="yard")


def test_a_condition_is_the_ratio_that_is_known() -> None:
    assert [case.condition for case in as_they_are([CLEAN, NOISY, YARD])] == ["clean", "10 dB", "as recorded"]
    assert Case(CLEAN, 0, 7.5).condition == "7.5 dB"


def test_only_clean_recordings_are_mixed() -> None:
    cases = mixed([CLEAN, NOISY, YARD, CLEAN], [None, 10.0])
    assert [(case.number, case.condition) for case in cases] == [
        *((0, "clean"), (1, "clean")),
        *((0, "10 dB"), (1, "10 dB")),
    ]
    with pytest.raises(AudioError, match="no recording is clean"):
        mixed([NOISY], [10.0])


def test_a_recording_meets_the_same_shed_at_every_ratio_and_voices_meet_all_sheds() -> None:
    voices = [f"voice {n}" for n in range(7)]
    rows = [recording(voice=voices[n % 7]) for n in range(7 * SHEDS)]
    cases = mixed(rows, [20.0, 0.0])
    assert {case.noise for case in cases if case.number == 5} == {"shed 6"}
    assert len({(case.recording.voice, case.noise) for case in cases}) == 7 * SHEDS


def test_recordings_mixed_several_times_meet_another_shed_each_time_and_are_heard_clean_once() -> None:
    rows = [recording(voice=f"voice {n % 7}") for n in range(2 * SHEDS)]
    cases = mixed(rows, [None, 10.0], [10.0], draws=3)
    assert Counter(case.condition for case in cases) == {"clean": 24, "10 dB": 72, "10 dB, 8 kHz": 72}
    for condition in ("10 dB", "10 dB, 8 kHz"):
        met = [(case.recording.voice, case.noise) for case in cases if case.condition == condition][::24]
        assert len(set(met)) == 3
    assert {case.noise for case in cases if case.mixed_db} == {f"shed {n + 1}" for n in range(SHEDS)}


def test_conditions_go_from_clean_to_loud() -> None:
    assert conditions_in_order(["0 dB", "as recorded", "5 dB", "20 dB", "clean", "5 dB", "-5 dB"]) == [
        *("clean", "20 dB", "5 dB", "0 dB", "-5 dB", "as recorded")
    ]


def test_every_beginning_is_a_stratified_sample() -> None:
    rows = [recording(voice=f"voice {n % 5}") for n in range(100)]
    rows += [replace(CLEAN, kind="talk", voice=f"voice {n % 5}") for n in range(20)]
    ordered = in_turns(mixed(rows, [None, 10.0]))
    assert Counter(ordered) == Counter(mixed(rows, [None, 10.0]))
    sample = ordered[:60]
    assert Counter((case.condition, case.recording.kind) for case in sample) == {
        **{("clean", "entry"): 25, ("10 dB", "entry"): 25},
        **{("clean", "talk"): 5, ("10 dB", "talk"): 5},
    }
    by_voice = Counter(case.recording.voice for case in sample if case.recording.kind == "entry")
    assert set(by_voice.values()) == {10}


def test_the_order_is_the_same_each_time() -> None:
    cases = mixed([CLEAN] * 30, [10.0])
    assert in_turns(cases) == in_turns(cases) != cases


@pytest.fixture
def clean(tmp_path: Path) -> Case:
    file = tmp_path / "a.wav"
    soundfile.write(file, spoken("four one seven, empty."), 16_000)
    return Case(replace(CLEAN, file=file), 3)


def test_a_clean_recording_is_followed_by_a_pause(clean: Case) -> None:
    samples = sound(clean)
    assert len(samples) >= len(spoken("four one seven, empty.")) + 1.4 * 16_000
    assert not samples[-16_000:].any()


def test_a_recording_with_noise_of_its_own_is_heard_as_it_is(clean: Case) -> None:
    noisy = replace(clean, recording=replace(clean.recording, noise="yard"))
    assert len(sound(noisy)) - len(spoken("four one seven, empty.")) < 512


def test_mixing_is_repeatable_and_louder_noise_is_louder(clean: Case) -> None:
    quiet, loud = replace(clean, mixed_db=20.0), replace(clean, mixed_db=0.0)
    assert np.array_equal(sound(loud), sound(loud))
    pauses = ~active_speech(sound(quiet))
    assert np.std(sound(loud)[pauses]) > 3 * np.std(sound(quiet)[pauses])


def test_a_recording_without_speech_is_named(tmp_path: Path) -> None:
    file = tmp_path / "silent.wav"
    soundfile.write(file, np.zeros(16_000), 16_000)
    with pytest.raises(AudioError, match=r"silent\.wav: "):
        sound(Case(replace(CLEAN, file=file), 0, 10.0))


def test_an_hour_of_noise_comes_from_sixty_sheds() -> None:
    cases = shed_noise_cases(1.0)
    assert len({case.noise for case in cases}) == 60
    assert not np.array_equal(sound(cases[0]), sound(cases[1]))


def test_a_line_of_8_khz_leaves_nothing_above_4_khz(clean: Case) -> None:
    wide = replace(clean, mixed_db=10.0)
    narrow = replace(wide, is_narrow=True)
    assert len(sound(narrow)) == len(sound(wide))
    assert is_narrow_band(sound(narrow)) and not is_narrow_band(sound(wide))
    conditions = [case.condition for case in mixed([clean.recording], [None, 5.0, 10.0], [10.0])]
    assert conditions_in_order(conditions) == ["clean", "10 dB", "10 dB, 8 kHz", "5 dB"]
