"""Says sentences and sounds tones in the vet's ear, without ever holding up the listening.

Hearing: a shed is loud and an earpiece is close. Set the level as low as can be understood; local rules on noise
at work apply.
"""

import logging
import queue
import threading
from collections import OrderedDict
from enum import StrEnum
from pathlib import Path
from typing import Protocol

import numpy as np
import soundfile
from hibari import Hibari
from numpy.typing import NDArray

from voicecapture.errors import AudioError

VOICE_RATE_HZ = 24_000
_PEAK = 0.3
_CACHED_PHRASES = 512
_BLOCK_SAMPLES = 1200
"""50 ms: how soon the voice stops when the vet speaks."""

Samples = NDArray[np.float32]


class Tone(StrEnum):
    """Short signals, told apart by pitch and by rhythm."""

    SAVED = "saved"
    """One high tone: it is in the database."""
    QUESTION = "question"
    """Two rising tones: something is asked."""
    NOT_HEARD = "not_heard"
    """Two low tones: there was speech that could not be understood."""


_NOTES: dict[Tone, tuple[tuple[float, float], ...]] = {
    Tone.SAVED: ((1200, 0.08),),
    Tone.QUESTION: ((700, 0.07), (0, 0.03), (1000, 0.08)),
    Tone.NOT_HEARD: ((300, 0.06), (0, 0.05), (300, 0.06)),
}
"""Hertz (0 is silence) and seconds."""


def tone_samples(tone: Tone) -> Samples:
    """A tone at 24 kHz, peak 0.3 at most."""
    parts = []
    for frequency_hz, duration_s in _NOTES[tone]:
        t = np.arange(round(duration_s * VOICE_RATE_HZ)) / VOICE_RATE_HZ
        ramp = np.clip(np.minimum(t, duration_s - t) / 0.01, 0, 1)
        parts.append(_PEAK * ramp * np.sin(2 * np.pi * frequency_hz * t))
    return np.concatenate(parts).astype(np.float32)


class HibariVoice:
    """The voice inside the hibari-tts package; nothing is downloaded."""

    def __init__(self) -> None:
        self._voice = Hibari()
        self._phrases: OrderedDict[str, Samples] = OrderedDict()

    def samples(self, text: str) -> Samples:
        """A sentence at 24 kHz, peak 0.3 at most; phrases said before come from memory."""
        if text not in self._phrases:
            spoken: Samples = self._voice(text, seed=0)
            peak = float(np.abs(spoken).max()) if len(spoken) else 0.0
            self._phrases[text] = spoken * min(1.0, _PEAK / peak) if peak else spoken
            if len(self._phrases) > _CACHED_PHRASES:
                self._phrases.popitem(last=False)
        self._phrases.move_to_end(text)
        return self._phrases[text]


class Speaker(Protocol):
    """Where the read-back goes. No method waits for the sound."""

    def say(self, text: str) -> None:
        """Say a sentence after any tone, instead of what is being said."""
        ...

    def tone(self, tone: Tone) -> None:
        """Sound a tone, instead of what is being said."""
        ...

    def hush(self) -> None:
        """The vet speaks: stop at once."""
        ...

    def close(self) -> None:
        """Release the device."""
        ...


class SilentSpeaker:
    """Says nothing."""

    def say(self, text: str) -> None: ...

    def tone(self, tone: Tone) -> None: ...

    def hush(self) -> None: ...

    def close(self) -> None: ...


class FileSpeaker:
    """Writes all that is said, one sentence after the other, to a sound file."""

    def __init__(self, path: Path, voice: HibariVoice) -> None:
        try:
            self._file = soundfile.SoundFile(str(path), "w", VOICE_RATE_HZ, 1)
        except (soundfile.LibsndfileError, OSError) as error:
            raise AudioError(f"{path}: cannot be written ({error}). Name a writable place.") from error
        self._voice = voice

    def say(self, text: str) -> None:
        """See `Speaker`."""
        self._file.write(self._voice.samples(text))

    def tone(self, tone: Tone) -> None:
        """See `Speaker`."""
        self._file.write(tone_samples(tone))

    def hush(self) -> None:
        """Nothing is being said: a file takes its sentences at once."""

    def close(self) -> None:
        """See `Speaker`."""
        self._file.close()


class SoundCardSpeaker:
    """Plays through the sound card from a thread of its own.

    A sound card that fails must not stop the listening: `failure` then says why nothing is heard.
    """

    def __init__(self, voice: HibariVoice, device: str | int | None = None) -> None:
        self.failure: str | None = None
        self._voice, self._device = voice, device
        self._orders: queue.SimpleQueue[str | Tone | None] = queue.SimpleQueue()
        self._hushed = threading.Event()
        self._worker = threading.Thread(target=self._work, name="read-back", daemon=True)
        self._worker.start()

    def say(self, text: str) -> None:
        """See `Speaker`."""
        self._orders.put(text)

    def tone(self, tone: Tone) -> None:
        """See `Speaker`."""
        self._hushed.set()
        self._orders.put(tone)

    def hush(self) -> None:
        """See `Speaker`."""
        self._hushed.set()

    def close(self) -> None:
        """See `Speaker`."""
        self._orders.put(None)
        self._worker.join(timeout=3)

    def _work(self) -> None:
        try:
            import sounddevice

            with sounddevice.OutputStream(VOICE_RATE_HZ, device=self._device, channels=1, dtype="float32") as out:
                while (order := self._orders.get()) is not None:
                    self._hushed.clear()
                    samples = tone_samples(order) if isinstance(order, Tone) else self._voice.samples(order)
                    for at in range(0, len(samples), _BLOCK_SAMPLES):
                        if self._hushed.is_set():
                            break
                        out.write(samples[at : at + _BLOCK_SAMPLES, None])
        except Exception as error:  # PortAudio may be missing, or the device may go at any time
            self.failure = f"no read-back: {error}"
            logging.getLogger(__name__).warning(self.failure)
