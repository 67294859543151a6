"""The sound of what was heard, as it lies beside the record. Only read."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from voicecapture.audio import SAMPLE_RATE_HZ, Samples
from voicecapture.errors import AudioError, RecordError
from voicecapture.plain_text import one_line, shown
from voicecapture.segmenter import Utterance
from voicecapture.store.record import Record
from voicecapture.store.rows import Row

_CLIP = re.compile(r"(?![A-Za-z]:)[^/\\\x00-\x1f]{1,200}_clips/[0-9A-Za-z_]{1,80}\.flac")
_LONGEST_S = 600.0
"""No utterance is nearly so long."""


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
    with record.translated("the utterances could not be read"), record.undamaged("an utterance"):
        rows = record.db.query(
            "select u.* from utterance u join day d on d.id = u.day_id where d.name = ? order by u.number", [day_name]
        )
        return {
            row["number"]: Clip(
                row["number"],
                row["start_s"],
                row["end_s"],
                one_line(row["heard"]),
                row["snr_db"],
                clip_file(record, row["clip"]),
            )
            for row in map(_checked, rows)
        }


def clip_file(record: Record, clip: str) -> Path:
    """Where the sound of an utterance is.

    Args:
        record: Of the utterance.
        clip: As the record names it: a file in a folder of sounds beside it. The program writes no other name.

    Raises:
        RecordError: If it leads elsewhere.
    """
    if not _CLIP.fullmatch(clip):
        raise RecordError(
            f"{record.path}: names '{shown(clip)}' as the sound of an utterance; expected a sound beside the record. "
            "The file is damaged or was changed by another program: use a copy of it."
        )
    return record.path.parent / clip


def is_sound(file: Path) -> bool:
    """Whether a sound is there: a file of its own, for a link may lead anywhere."""
    return file.is_file() and not file.is_symlink()


def _checked(row: Row) -> Row:
    if not 0 <= row["start_s"] <= row["end_s"] <= row["start_s"] + _LONGEST_S:
        raise ValueError(f"an utterance from {row['start_s']} to {row['end_s']} s")
    return row


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
        if clip.number >= number or clip.end_s <= start_s or clip.start_s >= end_s or not is_sound(clip.file):
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
    if not is_sound(clip.file):
        raise AudioError(
            f"{clip.file}: the sound of utterance {clip.number} is not there; expected it beside the record, unless "
            "it was purged. Copy it back if you have it."
        )
    try:
        samples, rate_hz = soundfile.read(clip.file, round(_LONGEST_S * SAMPLE_RATE_HZ), dtype="float32")
    except (soundfile.LibsndfileError, OSError, TypeError) as error:
        raise AudioError(
            f"{clip.file}: the sound of utterance {clip.number} cannot be read ({error}); expected the file that was "
            "kept with the day. Copy it back beside the record."
        ) from error
    if samples.ndim != 1 or rate_hz != SAMPLE_RATE_HZ:
        raise AudioError(
            f"{clip.file}: another sound than that of utterance {clip.number}; expected one channel at "
            f"{SAMPLE_RATE_HZ} Hz. Copy the file that was kept with the day back beside the record."
        )
    return np.asarray(samples, np.float32)
