"""What is trained is what is run, and what it is trained on is what was asked for."""

import numpy as np
import pytest

from voicecapture.audio import Samples
from voicecapture.recogniser import acoustic
from voicecapture.recogniser.acoustic import MODEL, AcousticModel

pytest.importorskip("torch", reason="the training extra is not installed")

import torch

from voicecapture.training.augment import Augmenter, in_memory
from voicecapture.training.clips import PHONES
from voicecapture.training.network import Encoder, log_mel, warped
from voicecapture.training.weights import read_weights

FILTERS = np.load(MODEL / "mel_filters.npy").astype(np.float32)


def voice(seconds: float) -> Samples:
    """A buzz of 120 Hz with a little noise."""
    time_s = np.arange(int(seconds * 16_000)) / 16_000
    noise = np.random.default_rng(1).normal(0, 0.01, len(time_s))
    return (0.3 * np.sign(np.sin(2 * np.pi * 120 * time_s)) + noise).astype(np.float32)


def test_training_and_listening_share_a_front_end() -> None:
    sound = voice(2.0)
    trained = log_mel(torch.from_numpy(sound)[None], torch.from_numpy(FILTERS)[None])[0].numpy()
    assert trained == pytest.approx(acoustic.log_mel(sound, FILTERS), abs=1e-4)


def test_the_model_file_computes_what_the_network_does() -> None:
    network = Encoder(len(PHONES)).eval()
    weights = read_weights(MODEL / "listener.onnx")
    network.load_state_dict({name: torch.from_numpy(array.copy()).float() for name, array in weights.items()})
    sound = voice(3.0)
    with torch.no_grad():
        trained = network(torch.from_numpy(acoustic.log_mel(sound, FILTERS))[None])[0].numpy()
    assert np.exp(trained) == pytest.approx(np.exp(AcousticModel().phone_log_probabilities(sound)), abs=1e-4)


def test_a_vocal_tract_as_long_as_before_changes_nothing() -> None:
    filters = torch.from_numpy(FILTERS)
    assert torch.allclose(warped(filters, 1.0), filters, atol=1e-6)


def augmenter(seed: int) -> Augmenter:
    device = torch.device("cpu")
    clips = in_memory([voice(1.5), voice(2.0)], device)
    noise = in_memory([np.random.default_rng(2).normal(0, 0.05, 160_000).astype(np.float32)], device)
    return Augmenter(clips, noise, noise, torch.from_numpy(FILTERS), seed)


def test_batches_repeat_for_a_seed_and_differ_between_seeds() -> None:
    pieces = [[0], [0, 1], [1, 0, 1]]
    first, again, other = (augmenter(seed).batch(pieces, 3.0) for seed in (5, 5, 6))
    assert first.shape == (3, 80, 300) and bool(torch.isfinite(first).all())
    assert torch.equal(first, again) and not torch.equal(first, other)
