"""Listens before the day: for the level meter, and for the voice check. Nothing is stored, and no screen is needed.

A rehearsal runs in a thread of its own and tells what it hears; who is told takes it from there.
"""

import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass, replace

import numpy as np

from voicecapture.audio import CHUNK_SAMPLES, SAMPLE_RATE_HZ, AudioChunk, Chunks, level_dbfs
from voicecapture.audio import Source as Sound
from voicecapture.day import Day
from voicecapture.errors import VoiceCaptureError
from voicecapture.herd import Herd
from voicecapture.segmenter import FULL_SCALE
from voicecapture.sound import noise_after
from voicecapture.start import Start
from voicecapture.update import Update
from voicecapture.verdict import Said, VoiceCheck

_LEVEL_EVERY_CHUNKS = 4
"""The level meter is renewed about eight times a second."""
_WARNED_S = 3.0
"""How long it is told that the microphone was overdriven."""

_LET_GO_S = 1.0
"""A microphone that gives sound is let go of at once; one that hangs is not waited for."""


@dataclass(frozen=True, slots=True)
class Source:
    """A microphone, or recordings in its place."""

    name: str
    rehearse: Callable[[], Chunks]
    """What is heard before the day."""
    listen: Callable[[float], Sound]
    """The day, from a second of its audio clock on."""
    is_live: bool = True


@dataclass(frozen=True, slots=True)
class Begun:
    """The day that is to begin."""

    start: Start
    source: Source
    checks: tuple[VoiceCheck, ...]
    """All that were made, also those that were broken off."""


@dataclass(frozen=True, slots=True)
class Prompted:
    """A line is to be said; the same once more if it was passed over."""

    number: int
    """From 1."""
    phrase: str


@dataclass(frozen=True, slots=True)
class Ended:
    """No more is heard."""

    failure: str = ""
    """Why, in a sentence; empty if the sound or the check has come to its end."""


Told = Update | Prompted | Said | Ended
Check = Callable[[Iterable[AudioChunk], Callable[[int, str], None]], Iterator[Said]]
"""The voice check of `voice_check.check`, given its sound and its prompt."""


class Rehearsal:
    """One microphone listened to until it is stopped."""

    def __init__(self, source: Source, tell: Callable[[Told], None], check: Check | None = None) -> None:
        """Begin to listen.

        Args:
            source: The microphone.
            tell: Told everything, in the thread that listens.
            check: The check to make; without one there is only the level.
        """
        self._source, self._tell, self._check = source, tell, check
        self._stop = threading.Event()
        self._state = Update(Day(Herd()), None, 0.0, -60.0, -60.0, is_speech=False, said="")
        self._thread = threading.Thread(target=self._run, name="rehearsal", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Let go of the microphone; nothing is told any more."""
        self._stop.set()
        if threading.current_thread() is not self._thread:
            self._thread.join(_LET_GO_S)

    def _run(self) -> None:
        try:
            with closing(self._source.rehearse()) as chunks:
                heard = self._watched(chunks)
                if self._check is None:
                    for _ in heard:
                        pass
                else:
                    for said in self._check(heard, lambda number, phrase: self._told(Prompted(number, phrase))):
                        self._state = replace(self._state, snr_db=said.snr_db, voice_dbfs=said.voice_dbfs)
                        self._told(said)
            self._told(Ended())
        except VoiceCaptureError as error:
            self._told(Ended(str(error)))
        except Exception as error:  # whoever waits must not wait for ever
            self._told(Ended(f"{self._source.name}: the listening broke ({error!r}). Choose another microphone."))

    def _told(self, told: Told) -> None:
        if not self._stop.is_set():
            self._tell(told)

    def _watched(self, chunks: Iterable[AudioChunk]) -> Iterator[AudioChunk]:
        """Pass the sound on until it is to stop, and tell its level."""
        clipped_s = gap_s = float("-inf")
        for count, chunk in enumerate(chunks, 1):
            if self._stop.is_set():
                return
            now_s = chunk.start_s + CHUNK_SAMPLES / SAMPLE_RATE_HZ
            level = level_dbfs(chunk.samples)
            if np.abs(chunk.samples).max() >= FULL_SCALE:
                clipped_s = now_s
            if chunk.gap:
                gap_s = now_s
            self._state = replace(
                self._state,
                now_s=now_s,
                level_dbfs=level,
                noise_dbfs=noise_after(self._state.noise_dbfs, level),
                is_clipped=now_s - clipped_s < _WARNED_S,
                has_gap=now_s - gap_s < _WARNED_S,
            )
            if count % _LEVEL_EVERY_CHUNKS == 0:
                self._told(self._state)
            yield chunk
