"""From samples to phone probabilities: the log-mel front end and the acoustic model.

The front end is Whisper's (openai/whisper `whisper/audio.py`, MIT): 25 ms Hann windows every 10 ms, 80 mel
bands, logarithm, clamped to 80 dB below the loudest, scaled. All files of the model lie in one folder.
"""

import json
from pathlib import Path

import numpy as np
import onnxruntime
from numpy.typing import NDArray

from voicecapture.errors import ModelError

MODEL = Path(__file__).parents[1] / "models" / "listener"
"""Folder of the shipped listener: listener.onnx, phones.json, mel_filters.npy, calibration.json."""

WINDOW_SAMPLES, HOP_SAMPLES = 400, 160
_HANN = np.hanning(WINDOW_SAMPLES + 1)[:-1].astype(np.float32)


def log_mel(samples: NDArray[np.float32], filters: NDArray[np.float32]) -> NDArray[np.float32]:
    """Whisper's log-mel spectrogram of an utterance.

    Args:
        samples: Mono 16 kHz, shape (samples,), at least 400 of them.
        filters: Mel filter bank, shape (80, 201).

    Returns:
        Shape (80, samples // 160).
    """
    padded = np.pad(samples, WINDOW_SAMPLES // 2, mode="reflect")
    frames = np.lib.stride_tricks.sliding_window_view(padded, WINDOW_SAMPLES)[::HOP_SAMPLES]
    frames = frames[: len(samples) // HOP_SAMPLES]
    power = np.abs(np.fft.rfft(frames * _HANN, axis=1)) ** 2
    log = np.log10(np.maximum(filters @ power.T, 1e-10))
    scaled: NDArray[np.float32] = ((np.maximum(log, log.max() - 8) + 4) / 4).astype(np.float32)
    return scaled


class AcousticModel:
    """The shipped phone model, loaded once."""

    def __init__(self, folder: Path = MODEL) -> None:
        onnxruntime.disable_telemetry_events()  # what Windows gathers; elsewhere it never began, see `voicecapture`
        options = onnxruntime.SessionOptions()
        options.log_severity_level = 3
        # Threads that wait in a busy loop take power and time from the other half of the machine.
        options.add_session_config_entry("session.intra_op.allow_spinning", "0")
        # An arena would keep what the longest utterance ever took.
        options.enable_cpu_mem_arena = options.enable_mem_pattern = False
        try:
            self._session = onnxruntime.InferenceSession(
                str(folder / "listener.onnx"), options, providers=["CPUExecutionProvider"]
            )
            self._filters: NDArray[np.float32] = np.load(folder / "mel_filters.npy").astype(np.float32)
            self.phones: tuple[str, ...] = tuple(json.loads((folder / "phones.json").read_text("utf-8")))
        except Exception as error:  # onnxruntime's exceptions share no base of their own
            raise ModelError(f"{folder}: the listener cannot be loaded ({error}). Reinstall voicecapture.") from error

    def phone_log_probabilities(self, samples: NDArray[np.float32]) -> NDArray[np.float32]:
        """Log-probability of the blank (index 0) and of each phone, 50 steps a second.

        Args:
            samples: Mono 16 kHz, shape (samples,).

        Returns:
            Shape (steps, len(phones) + 1).
        """
        samples = np.pad(samples, (0, max(0, 2 * WINDOW_SAMPLES - len(samples))))
        features = log_mel(samples, self._filters)[None]
        (output,) = self._session.run(None, {"log_mel": features})
        result: NDArray[np.float32] = output[0]
        return result

    def spell(self, log_probabilities: NDArray[np.float32]) -> str:
        """The most likely free phone string, as text: what was heard, whatever the language."""
        best = log_probabilities.argmax(axis=1)
        changes = best[np.r_[True, best[1:] != best[:-1]]]
        return " ".join(self.phones[i - 1] for i in changes if i > 0)
