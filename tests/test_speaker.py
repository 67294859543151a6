"""Sound out."""

import sys
import threading
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any, Self

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from voicecapture.errors import AudioError
from voicecapture.speaker import FileSpeaker, SoundCardSpeaker, Tone, tone_samples
from voicecapture.voice import VOICE_RATE_HZ, ReadBackVoice

LEAD_IN = round(0.05 * VOICE_RATE_HZ)
"""Samples of silence before each sound."""


@pytest.fixture(scope="module")
def voice() -> ReadBackVoice:
    return ReadBackVoice()


def test_a_file_takes_all_that_is_said(tmp_path: Path, voice: ReadBackVoice) -> None:
    speaker = FileSpeaker(tmp_path / "said.wav", voice)
    speaker.tone(Tone.SAVED)
    speaker.say("four one seven, empty")
    speaker.close()
    samples, rate_hz = soundfile.read(tmp_path / "said.wav")
    assert rate_hz == VOICE_RATE_HZ
    expected = np.concatenate([tone_samples(Tone.SAVED), voice.samples("four one seven, empty")])
    assert samples == pytest.approx(expected, abs=1e-4)


def test_an_unwritable_file_is_one_sentence(tmp_path: Path, voice: ReadBackVoice) -> None:
    with pytest.raises(AudioError, match="cannot be written"):
        FileSpeaker(tmp_path / "none" / "said.wav", voice)


def test_the_voice_speaks_at_a_moderate_level_and_the_same_each_time(voice: ReadBackVoice) -> None:
    spoken = voice.samples("fifty six days, five six")
    assert 1.0 < len(spoken) / VOICE_RATE_HZ < 4.0
    assert 0.05 < np.abs(spoken).max() <= 0.301
    assert np.array_equal(spoken, ReadBackVoice().samples("fifty six days, five six"))


def test_a_sentence_begins_at_once(voice: ReadBackVoice) -> None:
    for sentence in ("four one seven, empty", "six oh eight, in calf fifty six days, five six"):
        spoken = np.abs(voice.samples(sentence))
        assert np.flatnonzero(spoken > 0.02 * spoken.max())[0] < 0.05 * VOICE_RATE_HZ


def test_tones_are_short_moderate_and_differ(voice: ReadBackVoice) -> None:
    loudest = set()
    for tone in Tone:
        samples = tone_samples(tone)
        assert len(samples) <= 0.2 * VOICE_RATE_HZ and np.abs(samples).max() <= 0.3
        assert abs(samples[0]) < 0.01 and abs(samples[-1]) < 0.01
        loudest.add((int(np.argmax(np.abs(np.fft.rfft(samples, VOICE_RATE_HZ)))), len(samples)))
    assert len(loudest) == len(Tone)


def test_a_missing_sound_card_is_told_and_stops_nothing(voice: ReadBackVoice) -> None:
    speaker = SoundCardSpeaker(voice, device="no such loudspeaker")
    speaker.say("four one seven")
    speaker.hush()
    speaker.close()
    assert speaker.failure is not None and "no read-back" in speaker.failure
    assert not any(thread.name == "read-back" and thread.is_alive() for thread in threading.enumerate())


class Card:
    """A sound card that takes sound at once; `on_write` is called after each block."""

    samplerate = 48_000.0

    def __init__(self) -> None:
        self.played: list[NDArray[np.float32]] = []
        self.on_write: Callable[[], None] = lambda: None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None: ...

    def write(self, block: NDArray[np.float32]) -> None:
        self.played.append(block[:, 0])
        self.on_write()

    def start(self) -> None: ...


@pytest.fixture
def card(monkeypatch: pytest.MonkeyPatch) -> Card:
    card = Card()

    class SoundDevice(ModuleType):
        def query_devices(self, device: str | int | None, kind: str) -> dict[str, Any]:
            return {"default_samplerate": card.samplerate}

        def OutputStream(self, *_: object, **__: object) -> Card:
            return card

        def _terminate(self) -> None: ...

        def _initialize(self) -> None: ...

    monkeypatch.setitem(sys.modules, "sounddevice", SoundDevice("sounddevice"))
    return card


def test_a_sentence_is_played_whole_at_the_rate_of_the_card(voice: ReadBackVoice, card: Card) -> None:
    speaker = SoundCardSpeaker(voice)
    speaker.tone(Tone.SAVED)
    speaker.say("four one seven, empty")
    speaker.close()
    said = len(tone_samples(Tone.SAVED)) + len(voice.samples("four one seven, empty")) + LEAD_IN
    assert sum(map(len, card.played)) == pytest.approx(2 * said, abs=4)
    assert speaker.failure is None


def test_a_sound_begins_after_silence_that_an_empty_card_may_swallow(voice: ReadBackVoice, card: Card) -> None:
    """A card that ran empty loses the first 16 ms of what comes next (measured on a PulseAudio sink)."""
    speaker = SoundCardSpeaker(voice)
    speaker.tone(Tone.SAVED)
    speaker.close()
    played = np.concatenate(card.played)
    first = np.flatnonzero(played)[0]
    assert first / card.samplerate == pytest.approx(0.05, abs=0.001)
    assert len(played) - first == pytest.approx(2 * len(tone_samples(Tone.SAVED)), abs=4)


def test_the_voice_stops_when_the_vet_speaks_and_drops_what_waits(voice: ReadBackVoice, card: Card) -> None:
    ordered = threading.Event()
    speaker = SoundCardSpeaker(voice)

    def vet_speaks_after_a_quarter_second() -> None:
        ordered.wait()
        if len(card.played) == 5:
            speaker.hush()

    card.on_write = vet_speaks_after_a_quarter_second
    speaker.say("four one seven, pregnant fifty six days")
    speaker.say("four one eight, empty")
    ordered.set()
    speaker.close()
    assert len(card.played) == 5


def test_the_voice_speaks_again_after_it_was_hushed(voice: ReadBackVoice, card: Card) -> None:
    speaker = SoundCardSpeaker(voice)
    speaker.hush()
    speaker.tone(Tone.QUESTION)
    speaker.close()
    assert sum(map(len, card.played)) == pytest.approx(2 * (len(tone_samples(Tone.QUESTION)) + LEAD_IN), abs=4)


def test_what_a_card_broke_off_is_sounded_when_it_is_back(voice: ReadBackVoice, card: Card) -> None:
    alarm = 2 * (len(tone_samples(Tone.ALARM)) + LEAD_IN)
    lost_at_block = 2

    def goes_for_a_moment() -> None:
        if len(card.played) == lost_at_block:
            raise OSError("Unanticipated host error [PaErrorCode -9999]")

    card.on_write = goes_for_a_moment
    speaker = SoundCardSpeaker(voice)
    speaker.tone(Tone.ALARM)
    speaker.close()
    broken_off = sum(map(len, card.played[:lost_at_block]))
    assert sum(map(len, card.played)) - broken_off == pytest.approx(alarm, abs=4)
    assert speaker.failure is None


def test_phrases_said_before_are_not_spoken_anew(voice: ReadBackVoice) -> None:
    assert voice.samples("four one seven") is voice.samples("four one seven")
