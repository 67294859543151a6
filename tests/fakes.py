"""Stand-ins for the edges: a loudspeaker that remembers, and speech to listen to."""

from collections.abc import Iterable, Iterator
from functools import cache

import numpy as np
from hibari import Hibari
from numpy.typing import NDArray
from soxr import resample

from voicecapture.audio import CHUNK_SAMPLES, SAMPLE_RATE_HZ, AudioChunk
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


@cache
def spoken(text: str) -> Samples:
    """A sentence in the voice of hibari-tts, 16 kHz mono."""
    samples: Samples = resample(Hibari()(text, seed=1), 24_000, SAMPLE_RATE_HZ).astype(np.float32)
    return samples


def with_pauses(*parts: str | float) -> Samples:
    """Sentences and pauses (seconds) one after the other."""
    return np.concatenate(
        [spoken(p) if isinstance(p, str) else np.zeros(round(p * SAMPLE_RATE_HZ), np.float32) for p in parts]
    )


def in_chunks(samples: Samples) -> Iterator[AudioChunk]:
    """Samples as a sound source."""
    padded = np.pad(samples, (0, -len(samples) % CHUNK_SAMPLES))
    for i, chunk in enumerate(padded.reshape(-1, CHUNK_SAMPLES)):
        yield AudioChunk(chunk, i * CHUNK_SAMPLES / SAMPLE_RATE_HZ)


def joined(chunks: Iterable[AudioChunk]) -> Samples:
    """A sound source as samples."""
    return np.concatenate([chunk.samples for chunk in chunks])
