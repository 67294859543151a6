"""From sound to utterances."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from tests.fakes import Samples, in_chunks, spoken, with_pauses
from voicecapture.audio import AudioChunk
from voicecapture.bars import TOO_LOUD, DecisionSettings, distrust
from voicecapture.errors import AudioError
from voicecapture.segmenter import SegmenterSettings, Utterance, _pre_roll, segment
from voicecapture.synthesis.shed import mix, shed_noise

SETTINGS = SegmenterSettings()


def cut(samples: Samples, is_whole: bool = True, settings: SegmenterSettings = SETTINGS) -> list[Utterance]:
    return list(segment(in_chunks(samples), due(is_whole, settings), settings))


def due(is_whole: bool, settings: SegmenterSettings = SETTINGS) -> Callable[[Utterance], float]:
    return lambda utterance: settings.end_pause_ms if is_whole else settings.long_pause_ms


def test_the_first_sound_is_never_cut() -> None:
    (utterance,) = cut(with_pauses(1.0, "four one seven, empty.", 1.0))
    first_s = 1.0 + np.flatnonzero(np.abs(spoken("four one seven, empty.")) > 0.01)[0] / 16_000
    assert first_s - 0.5 < utterance.start_s <= first_s - 0.1


@pytest.mark.parametrize(
    ("probabilities", "kept"),
    [
        ([0.0] * 40, 10),  # 10 chunks are 320 ms
        ([0.0] * 20 + [0.2] * 20, 30),
        ([0.0] * 20 + [0.2] + [0.0] * 9 + [0.2] * 10, 30),
        ([0.2] + [0.0] * 29 + [0.2] * 10, 20),
        ([0.2] * 40, 40),
    ],
)
def test_a_first_word_that_the_detector_only_suspects_is_kept(probabilities: list[float], kept: int) -> None:
    before = list(zip(in_chunks(np.zeros(512 * 40, np.float32)), probabilities, strict=True))
    assert _pre_roll(before, SETTINGS) == before[40 - kept :]


def test_the_last_sound_is_never_cut() -> None:
    words = spoken("four one seven, empty.")
    (utterance,) = cut(with_pauses(1.0, "four one seven, empty.", 1.5))
    last_s = 1.0 + np.flatnonzero(np.abs(words) > 0.01)[-1] / 16_000
    assert last_s <= utterance.end_s < last_s + 1.0


def test_silence_and_hum_are_no_utterance() -> None:
    hum = 0.05 * np.sin(2 * np.pi * 50 * np.arange(48_000) / 16_000).astype(np.float32)
    assert cut(np.zeros(48_000, np.float32)) == []
    assert cut(hum) == []


@pytest.mark.parametrize("is_whole", [True, False])
def test_entries_in_unbroken_shed_noise_come_out_whole_and_one_by_one(is_whole: bool) -> None:
    """The recordings in audio_fixtures have less silence around them than the pre-roll: they cannot show this."""
    entries = ("four one seven, empty.", "six oh eight, pregnant.")
    quiet = with_pauses(3.0, entries[0], 2.5, entries[1], 2.5)
    utterances = cut(mix(quiet, shed_noise(len(quiet) / 16_000, seed=1), snr_db=5), is_whole)
    assert len(utterances) == 2
    starts_s = (3.0, 3.0 + len(spoken(entries[0])) / 16_000 + 2.5)
    for utterance, entry, start_s in zip(utterances, entries, starts_s, strict=True):
        sounding_s = start_s + np.flatnonzero(np.abs(spoken(entry)) > 0.01)[[0, -1]] / 16_000
        assert sounding_s[0] - 1.0 < utterance.start_s < sounding_s[0]
        assert sounding_s[1] < utterance.end_s < sounding_s[1] + 1.0


def test_a_short_pause_parts_whole_entries_only() -> None:
    samples = with_pauses(0.5, "four one seven.", 0.2, "pregnant fifty six days.", 2.0)
    assert len(cut(samples, is_whole=True)) == 2
    (whole,) = cut(samples, is_whole=False)
    assert whole.end_s - whole.start_s > 2.0


def test_a_long_pause_parts_everything() -> None:
    assert len(cut(with_pauses(0.5, "four one seven.", 2.0, "empty.", 1.0), is_whole=False)) == 2


def test_the_end_of_the_source_ends_the_utterance() -> None:
    assert len(cut(with_pauses(0.5, "four one seven, empty."))) == 1


def test_the_cap_loses_no_sound() -> None:
    samples = with_pauses(0.5, *(["one two three four five six seven eight nine"] * 4), 1.0)
    utterances = cut(samples, is_whole=False, settings=SegmenterSettings(cap_s=2.0, tail_ms=450))
    assert len(utterances) > 3
    for earlier, later in pairwise(utterances):
        assert later.start_s == pytest.approx(earlier.end_s, abs=1e-9)
    start = round(utterances[0].start_s * 16_000)
    heard = np.concatenate([utterance.samples for utterance in utterances])
    assert np.array_equal(heard, samples[start : start + len(heard)])


def test_the_rest_of_a_word_after_the_cap_is_kept_however_short() -> None:
    words = with_pauses(0.5, "four one seven, empty.", 1.0)
    (whole,) = cut(words)
    speech_s = whole.end_s - whole.start_s - SETTINGS.tail_ms / 1000
    first, rest = cut(words, settings=SegmenterSettings(cap_s=speech_s - 0.04))
    assert rest.start_s == pytest.approx(first.end_s)
    assert rest.end_s == pytest.approx(whole.end_s)
    assert (whole.is_cut, first.is_cut, rest.is_cut) == (False, True, True)


def test_each_pause_is_asked_about_once_and_what_was_asked_about_is_what_ends() -> None:
    asked: list[Utterance] = []

    def due_pause_ms(utterance: Utterance) -> float:
        asked.append(utterance)
        return SETTINGS.long_pause_ms if len(asked) == 1 else SETTINGS.end_pause_ms

    samples = with_pauses(0.5, "four one seven.", 0.4, "pregnant fifty six days.", 2.0)
    (utterance,) = segment(in_chunks(samples), due_pause_ms)
    assert len(asked) == 2 and asked[1].samples is utterance.samples
    assert asked[0].end_s < utterance.end_s - 1.0


def end_s(samples: Samples, due_ms: float) -> float:
    """When the first utterance comes out, on the audio clock."""
    came_s: list[float] = []
    chunks = segment(in_chunks(samples), lambda _: due_ms, SETTINGS, lambda chunk, _: came_s.append(chunk.start_s))
    next(chunks)
    return came_s[-1]


def test_an_utterance_ends_as_early_as_it_was_said_to() -> None:
    samples = with_pauses(0.5, "four one seven, empty.", 2.0)
    pauses_ms = (SETTINGS.early_pause_ms, SETTINGS.end_pause_ms, SETTINGS.long_pause_ms)
    ends_s = [end_s(samples, pause_ms) for pause_ms in pauses_ms]
    assert ends_s[1] - ends_s[0] == pytest.approx(0.13, abs=0.04)
    assert ends_s[2] - ends_s[1] == pytest.approx(0.85, abs=0.04)


def test_what_was_said_so_far_is_told_while_it_is_said() -> None:
    told: list[Samples] = []
    samples = with_pauses(0.5, "four one seven, pregnant fifty six days.", 1.0)
    (utterance,) = segment(in_chunks(samples), due(True), SETTINGS, on_speech=told.append)
    assert len(told) >= 3
    for so_far in told:
        assert np.array_equal(so_far, utterance.samples[: len(so_far)])


def test_what_was_being_said_when_the_source_failed_is_still_heard() -> None:
    def source() -> Iterator[AudioChunk]:
        yield from in_chunks(with_pauses(0.5, "four one seven, empty."))
        raise AudioError("the microphone: delivers nothing any more.")

    utterances = []
    with pytest.raises(AudioError, match="delivers nothing"):
        for utterance in segment(source(), due(True)):
            utterances.append(utterance)
    assert len(utterances) == 1


def test_lost_samples_mark_the_utterance_that_they_are_missing_from() -> None:
    words = with_pauses(0.5, "four one seven, empty.", 1.5, "four one eight, empty.", 1.0)
    chunks = [replace(chunk, gap=1.0 <= chunk.start_s < 1.032) for chunk in in_chunks(words)]
    assert [utterance.has_gap for utterance in segment(chunks, due(True))] == [True, False]


@pytest.mark.parametrize("after_s", [0.05, 0.3])
def test_samples_lost_in_the_pause_that_ends_an_utterance_may_have_been_its_last_words(after_s: float) -> None:
    words = with_pauses(0.5, "four one seven, eight weeks.", 1.5)
    (whole,) = cut(words)
    lost_s = whole.end_s - SETTINGS.tail_ms / 1000 + after_s
    chunks = [replace(chunk, gap=lost_s <= chunk.start_s < lost_s + 0.06) for chunk in in_chunks(words)]
    (utterance,) = segment(chunks, due(True))
    assert utterance.has_gap and not whole.has_gap


def test_the_samples_are_those_of_the_source() -> None:
    samples = with_pauses(0.5, "four one seven, empty.", 1.0)
    (utterance,) = cut(samples)
    start = round(utterance.start_s * 16_000)
    assert np.array_equal(utterance.samples, samples[start : start + len(utterance.samples)])
    assert utterance.end_s == pytest.approx(utterance.start_s + len(utterance.samples) / 16_000)


def test_clipping_is_noticed() -> None:
    samples = with_pauses(0.5, "four one seven, empty.", 1.0)
    assert not cut(samples)[0].is_clipped
    assert cut(np.clip(samples * 20, -1, 1))[0].is_clipped


def test_more_noise_is_a_lower_ratio() -> None:
    samples = with_pauses(1.0, "four one seven, pregnant fifty six days.", 1.0)
    noise = np.random.default_rng(1).standard_normal(len(samples)).astype(np.float32)
    ratios = [cut(samples + level * noise)[0].snr_db for level in (0.0003, 0.003, 0.01)]
    assert ratios[0] > ratios[1] > ratios[2]


def test_noise_as_loud_as_the_voice_is_too_loud_to_trust_and_a_voice_5_db_louder_is_not() -> None:
    samples = with_pauses(4.0, "four one seven, pregnant fifty six days.", 1.0)
    sheds = [shed_noise(12, seed) for seed in range(600, 606)]
    distrusted = {
        snr_db: [distrust(u, DecisionSettings()) for shed in sheds for u in cut(mix(samples, shed, snr_db))]
        for snr_db in (0.0, 5.0)
    }
    assert distrusted[0.0].count(TOO_LOUD) >= 5 and not any(distrusted[5.0])
    assert len(distrusted[5.0]) == len(sheds)


def test_every_chunk_is_told_with_its_speech_probability() -> None:
    told: list[float] = []
    samples = with_pauses(1.0, "four one seven, empty.", 1.0)
    list(segment(in_chunks(samples), due(True), SETTINGS, lambda chunk, speech: told.append(speech)))
    assert len(told) == -(-len(samples) // 512)
    assert max(told) > 0.9 and min(told) < 0.1
