"""The front end and the phone model."""

import numpy as np
import pytest
from hibari import Hibari
from numpy.typing import NDArray
from scipy.signal import stft
from soxr import resample

from voicecapture.recogniser.acoustic import MODEL, AcousticModel, log_mel

FILTERS = np.load(MODEL / "mel_filters.npy").astype(np.float32)


@pytest.fixture(scope="module")
def spoken() -> NDArray[np.float32]:
    samples = Hibari()("four one seven, pregnant fifty six days.", seed=1)
    return np.pad(resample(samples, 24_000, 16_000).astype(np.float32), 4800)


def test_log_mel_agrees_with_scipy(spoken: NDArray[np.float32]) -> None:
    _, _, spectrum = stft(
        spoken, window="hann", nperseg=400, noverlap=240, boundary="even", padded=False, scaling="spectrum"
    )
    # scipy divides by the sum of the window; its Hann window is periodic, as Whisper's.
    power = np.abs(spectrum[:, : len(spoken) // 160] * 200) ** 2
    log = np.log10(np.maximum(FILTERS @ power, 1e-10))
    expected = (np.maximum(log, log.max() - 8) + 4) / 4
    assert log_mel(spoken, FILTERS)[:, 2:-2] == pytest.approx(expected[:, 2:-2], abs=2e-3)


def test_log_mel_agrees_with_faster_whisper(spoken: NDArray[np.float32]) -> None:
    """The reference: the feature extractor of faster-whisper, which reproduces openai/whisper."""
    extractor = pytest.importorskip("faster_whisper.feature_extractor").FeatureExtractor()
    expected = extractor(spoken, padding=0)
    ours = log_mel(spoken, FILTERS)
    frames = min(ours.shape[1], expected.shape[1])
    assert ours[:, :frames] == pytest.approx(expected[:, :frames], abs=2e-3)


def test_phones_of_a_clear_voice_are_spelled_right(spoken: NDArray[np.float32]) -> None:
    model = AcousticModel()
    probabilities = model.phone_log_probabilities(spoken)
    assert probabilities.shape == (-(-(len(spoken) // 160) // 2), len(model.phones) + 1)
    assert np.exp(probabilities).sum(axis=1) == pytest.approx(1.0, abs=1e-4)
    # CMU Pronouncing Dictionary: four F AO R, one W AH N, seven S EH V AH N, pregnant P R EH G N AH N T.
    assert model.spell(probabilities).startswith("F AO R W AH N S EH V AH N P R EH G N AH N T")


def test_a_click_of_sound_is_no_error() -> None:
    assert AcousticModel().phone_log_probabilities(np.zeros(10, np.float32)).shape[0] > 0
