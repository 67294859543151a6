"""The sound of what was heard, as it lies beside the record. Only read."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from voicecapture.audio import SAMPLE_RATE_HZ, Samples
from voicecapture.errors import AudioError
from voicecapture.segmenter import Utterance
from voicecapture.store.record import Record


@dataclass(frozen=True, slots=True)
class Clip:
    """One utterance on record."""

    number: int
    """Within the day, counted from 1."""
    start_s: float
    """On the audio clock, seconds."""
    end_s: float
    """On the audio clock, seconds."""
    heard: str
    """Phones or words, whatever they mean."""
    snr_db: float | None
    """Estimated signal-to-noise ratio."""
    file: Path


def read_clips(record: Record, day_name: str) -> dict[int, Clip]:
    """The utterances of a day by number, in the order of their numbers.

    Raises:
        RecordError: If they cannot be read.
    """
    with record.translated("the utterances could not be read"):
        rows = record.db.query(
            "select u.* from utterance u join day d on d.id = u.day_id where d.name = ? order by u.number", [day_name]
        )
        return {
            row["number"]: Clip(
                row["number"],
                row["start_s"],
                row["end_s"],
                row["heard"],
                row["snr_db"],
                record.path.parent / row["clip"],
            )
            for row in rows
        }


def read_utterance(clip: Clip) -> Utterance:
    """An utterance with its sound; whether it was overdriven or had gaps is not kept with it.

    Raises:
        AudioError: If the sound is not there, or cannot be read.
    """
    return Utterance(_samples(clip), clip.start_s, clip.end_s, clip.snr_db if clip.snr_db is not None else 0.0)


def read_before(clips: Mapping[int, Clip], number: int, duration_s: float) -> tuple[Samples, float]:
    """The time before an utterance, as far as its sound was kept; the rest of it is silence.

    Args:
        clips: The utterances of the day.
        number: The utterance.
        duration_s: How long before it, seconds.

    Returns:
        Mono, 16 kHz, -1 to 1, shape (round(16000 * duration_s),); and how much of it was kept, seconds. A sound that
        is not there counts as not kept.
    """
    end_s = clips[number].start_s
    start_s = end_s - duration_s
    samples, kept = np.zeros(round(duration_s * SAMPLE_RATE_HZ), np.float32), 0
    for clip in clips.values():
        if clip.number >= number or clip.end_s <= start_s or clip.start_s >= end_s or not clip.file.is_file():
            continue
        sound = _samples(clip)
        # The end of the samples is what the audio clock names most surely.
        last = min(len(samples), round((clip.end_s - start_s) * SAMPLE_RATE_HZ))
        over = max(0, round((clip.end_s - end_s) * SAMPLE_RATE_HZ))
        part = sound[max(0, len(sound) - over - last) : len(sound) - over]
        samples[last - len(part) : last] = part
        kept += len(part)
    return samples, min(kept, len(samples)) / SAMPLE_RATE_HZ


def _samples(clip: Clip) -> Samples:
    try:
        samples, _ = soundfile.read(clip.file, dtype="float32")
    except (soundfile.LibsndfileError, OSError) as error:
        raise AudioError(
            f"{clip.file}: the sound of utterance {clip.number} cannot be read ({error}); expected the file that was "
            "kept with the day. Copy it back beside the database."
        ) from error
    return np.asarray(samples, np.float32)
