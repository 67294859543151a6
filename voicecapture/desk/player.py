"""Plays what was heard, as it was or slower. A machine without a sound card says so, and nothing else stops."""

from typing import Protocol

import numpy as np
import soxr

from voicecapture.audio import SAMPLE_RATE_HZ, Samples, load_sounddevice
from voicecapture.errors import AudioError

SLOWER = 0.7
"""Speed of slower playing; the voice is lower by as much."""


class Player(Protocol):
    """Where the sound goes. It does not wait for the sound."""

    def play(self, samples: Samples, speed: float = 1.0) -> None:
        """Play a sound instead of what is playing.

        Args:
            samples: Mono, 16 kHz, -1 to 1, shape (samples,).
            speed: Times its own speed.

        Raises:
            AudioError: If there is no sound card that plays it.
        """
        ...

    def stop(self) -> None:
        """Play nothing any more."""
        ...


class CardPlayer:
    """The default sound card."""

    def play(self, samples: Samples, speed: float = 1.0) -> None:
        """See `Player`."""
        sounddevice = load_sounddevice()
        try:
            rate_hz = float(sounddevice.query_devices(None, "output")["default_samplerate"])
            sounddevice.play(soxr.resample(samples, SAMPLE_RATE_HZ * speed, rate_hz).astype(np.float32), rate_hz)
        except (ValueError, sounddevice.PortAudioError) as error:
            raise AudioError(
                f"no sound card: nothing can be played ({error}); everything else works. Plug in headphones or a "
                "loudspeaker."
            ) from error

    def stop(self) -> None:
        """See `Player`."""
        try:
            load_sounddevice().stop()
        except AudioError:
            return  # without PortAudio nothing was played
