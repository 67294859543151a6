"""Says sentences and sounds tones in the vet's ear, without ever holding up the listening.

Hearing: a shed is loud and an earpiece is close. Set the level as low as can be understood; local rules on noise
at work apply.
"""

import logging
import queue
import threading
import time
from collections import deque
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from enum import StrEnum
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import soundfile
import soxr

from voicecapture.audio import SAMPLE_RATE_HZ, Samples, load_sounddevice, refresh_devices
from voicecapture.errors import AudioError
from voicecapture.voice import PEAK, VOICE_RATE_HZ, ReadBackVoice

_BLOCK_S, _LATENCY_S = 0.05, 0.1
"""The voice stops within both together when the vet speaks: what the card holds is not taken from it. A stream that
was aborted and started again was measured to stand still for two seconds, and to swallow the tone that came next."""
LEAD_IN_S = 0.05
"""Silence before a sound: a card that ran empty was measured to swallow the first 16 ms of what comes next, a fifth
of a tone."""
_AGAIN_S, _TRIED_S = 0.5, 5.0
"""What could not be sounded is tried anew so often, and for so long: after that it would tell of what is past."""
_REMEMBERED_S = 20.0
"""How long a sentence may still be in an utterance that is heard: 12 s at most, and the time to hear it."""


class Tone(StrEnum):
    """Short signals, told apart by pitch and by rhythm.

    They sound hundreds of times a day close to the ear: set the level low. Local rules on noise at work apply.
    """

    SAVED = "saved"
    """One high tone: it is in the database."""
    QUESTION = "question"
    """Two rising tones: something is asked."""
    NOT_HEARD = "not_heard"
    """Two low tones: there was speech that could not be understood."""
    ALARM = "alarm"
    """High and low twice: nothing is heard, or it is not in the database."""


_NOTES: dict[Tone, tuple[tuple[float, float], ...]] = {
    Tone.SAVED: ((1200, 0.08),),
    Tone.QUESTION: ((700, 0.07), (0, 0.03), (1000, 0.08)),
    Tone.NOT_HEARD: ((300, 0.06), (0, 0.05), (300, 0.06)),
    Tone.ALARM: ((1400, 0.05), (500, 0.05)) * 2,
}
"""Hertz (0 is silence) and seconds."""


def tone_samples(tone: Tone) -> Samples:
    """A tone at 24 kHz, peak 0.3 at most."""
    parts = []
    for frequency_hz, duration_s in _NOTES[tone]:
        t = np.arange(round(duration_s * VOICE_RATE_HZ)) / VOICE_RATE_HZ
        ramp = np.clip(np.minimum(t, duration_s - t) / 0.01, 0, 1)
        parts.append(PEAK * ramp * np.sin(2 * np.pi * frequency_hz * t))
    return np.concatenate(parts).astype(np.float32)


class Speaker(Protocol):
    """Where the read-back goes. No method waits for the sound."""

    failure: str | None
    """Why nothing is heard; None if nothing failed."""

    def sounding(self) -> Samples:
        """The sentence that is sounding, as far as it has sounded: mono, 16 kHz; empty if none is."""
        ...

    def sounded(self) -> Sequence[Samples]:
        """The sentences of the last 20 s as far as they have sounded: mono, 16 kHz."""
        ...

    def say(self, text: str) -> None:
        """Say a sentence after what is sounding now."""
        ...

    def tone(self, tone: Tone) -> None:
        """Sound a tone, instead of what is being said and what waits to be said."""
        ...

    def hush(self) -> None:
        """The vet speaks: stop at once, and drop what waits to be said."""
        ...

    def close(self) -> None:
        """Release the device."""
        ...


class Unheard:
    """What no microphone can hear."""

    def sounding(self) -> Samples:
        """See `Speaker`."""
        return np.zeros(0, np.float32)

    def sounded(self) -> Sequence[Samples]:
        """See `Speaker`."""
        return ()


class SilentSpeaker(Unheard):
    """Says nothing."""

    failure: str | None = None

    def say(self, text: str) -> None: ...

    def tone(self, tone: Tone) -> None: ...

    def hush(self) -> None: ...

    def close(self) -> None: ...


class FileSpeaker(Unheard):
    """Writes all that is said, one sentence after the other, to a sound file."""

    failure: str | None = None

    def __init__(self, path: Path, voice: ReadBackVoice) -> None:
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

    A sound card that fails must not stop the listening: `failure` then says why nothing is heard. What could not be
    sounded is tried anew for 5 s, unless something newer takes its place, and so is every later sound.
    """

    def __init__(self, voice: ReadBackVoice, device: str | int | None = None) -> None:
        self.failure: str | None = None
        self._voice, self._device = voice, device
        self._orders: queue.SimpleQueue[tuple[int, Future[Samples] | Tone] | None] = queue.SimpleQueue()
        self._turn = 0
        """Raised when the vet speaks: what was ordered in an earlier turn is not sounded any more."""
        self._speaking = ThreadPoolExecutor(1, "voice")
        """Makes a sentence while its tone sounds."""
        self._empty_s = 0.0
        """When the card has sounded all that it was given, on the monotonic clock."""
        self._sounding: Samples = np.zeros(0, np.float32)
        self._sounded: deque[tuple[float, Samples]] = deque(maxlen=8)
        """When each sentence ended, and what of it was heard."""
        self._worker = threading.Thread(target=self._work, name="read-back", daemon=True)
        self._worker.start()

    def say(self, text: str) -> None:
        """See `Speaker`."""
        self._orders.put((self._turn, self._speaking.submit(self._voice.samples, text)))

    def tone(self, tone: Tone) -> None:
        """See `Speaker`."""
        self.hush()
        self._orders.put((self._turn, tone))

    def hush(self) -> None:
        """See `Speaker`."""
        self._turn += 1

    def sounding(self) -> Samples:
        """See `Speaker`."""
        return self._sounding

    def sounded(self) -> Sequence[Samples]:
        """See `Speaker`."""
        since_s = time.monotonic() - _REMEMBERED_S
        ended = [samples for ended_s, samples in tuple(self._sounded) if ended_s > since_s]
        return (*ended, self._sounding)

    def close(self) -> None:
        """See `Speaker`; what was ordered is still sounded, for 3 s at most."""
        self._orders.put(None)
        self._worker.join(timeout=3)
        if self._worker.is_alive():
            self.hush()  # PortAudio ends with the program, and must find nobody playing
            self._worker.join(timeout=2)
        self._speaking.shutdown(wait=False, cancel_futures=True)

    def _work(self) -> None:
        stream: Any = None
        while (ordered := self._orders.get()) is not None:
            until_s = time.monotonic() + _TRIED_S
            while (stream := self._tried(stream, *ordered)) is None:
                # An unplugged headset takes the loudspeaker along: the alarm for it is sounded when it is back.
                if ordered[0] != self._turn or time.monotonic() > until_s:
                    break
                time.sleep(_AGAIN_S)
        _close(stream)

    def _tried(self, stream: Any, turn: int, order: Future[Samples] | Tone) -> Any:
        """The stream after sounding an order, or None if that failed; `failure` then says why."""
        try:
            if stream is None:
                stream = self._open()
            self._sound(stream, turn, order)
            self.failure = None
        except Exception as error:  # the device may go at any time, and no fault here may stop the listening
            self.failure = f"no read-back: {error}"
            logging.getLogger(__name__).warning(self.failure)
            _close(stream)
            return None
        return stream

    def _open(self) -> Any:
        if self.failure is not None:
            refresh_devices()
        sounddevice = load_sounddevice()
        rate_hz = float(sounddevice.query_devices(self._device, "output")["default_samplerate"])
        stream = sounddevice.OutputStream(
            rate_hz, device=self._device, channels=1, dtype="float32", latency=_LATENCY_S
        )
        stream.start()
        self._empty_s = 0.0
        return stream

    def _sound(self, stream: Any, turn: int, order: Future[Samples] | Tone) -> None:
        if turn != self._turn:
            return
        samples = tone_samples(order) if isinstance(order, Tone) else order.result()
        played = soxr.resample(samples, VOICE_RATE_HZ, SAMPLE_RATE_HZ)
        samples = soxr.resample(samples, VOICE_RATE_HZ, stream.samplerate)
        if time.monotonic() > self._empty_s:
            samples = np.pad(samples, (round(LEAD_IN_S * stream.samplerate), 0))
        block = round(_BLOCK_S * stream.samplerate)
        try:
            for at in range(0, len(samples), block):
                if turn != self._turn:
                    return
                written = np.ascontiguousarray(samples[at : at + block, None])
                self._empty_s = max(self._empty_s, time.monotonic()) + len(written) / stream.samplerate
                stream.write(written)
                if not isinstance(order, Tone):
                    self._sounding = played[: round((at + block) / stream.samplerate * SAMPLE_RATE_HZ)]
        finally:
            if len(self._sounding):
                self._sounded.append((time.monotonic(), self._sounding))
            self._sounding = np.zeros(0, np.float32)


def _close(stream: Any) -> None:
    """Close a stream that may be gone already."""
    if stream is not None:
        with suppress(Exception):
            stream.close(ignore_errors=True)
