"""Sound out."""

import threading
from pathlib import Path

import numpy as np
import pytest
import soundfile

from voicecapture.errors import AudioError
from voicecapture.speaker import VOICE_RATE_HZ, FileSpeaker, HibariVoice, SoundCardSpeaker, Tone, tone_samples


@pytest.fixture(scope="module")
def voice() -> HibariVoice:
    return HibariVoice()


def test_a_file_takes_all_that_is_said(tmp_path: Path, voice: HibariVoice) -> None:
    speaker = FileSpeaker(tmp_path / "said.wav", voice)
    speaker.tone(Tone.SAVED)
    speaker.say("four one seven, empty")
    speaker.close()
    samples, rate_hz = soundfile.read(tmp_path / "said.wav")
    assert rate_hz == VOICE_RATE_HZ
    assert len(samples) == len(tone_samples(Tone.SAVED)) + len(voice.samples("four one seven, empty"))


def test_an_unwritable_file_is_one_sentence(tmp_path: Path, voice: HibariVoice) -> None:
    with pytest.raises(AudioError, match="cannot be written"):
        FileSpeaker(tmp_path / "none" / "said.wav", voice)


def test_the_voice_speaks_at_a_moderate_level_and_the_same_each_time(voice: HibariVoice) -> None:
    spoken = voice.samples("fifty six days, five six")
    assert 1.0 < len(spoken) / VOICE_RATE_HZ < 4.0
    assert 0.05 < np.abs(spoken).max() <= 0.301
    assert np.array_equal(spoken, HibariVoice().samples("fifty six days, five six"))


def test_tones_are_short_moderate_and_differ(voice: HibariVoice) -> None:
    loudest = set()
    for tone in Tone:
        samples = tone_samples(tone)
        assert len(samples) <= 0.2 * VOICE_RATE_HZ and np.abs(samples).max() <= 0.3
        assert abs(samples[0]) < 0.01 and abs(samples[-1]) < 0.01
        loudest.add((int(np.argmax(np.abs(np.fft.rfft(samples, VOICE_RATE_HZ)))), len(samples)))
    assert len(loudest) == len(Tone)


def test_a_missing_sound_card_is_told_and_stops_nothing(voice: HibariVoice) -> None:
    speaker = SoundCardSpeaker(voice, device="no such loudspeaker")
    speaker.say("four one seven")
    speaker.hush()
    speaker.close()
    assert speaker.failure is not None and "no read-back" in speaker.failure
    assert not any(thread.name == "read-back" and thread.is_alive() for thread in threading.enumerate())
