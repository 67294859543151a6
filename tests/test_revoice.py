"""Other speakers made of recordings: what is asked for is changed, and nothing else."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import lfilter

from voicecapture.audio import Samples

pytest.importorskip("pyworld", reason="the training extra is not installed")

from voicecapture.training.revoice import Voicing, draw, revoiced

RATE_HZ = 16_000
SAME = Voicing(1.0, 1.0, 1.0, 1.0, is_whispered=False, coefficients=None, smoothing=1)


def vowel(first_hz: float = 120.0, last_hz: float = 120.0) -> Samples:
    """A second of pulses through one resonance at 700 Hz."""
    phase = np.cumsum(np.linspace(first_hz, last_hz, RATE_HZ)) / RATE_HZ
    pulses = (np.diff(np.floor(phase), prepend=0) > 0).astype(float)
    angle, radius = 2 * np.pi * 700 / RATE_HZ, 0.97
    sound = lfilter([1.0], [1.0, -2 * radius * np.cos(angle), radius**2], pulses)
    return np.asarray(0.5 * sound / np.abs(sound).max(), np.float32)


def pitch_hz(sound: Samples, around_s: float) -> float:
    """By the first high peak of the autocorrelation."""
    middle = round(around_s * RATE_HZ)
    piece = sound[middle - 800 : middle + 800]
    likeness = np.correlate(piece, piece, "full")[len(piece) - 1 :]
    shortest = RATE_HZ // 400
    return RATE_HZ / float(shortest + np.argmax(likeness[shortest : RATE_HZ // 60]))


def resonance_hz(sound: Samples) -> float:
    """Where the spectrum is strongest, blurred over the harmonics."""
    spectrum = np.abs(np.fft.rfft(sound[4000:12_000])) ** 2
    blurred = np.convolve(spectrum, np.hanning(160), mode="same")
    return float(np.argmax(blurred) * RATE_HZ / 8000)


def test_the_pitch_is_moved_and_the_vowel_stays() -> None:
    sound = vowel()
    higher = revoiced(sound, replace(SAME, pitch=1.5))
    assert pitch_hz(sound, 0.5) == pytest.approx(120, rel=0.02)
    assert pitch_hz(higher, 0.5) == pytest.approx(180, rel=0.02)
    assert resonance_hz(higher) == pytest.approx(resonance_hz(sound), rel=0.06)


def test_the_vocal_tract_is_shortened_and_the_pitch_stays() -> None:
    sound = vowel()
    smaller = revoiced(sound, replace(SAME, formants=1.15))
    assert resonance_hz(smaller) / resonance_hz(sound) == pytest.approx(1.15, abs=0.05)
    assert pitch_hz(smaller, 0.5) == pytest.approx(120, rel=0.02)


def test_a_flat_melody_is_one_note() -> None:
    sound = vowel(100, 160)
    flat = revoiced(sound, replace(SAME, melody=0.0))
    assert pitch_hz(sound, 0.8) / pitch_hz(sound, 0.2) > 1.3
    assert pitch_hz(flat, 0.8) == pytest.approx(pitch_hz(flat, 0.2), rel=0.02)


def test_a_whisper_has_no_pitch() -> None:
    def periodicity(sound: Samples) -> float:
        piece = sound[7000:9000]
        likeness = np.correlate(piece, piece, "full")[len(piece) - 1 :]
        return float(likeness[RATE_HZ // 125 : RATE_HZ // 115].max() / likeness[0])

    assert periodicity(vowel()) > 0.7 > 0.4 > periodicity(revoiced(vowel(), replace(SAME, is_whispered=True)))


def test_a_flatter_voice_has_more_at_high_frequencies_and_its_own_pitch() -> None:
    def high_db(sound: Samples) -> float:
        spectrum = np.abs(np.fft.rfft(sound)) ** 2
        return float(10 * np.log10(spectrum[2000:4000].sum() / spectrum[500:1000].sum()))

    sound = vowel()
    same, louder = revoiced(sound, SAME), revoiced(sound, replace(SAME, tilt_db=4.0))
    # 2 to 4 kHz lies about two octaves above 500 Hz to 1 kHz.
    assert high_db(louder) - high_db(same) == pytest.approx(8.0, abs=2.0)
    assert pitch_hz(louder, 0.5) == pytest.approx(120, rel=0.02)


def test_length_and_peak_stay_for_any_voice() -> None:
    sound = vowel(90, 200)
    for number in range(12):
        made = revoiced(sound, draw(np.random.default_rng(number)))
        assert abs(len(made) - len(sound)) < 0.02 * RATE_HZ
        assert np.abs(made).max() == pytest.approx(np.abs(sound).max(), rel=1e-3)


def test_silence_stays_silence() -> None:
    assert np.abs(revoiced(np.zeros(RATE_HZ, np.float32), SAME)).max() < 1e-3
