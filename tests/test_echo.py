"""The read-back through a loudspeaker, heard by the microphone."""

from collections.abc import Iterator, Sequence
from functools import cache
from itertools import chain, takewhile

import numpy as np
import pytest
from scipy.signal import butter, sosfilt
from soxr import resample

from tests.fakes import Samples, in_chunks, joined
from tests.test_session import HERD, LISTENER
from voicecapture.audio import SAMPLE_RATE_HZ, AudioChunk, read_recording
from voicecapture.bars import OVER_READ_BACK
from voicecapture.day import Day, EventKind
from voicecapture.decision import Outcome
from voicecapture.demo import RECORDING
from voicecapture.ear import Ear, Heard
from voicecapture.echo import find_echo
from voicecapture.language.grammar_file import load_grammar
from voicecapture.reasons import READ_BACK
from voicecapture.settings import Settings
from voicecapture.synthesis.shed import mix, room, shed_noise
from voicecapture.typed import TYPED
from voicecapture.voice import VOICE_RATE_HZ, ReadBackVoice

SAID = "four one seven, in calf fifty six days, five six"
ASKED = "four one seven: fifty six days, five six, or sixty six days, six six?"
VOICE = ReadBackVoice()


def sentence(text: str) -> Samples:
    """A sentence of the read-back, 16 kHz."""
    return np.asarray(resample(VOICE.samples(text), VOICE_RATE_HZ, 16_000), np.float32)


def through_loudspeaker(sound: Samples, seed: int = 1, clock: float = 1.0001) -> Samples:
    """A small loudspeaker in a hard room, with a sound card whose clock is 100 ppm off."""
    small = sosfilt(butter(2, (300, 6000), "band", fs=16_000, output="sos"), sound)
    return room(np.asarray(resample(small, 16_000, 16_000 * clock), np.float32), seed)


def pause(duration_s: float) -> Samples:
    return np.zeros(round(16_000 * duration_s), np.float32)


@cache
def first_minute() -> Samples:
    return joined(takewhile(lambda chunk: chunk.start_s < 60, read_recording(RECORDING)))


def vet(first_s: float, last_s: float) -> Samples:
    """Another voice: a stretch of the demo morning's first minute."""
    return first_minute()[round(first_s * SAMPLE_RATE_HZ) : round(last_s * SAMPLE_RATE_HZ)]


def heard(samples: Samples, sounded: Sequence[Samples], typed: str = "") -> list[tuple[Heard, Day]]:
    """What an ear makes of sound while a loudspeaker has sounded something."""
    ear = Ear(Day(HERD), load_grammar(), LISTENER, Settings(), sounded=lambda: sounded)
    if typed:
        ear.read(typed, ear.day, 0.0)
    return [(one, ear.day) for one in ear.hear(in_chunks(samples))]


@pytest.mark.parametrize("text", [SAID, ASKED])
@pytest.mark.parametrize("snr_db", [None, 10, 3])
def test_the_read_back_is_found_where_it_is(text: str, snr_db: float | None) -> None:
    said = sentence(text)
    sound = np.concatenate([pause(0.7), through_loudspeaker(said), pause(0.5)])
    if snr_db is not None:
        sound = mix(sound, shed_noise(len(sound) / 16_000 + 0.1, 3)[: len(sound)], snr_db)
    echo = find_echo(sound, [sentence("six oh eight, empty"), said])
    assert echo is not None
    loud = np.flatnonzero(np.abs(said) > 0.02 * np.abs(said).max())
    assert echo.first == pytest.approx(0.7 * 16_000 + loud[0], abs=160)
    assert echo.last == pytest.approx(0.7 * 16_000 + loud[-1], abs=160)


def test_nothing_is_found_in_the_voice_of_another() -> None:
    said = [sentence(SAID), sentence(ASKED), sentence("six oh eight, empty")]
    for first_s in range(0, 60, 6):
        assert find_echo(vet(first_s, first_s + 6), said) is None


def test_nothing_is_found_without_sound() -> None:
    assert find_echo(pause(1.0), [sentence(SAID)]) is None
    assert find_echo(vet(0, 3), [pause(0.0), pause(1.0)]) is None


def test_the_read_back_is_passed_over_and_changes_nothing() -> None:
    said = sentence(SAID)
    sound = np.concatenate([pause(1.0), through_loudspeaker(said), pause(2.0)])
    results = heard(sound, [said], "417 pregnant 56 days")
    assert results and {one.decision.reason for one, _ in results} == {READ_BACK}
    day = results[-1][1]
    assert not day.questions and day.results["417"][1].heard.startswith(TYPED)


def test_without_knowing_what_was_sounded_it_would_have_been_taken_for_the_vet() -> None:
    """So the test before this one tests something."""
    sound = np.concatenate([pause(1.0), through_loudspeaker(sentence("four one seven, empty")), pause(2.0)])
    assert any(one.decision.event.entry is not None for one, _ in heard(sound, []))


def test_a_question_read_aloud_does_not_answer_itself() -> None:
    asked = sentence(ASKED)
    sound = np.concatenate([pause(1.0), through_loudspeaker(asked), pause(2.0)])
    results = heard(sound, [asked])
    assert results and all(one.decision.outcome is Outcome.IGNORED for one, _ in results)


def test_words_over_the_read_back_are_only_asked() -> None:
    """The vet goes on with the next cow while the loudspeaker still speaks."""
    said = sentence(SAID)
    speech = _first_entry()
    read_back = np.concatenate([pause(1.0), 0.3 * through_loudspeaker(said)])
    sound = np.concatenate([read_back, pause(len(speech) / 16_000 + 2.0)])
    begins = len(read_back) - 9600
    sound[begins : begins + len(speech)] += speech
    results = heard(sound, [said], "608 empty")
    events = [one.decision.event for one, _ in results]
    assert any(event.kind is EventKind.QUESTION and event.reason == OVER_READ_BACK for event in events)
    assert not any(event.kind is EventKind.ACCEPTED for event in events)


def test_with_an_earpiece_words_during_the_read_back_are_taken_as_ever() -> None:
    speech = np.concatenate([pause(1.0), _first_entry(), pause(2.0)])
    with_read_back, without = heard(speech, [sentence(SAID)]), heard(speech, [])
    assert [one.decision for one, _ in with_read_back] == [one.decision for one, _ in without]
    assert without[0][0].decision.outcome is not Outcome.IGNORED


def _first_entry() -> Samples:
    """The first utterance of the demo morning that is an entry."""
    ear = Ear(Day(HERD), load_grammar(), LISTENER, Settings())
    opening: Iterator[AudioChunk] = chain(c for c in read_recording(RECORDING) if c.start_s < 30)
    for one in ear.hear(opening):
        if one.decision.event.entry is not None and one.decision.event.entry.is_whole:
            return one.utterance.samples
    raise AssertionError("no entry in half a minute of the demo morning")
