"""Makes other speakers of recordings at hand: another pitch and melody, vocal tract and quality of voice.

    python -m voicecapture.training.revoice SEED FOLDER OUT

FOLDER holds packed clips, of synthetic voices or of people; OUT gets a copy of each by a speaker that nobody is,
in the same part as the original. Recordings are taken apart and put together by WORLD (Morise, Yokomori and Ozawa
2016); a flat melody, a buzz and a smoothed spectrum are how small speech synthesisers sound, whose ways natural
voices alone do not teach. Some copies speak up against noise (Lombard speech: higher, flatter in melody, with more
at high frequencies; Junqua 1993, the amounts from memory), some slur their words.
"""

import json
import os
import sys
from dataclasses import dataclass, replace
from multiprocessing import Pool
from pathlib import Path
from typing import Any

import numpy as np
import pyworld
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from voicecapture.synthesis.shed import SAMPLE_RATE_HZ, Samples
from voicecapture.training.clips import encode, read_clips

_LOWEST_HZ, _HIGHEST_HZ = 60.0, 420.0
_SMOOTH_SHARE = 0.6
"""Copies that sound like a small synthesiser's; 0.4 and 0.8 in the first rounds with copies."""
_LOUD_SHARE, _SLURRED_SHARE = 0.15, 0.1
"""Copies that speak up, and copies that slur; none before the last eight rounds of the shipped listener."""
_TILT_FROM_HZ = 500.0


@dataclass(frozen=True, slots=True)
class Voicing:
    """What is changed of a voice."""

    pitch: float
    """Factor of the mean pitch."""
    melody: float
    """Factor of the distance from it, in logarithms; 0 speaks on one note."""
    formants: float
    """Factor of all formants; above 1 for a shorter vocal tract."""
    noise: float
    """Share of noise in the voice: below 1 buzzes, above 1 is breathy."""
    is_whispered: bool
    coefficients: int | None
    """Mel-cepstral coefficients that are left of the spectrum, or None for all of it."""
    smoothing: int
    """Frames of 5 ms over which the spectrum is averaged."""
    tilt_db: float = 0.0
    """What is added an octave above 500 Hz, in dB."""


def draw(rng: np.random.Generator) -> Voicing:
    """Any voice that a listener would still understand."""
    is_smooth = rng.random() < _SMOOTH_SHARE
    is_loud, is_slurred = rng.random() < _LOUD_SHARE, rng.random() < _SLURRED_SHARE
    any_voice = Voicing(
        pitch=float(np.exp(rng.uniform(np.log(0.65), np.log(1.55)))),
        melody=0.0 if rng.random() < 0.2 else float(rng.uniform(0.2, 1.3)),
        formants=float(rng.uniform(0.87, 1.15)),
        noise=float(np.exp(rng.normal(0, 0.7))),
        is_whispered=bool(rng.random() < 0.03),
        coefficients=int(rng.integers(18, 34)) if is_smooth else None,
        smoothing=int(rng.integers(1, 6)) if is_smooth else 1,
    )
    if is_loud:
        pitch, melody = float(rng.uniform(1.15, 1.5)), float(rng.uniform(0.3, 0.8))
        any_voice = replace(any_voice, pitch=pitch, melody=melody, tilt_db=float(rng.uniform(2, 5)))
    if is_slurred:
        any_voice = replace(any_voice, coefficients=int(rng.integers(24, 34)), smoothing=int(rng.integers(6, 11)))
    return any_voice


def revoiced(samples: Samples, voicing: Voicing) -> Samples:
    """The same words by another speaker.

    Args:
        samples: Mono at 16 kHz, shape (samples,).
        voicing: What to change.

    Returns:
        About as many samples, at the same peak.
    """
    sound = samples.astype(np.float64)
    rough, times = pyworld.dio(sound, SAMPLE_RATE_HZ, f0_floor=_LOWEST_HZ, f0_ceil=_HIGHEST_HZ)
    pitch = pyworld.stonemask(sound, rough, times, SAMPLE_RATE_HZ)
    envelope = pyworld.cheaptrick(sound, pitch, times, SAMPLE_RATE_HZ)
    noise = pyworld.d4c(sound, pitch, times, SAMPLE_RATE_HZ)
    is_voiced = pitch > 0
    if is_voiced.any():
        middle = np.exp(np.mean(np.log(pitch[is_voiced])))
        moved = middle * voicing.pitch * (pitch[is_voiced] / middle) ** voicing.melody
        pitch[is_voiced] = np.clip(moved, _LOWEST_HZ, _HIGHEST_HZ)
    if voicing.is_whispered:
        pitch[:] = 0
    if voicing.coefficients is not None:
        size = (envelope.shape[1] - 1) * 2
        coded = pyworld.code_spectral_envelope(envelope, SAMPLE_RATE_HZ, voicing.coefficients)
        smooth = np.ascontiguousarray(uniform_filter1d(coded, voicing.smoothing, axis=0))
        envelope = pyworld.decode_spectral_envelope(smooth, SAMPLE_RATE_HZ, size)
    envelope = _stretched(envelope, voicing.formants)
    hertz = np.linspace(0, SAMPLE_RATE_HZ / 2, envelope.shape[1])
    envelope = envelope * 10 ** (voicing.tilt_db * np.log2(np.maximum(hertz / _TILT_FROM_HZ, 1)) / 10)
    noise = np.clip(noise * voicing.noise, 0, 1)
    made = pyworld.synthesize(pitch, envelope, noise, SAMPLE_RATE_HZ)
    gain = np.max(np.abs(sound)) / (np.max(np.abs(made)) + 1e-9)
    return np.asarray(made * gain, dtype=np.float32)


def _stretched(envelope: NDArray[np.float64], factor: float) -> NDArray[np.float64]:
    """Envelopes, shape (frames, bins), with what was at a frequency now at `factor` times that."""
    bins = np.arange(envelope.shape[1])
    logs = np.log(envelope)
    low = np.minimum(bins / factor, len(bins) - 1.001).astype(int)
    share = np.minimum(bins / factor, len(bins) - 1.001) - low
    return np.ascontiguousarray(np.exp(logs[:, low] * (1 - share) + logs[:, low + 1] * share))


def _work(task: tuple[int, int, Samples]) -> bytes:
    seed, number, clip = task
    return encode(revoiced(clip, draw(np.random.default_rng([seed, number]))))


def main() -> None:
    """Make a copy of each clip."""
    seed, folder, out = int(sys.argv[1]), Path(sys.argv[2]), Path(sys.argv[3])
    if out.resolve() == folder.resolve():
        sys.exit(f"{out}: holds the originals. Name another folder for the copies.")
    rows, clips = read_clips(folder)
    out.mkdir(parents=True, exist_ok=True)
    packed, new_rows = bytearray(), list[dict[str, Any]]()
    with Pool(os.cpu_count()) as pool:
        tasks = ((seed, number, clip) for number, clip in enumerate(clips))
        for row, opus in zip(rows, pool.imap(_work, tasks, chunksize=8), strict=True):
            speaker = f"{row['speaker']}~{seed}"
            new_rows.append({**row, "speaker": speaker, "offset": len(packed), "bytes": len(opus)})
            packed += opus
            if len(new_rows) % 500 == 0:
                print(f"{len(new_rows)} of {len(rows)} clips", flush=True)
    (out / "clips.bin").write_bytes(packed)
    (out / "clips.jsonl").write_text("".join(json.dumps(row) + "\n" for row in new_rows), encoding="utf-8")


if __name__ == "__main__":
    main()
