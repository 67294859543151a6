"""Milking-shed noise, echo, and speech mixed into them."""

import numpy as np
import pytest
from scipy.signal import butter, sosfilt, welch

from voicecapture.errors import AudioError
from voicecapture.synthesis.shed import SAMPLE_RATE_HZ, Samples, active_speech_level_db, mix, room, shed_noise


def _bursts(on_s: float, off_s: float, times: int, amplitude: float = 0.1) -> tuple[Samples, np.ndarray]:
    """Tone bursts that stand for words, and where they are on."""
    on, off = int(on_s * SAMPLE_RATE_HZ), int(off_s * SAMPLE_RATE_HZ)
    is_on = np.tile(np.r_[np.zeros(off), np.ones(on)], times).astype(bool)
    tone = amplitude * np.sin(2 * np.pi * 440 * np.arange(len(is_on)) / SAMPLE_RATE_HZ)
    return np.asarray(tone * is_on, dtype=np.float32), is_on


def _level_db(samples: np.ndarray) -> float:
    return float(10 * np.log10(np.mean(np.square(samples, dtype=np.float64))))


def _parts(mixed: Samples, speech: Samples, noise: Samples) -> tuple[np.ndarray, np.ndarray]:
    """Speech and noise as they are in the mix, found by least squares."""
    sources = np.stack([speech, noise], axis=1).astype(np.float64)
    gains, *_ = np.linalg.lstsq(sources, mixed.astype(np.float64), rcond=None)
    return sources[:, 0] * gains[0], sources[:, 1] * gains[1]


def test_active_level_leaves_long_pauses_out() -> None:
    """A tone of amplitude 0.1 has -23.01 dB re full scale (0.1 squared, halved); one second in four is on."""
    speech, _ = _bursts(on_s=1.0, off_s=3.0, times=5)
    # The hangover of 0.2 s after each burst counts as active too: 10 log10(1.2 / 1) = 0.8 dB.
    assert active_speech_level_db(speech) == pytest.approx(-23.01, abs=1.0)
    assert _level_db(speech) < -28


def test_active_level_follows_the_gain() -> None:
    speech, _ = _bursts(on_s=0.4, off_s=0.5, times=6)
    assert active_speech_level_db(speech) - active_speech_level_db(speech * np.float32(0.1)) == pytest.approx(
        20, abs=0.05
    )


@pytest.mark.parametrize("samples", [np.zeros(16_000), np.eye(1, 16_000, 8_000)[0]], ids=["silence", "click"])
def test_active_level_of_nothing_is_an_error(samples: np.ndarray) -> None:
    with pytest.raises(AudioError, match="expected speech"):
        active_speech_level_db(samples.astype(np.float32))


@pytest.mark.parametrize("snr_db", [20.0, 10.0, 5.0, -3.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_mix_has_the_ratio_asked_for(snr_db: float, seed: int) -> None:
    """Measured where the bursts are known to be on, not by the function that made the mix."""
    speech, is_on = _bursts(on_s=1.5, off_s=0.5, times=5)
    noise = shed_noise(len(speech) / SAMPLE_RATE_HZ, seed)
    heard_speech, heard_noise = _parts(mix(speech, noise, snr_db), speech, noise)
    measured_db = _level_db(heard_speech[is_on]) - _level_db(heard_noise[is_on])
    # The hangover makes 1.7 s of each 1.5 s active, which lowers the speech by 10 log10(1.7 / 1.5) = 0.54 dB.
    assert measured_db - 0.54 == pytest.approx(snr_db, abs=0.5)


def test_mix_does_not_clip_and_does_not_depend_on_the_level_given() -> None:
    speech, _ = _bursts(on_s=0.5, off_s=0.3, times=4)
    noise = shed_noise(len(speech) / SAMPLE_RATE_HZ, 4)
    loud, quiet = mix(speech * np.float32(9), noise, -20), mix(speech, noise * np.float32(0.1), -20)
    assert np.max(np.abs(loud)) <= 0.99
    assert loud.dtype == np.float32
    np.testing.assert_allclose(loud, quiet, atol=1e-5)


def test_mix_refuses_noise_that_is_too_short() -> None:
    speech, _ = _bursts(on_s=0.5, off_s=0.3, times=4)
    with pytest.raises(AudioError, match="Make it longer"):
        mix(speech, shed_noise(1.0, 4), 10)


@pytest.mark.parametrize("seed", range(3))
def test_hum_is_a_line_near_the_mains_frequency(seed: int) -> None:
    """Mains is 50 Hz in most of the world; the line stands 10 dB above what is beside it."""
    frequency_hz, power = welch(shed_noise(30, seed), SAMPLE_RATE_HZ, nperseg=32_768)
    near = (frequency_hz > 48.5) & (frequency_hz < 51.5)
    beside = ((frequency_hz > 35) & (frequency_hz < 46)) | ((frequency_hz > 54) & (frequency_hz < 65))
    assert np.max(power[near]) > 10 * np.median(power[beside])


@pytest.mark.parametrize("seed", range(3))
def test_pulsators_beat_once_a_second(seed: int) -> None:
    """Pulsators commonly run at 60 cycles a minute: the hiss grows and fades at 1 Hz."""
    hiss = sosfilt(butter(4, [2000, 6000], "bandpass", fs=SAMPLE_RATE_HZ, output="sos"), shed_noise(60, seed))
    envelope = np.abs(hiss).reshape(-1, SAMPLE_RATE_HZ // 50).mean(axis=1)
    # The logarithm keeps single clanks from drowning what repeats.
    frequency_hz, power = welch(np.log(envelope), 50, nperseg=2_000)
    band = (frequency_hz > 0.5) & (frequency_hz < 1.5)
    strongest_hz = frequency_hz[band][np.argmax(power[band])]
    assert 0.95 <= strongest_hz <= 1.05
    assert np.max(power[band]) > 5 * np.median(power[band])


def test_a_seed_chooses_the_noise() -> None:
    np.testing.assert_array_equal(shed_noise(2, 5), shed_noise(2, 5))
    assert np.corrcoef(shed_noise(2, 5), shed_noise(2, 6))[0, 1] < 0.5


def test_noise_has_the_length_and_level_promised() -> None:
    noise = shed_noise(2.5, 8)
    assert noise.shape == (40_000,)
    assert noise.dtype == np.float32
    assert _level_db(noise) == pytest.approx(-26, abs=0.01)
    assert np.max(np.abs(noise)) < 1


def test_room_adds_a_dying_echo_after_the_sound_only() -> None:
    click = np.zeros(SAMPLE_RATE_HZ, dtype=np.float32)
    click[1000] = 1
    echo = room(click, 3)
    assert echo.shape == click.shape
    np.testing.assert_allclose(echo[:1000], 0, atol=1e-6)
    assert echo[1000] == pytest.approx(1, abs=1e-3)
    early, late = echo[1001:3000], echo[5400:7400]
    assert np.sum(early**2) > 4 * np.sum(late**2) > 0
    np.testing.assert_array_equal(echo, room(click, 3))


def _added_by_the_yard(seed: int) -> tuple[Samples, Samples]:
    """A minute of a shed, at the level it has in the yard's noise, and what the yard adds to it."""
    plain, yard = shed_noise(60.0, seed), shed_noise(60.0, seed, has_yard=True)
    shed = plain * np.dot(plain, yard) / np.dot(plain, plain)
    return shed, yard - shed


@pytest.mark.parametrize("seed", [3, 6, 7])
def test_dogs_and_music_come_on_top_of_the_same_shed(seed: int) -> None:
    shed, added = _added_by_the_yard(seed)
    # What is added is not in the plain noise, and does not drown the shed.
    assert 0.1 < np.std(added) / np.std(shed) < 1.5
    assert abs(np.corrcoef(shed, added)[0, 1]) < 0.05


@pytest.mark.parametrize("seed", [3, 6, 7])
def test_dogs_bark_now_and_then_and_music_has_a_beat(seed: int) -> None:
    _, added = _added_by_the_yard(seed)
    level = np.sqrt(np.mean(added.reshape(-1, SAMPLE_RATE_HZ // 100) ** 2, axis=1))
    assert 0 < np.mean(level > 3 * np.median(level)) < 0.1
    beats = np.minimum(level, 2 * np.median(level))
    likeness = np.correlate(beats - beats.mean(), beats - beats.mean(), "full")[len(beats) - 1 :] / len(beats)
    lag_s = (21 + np.argmax(likeness[21:80])) / 100
    # A drum on the beat or a note on half of it, of 80 to 140 a minute.
    assert likeness[21:80].max() > 0.5 * likeness[0] and 0.21 <= lag_s <= 0.76
