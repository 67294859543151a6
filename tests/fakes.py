"""Stand-ins for the edges: a loudspeaker that remembers, and speech to listen to."""

from collections.abc import Iterable, Sequence
from functools import cache

import numpy as np
from hibari import Hibari
from numpy.typing import NDArray
from soxr import resample

from voicecapture.audio import CHUNK_SAMPLES, SAMPLE_RATE_HZ, AudioChunk, Chunks
from voicecapture.language.phrase import Entry, Phrase
from voicecapture.recogniser import Certainty, Hearing, Language, Reading
from voicecapture.segmenter import Utterance
from voicecapture.speaker import Tone, Unheard

Samples = NDArray[np.float32]


class RecordingSpeaker(Unheard):
    """A `Speaker` that remembers what it was told."""

    failure: str | None = None

    def __init__(self) -> None:
        self.said: list[str] = []
        self.tones: list[Tone] = []
        self.hushes = 0

    def say(self, text: str) -> None:
        self.said.append(text)

    def tone(self, tone: Tone) -> None:
        self.tones.append(tone)

    def hush(self) -> None:
        self.hushes += 1

    def close(self) -> None: ...


class ScriptedRecogniser:
    """A `Recogniser` that hears one thing after the other, whatever is said; None is talk."""

    def __init__(self, entries: Sequence[Entry | None]) -> None:
        self._entries, self._offered = entries, list[float]()

    def recognise(self, utterance: Utterance, language: Language) -> Hearing:
        if utterance.start_s not in self._offered:
            self._offered.append(utterance.start_s)
        entry = self._entries[len(self._offered) - 1]
        if entry is None:
            return Hearing((), "HH AA", 99.0)
        return Hearing((Reading(Phrase(entry), "as said", 0.9999),), "S", 1.0, Certainty(*[0.9999] * 4))


_voice = cache(Hibari)


@cache
def spoken(text: str) -> Samples:
    """A sentence in the voice of hibari-tts, 16 kHz mono."""
    samples: Samples = resample(_voice()(text, seed=1), 24_000, SAMPLE_RATE_HZ).astype(np.float32)
    return samples


def with_pauses(*parts: str | float) -> Samples:
    """Sentences and pauses (seconds) one after the other."""
    return np.concatenate(
        [spoken(p) if isinstance(p, str) else np.zeros(round(p * SAMPLE_RATE_HZ), np.float32) for p in parts]
    )


def in_chunks(samples: Samples) -> Chunks:
    """Samples as a sound source."""
    padded = np.pad(samples, (0, -len(samples) % CHUNK_SAMPLES))
    for i, chunk in enumerate(padded.reshape(-1, CHUNK_SAMPLES)):
        yield AudioChunk(chunk, i * CHUNK_SAMPLES / SAMPLE_RATE_HZ)


def joined(chunks: Iterable[AudioChunk]) -> Samples:
    """A sound source as samples."""
    return np.concatenate([chunk.samples for chunk in chunks])
