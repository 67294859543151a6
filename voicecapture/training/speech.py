"""Makes speech for training, calibration or reporting: many voices, most of them nobody.

    python -m voicecapture.training.speech CONFIG PART SENTENCES FOLDER

PART is training, calibration or reporting; no voice is in two of them. SENTENCES is a folder of text files
(Debian's fortunes serve). FOLDER gets clips.bin, all recordings as Opus end to end, and clips.jsonl, one row
each. Stopped and started again, it goes on where it was.
"""

import json
import os
import sys
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from multiprocessing import Pool
from pathlib import Path
from subprocess import CalledProcessError
from typing import Any, Literal, cast

import numpy as np

from voicecapture.errors import VoiceCaptureError
from voicecapture.synthesis.accents import Accent
from voicecapture.synthesis.shed import SAMPLE_RATE_HZ
from voicecapture.synthesis.voices import Voice, espeak, flite, hibari, kokoro, pico, piper, say
from voicecapture.training.clips import encode
from voicecapture.training.config import Config, read_config
from voicecapture.training.texts import Text, entry, general_sentences, phones_of, text_of_the_job

Part = Literal["training", "calibration", "reporting"]

_SHORTEST_S, _LONGEST_S = 0.25, 7.5
FIRST_SEEDS: dict[Part, int] = {"training": 1000, "calibration": 100_000, "reporting": 200_000}
"""Each clip of a kokoro speaker has a speaker of its own, mixed from a seed from here on."""

_ACCENTS: tuple[Accent, ...] = ("american", "british", "new-zealand", "australian", "irish", "scottish")
_ACCENT_SHARES = (0.24, 0.26, 0.14, 0.12, 0.13, 0.11)
_ESPEAK_ACCENTS = ("en-gb", "en-us", "en-gb-x-rp", "en-gb-scotland", "en-gb-x-gbclan", "en-gb-x-gbcwmd", "en-029")
_ESPEAK_VARIANTS = (
    "f1",
    "f3",
    "f4",
    "f5",
    "m1",
    "m2",
    "m4",
    "m5",
    "m6",
    "Andy",
    "Alicia",
    "Mike",
    "Gene",
    "rob",
    "Lee",
)
_ESPEAK_VARIANTS_CALIBRATING = ("f2", "m3", "m7", "Annie")


@dataclass(frozen=True, slots=True)
class Clip:
    """One recording of the training speech."""

    opus: bytes
    row: dict[str, Any]
    """Voice, words, phones, kind and duration in seconds."""


def draw_voice(part: Part, number: int, kokoro_share: float, rng: np.random.Generator) -> Voice:
    """A voice of one part only; each kokoro speaker speaks once, so that none is learned by heart."""
    if rng.random() < kokoro_share:
        return kokoro(FIRST_SEEDS[part] + number, rng.choice(_ACCENTS, p=_ACCENT_SHARES))
    chance = rng.random()
    match part:
        case "training" if chance < 0.15:
            return piper()
        case "training" if chance < 0.5:
            return flite(str(rng.choice(["slt", "kal", "kal16"], p=[0.6, 0.2, 0.2])))
        case "training" if chance < 0.75:
            return pico(str(rng.choice(["en-GB", "en-US"])), 10 * int(rng.integers(6, 17)))
        case "reporting" if chance < 0.5:
            return hibari()
        case "reporting":
            return flite("rms" if chance < 0.75 else "awb")
    variants = _ESPEAK_VARIANTS if part == "training" else _ESPEAK_VARIANTS_CALIBRATING
    return espeak(f"{rng.choice(_ESPEAK_ACCENTS)}+{rng.choice(variants)}")


class _Speech:
    """Makes clip after clip; one in each worker, since voices and sentences take a while to load."""

    def __init__(self, config: Config, part: Part, sentences: list[str]) -> None:
        self.config, self.part, self.sentences = config, part, sentences

    def clip(self, number: int) -> Clip | None:
        """The clip of this number, the same every time; None if it came out too long or too short."""
        rng = np.random.default_rng([self.config.seed, FIRST_SEEDS[self.part] - FIRST_SEEDS["training"] + number])
        is_general = rng.random() < self.config.general_share
        voice = draw_voice(self.part, number, self.config.kokoro_share[self.part], rng)
        if is_general:
            text = Text(str(rng.choice(self.sentences)), float(rng.uniform(0.85, 1.25)))
        else:
            text = text_of_the_job(rng) if self.part == "training" else entry(rng)
        phones = phones_of(text.words)
        try:
            samples = say(voice, text.words, text.pace) if phones else np.zeros(0, np.float32)
        except (ValueError, IndexError, CalledProcessError, VoiceCaptureError):  # a voice that made nothing of it
            return None
        duration_s = len(samples) / SAMPLE_RATE_HZ
        if not _SHORTEST_S <= duration_s <= _LONGEST_S:
            return None
        row = {
            "voice": voice.name,
            "speaker": voice.name,
            "kind": "general" if is_general else "job",
            "words": text.words,
            "phones": " ".join(phones),
            "duration_s": round(duration_s, 2),
            "expected": text.entry and asdict(text.entry),
        }
        return Clip(encode(samples), row)


_speech: _Speech


def _start_worker(config: Config, part: Part, sentences: list[str]) -> None:
    global _speech
    _speech = _Speech(config, part, sentences)


def _work(number: int) -> tuple[int, Clip | None]:
    return number, _speech.clip(number)


def make(config: Config, part: Part, sentences: list[str], folder: Path) -> Iterator[int]:
    """Add clips to a folder until it has all that the config asks for; yields the number of each."""
    folder.mkdir(parents=True, exist_ok=True)
    rows, clips = folder / "clips.jsonl", folder / "clips.bin"
    done = [json.loads(line) for line in rows.read_text("utf-8").splitlines()] if rows.exists() else []
    first = done[-1]["number"] + 1 if done else 0
    at = done[-1]["offset"] + done[-1]["bytes"] if done else 0
    with (
        Pool(os.cpu_count(), _start_worker, (config, part, sentences)) as pool,
        clips.open("ab") as audio,
        rows.open("a", encoding="utf-8") as manifest,
    ):
        audio.truncate(at)
        for number, clip in pool.imap(_work, range(first, config.clips[part])):
            if clip is not None:
                audio.write(clip.opus)
                audio.flush()
                row = {"number": number, "offset": at, "bytes": len(clip.opus), **clip.row}
                manifest.write(json.dumps(row) + "\n")
                manifest.flush()
                at += len(clip.opus)
            yield number


def main() -> None:
    """Make the speech."""
    part = cast(Part, sys.argv[2])
    config_file, sentence_folder, folder = (Path(sys.argv[i]) for i in (1, 3, 4))
    config = read_config(config_file)
    for number in make(config, part, general_sentences(sentence_folder), folder):
        if number % 50 == 0:
            print(f"{number} of {config.clips[part]} clips", flush=True)


if __name__ == "__main__":
    main()
