"""Gathers recordings of people for training, calibration and reporting, no speaker in two of them.

    python -m voicecapture.training.human SETS FOLDER

SETS holds a folder for each set of recordings, with a manifest.jsonl of rows {file, speaker, words, licence}.
FOLDER gets one folder for each part, packed as `speech` packs its clips. `SPEAKERS` says who is where by name;
all others are shared out by a checksum of their names.
"""

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from zlib import crc32

import numpy as np
import soundfile

from voicecapture.synthesis.shed import SAMPLE_RATE_HZ
from voicecapture.training.clips import encode
from voicecapture.training.speech import Part
from voicecapture.training.texts import phones_of

SPEAKERS: dict[str, Part] = {
    "fsdd_george": "training",
    "fsdd_jackson": "training",
    "fsdd_lucas": "reporting",
    "asterisk_allison": "reporting",
    "ps_cards": "reporting",
    "ps_numbers": "reporting",
    "librivox_sense": "reporting",
}
"""Speakers with enough digits to matter, and those of the recordings that the tests use."""

_LICENCES = ("Apache-2.0", "BSD", "CC0", "CC BY 4.0", "CC BY-SA", "CMU ARCTIC", "MIT", "public domain")
"""How the licence of a recording must begin; what is under another, or under none that is told, stays out."""

HELD_BACK = ("theo", "nicolas", "yweweler")
"""Speakers of the Free Spoken Digit Dataset that nobody here trains, calibrates or tests on."""

_CALIBRATION, _REPORTING = 14, 34
"""Out of a hundred speakers, those below the first calibrate, those below the second report."""
_COMMAND_WORDS_KEPT = 120
"""Recordings kept of each word that is no number, of which one set has 400."""
_LONGEST_S = 10.0
_NUMBERS = frozenset(["zero", "oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"])


def part_of(speaker: str) -> Part:
    """The only part that a speaker may be in."""
    if speaker in SPEAKERS:
        return SPEAKERS[speaker]
    share = crc32(speaker.encode()) % 100
    return "calibration" if share < _CALIBRATION else "reporting" if share < _REPORTING else "training"


def recordings(sets: Path) -> Iterator[dict[str, Any]]:
    """Rows of all sets: set, file, speaker, words; without held-back and unnamed speakers, unclear licences and
    unknown words."""
    for manifest in sorted(sets.glob("*/manifest.jsonl")):
        kept: dict[str, int] = {}
        for line in manifest.read_text(encoding="utf-8").splitlines():
            row = json.loads(line)
            speaker, words = row["speaker"], row["words"]
            if not words or speaker == "unknown" or any(name in speaker for name in HELD_BACK):
                continue
            if not (row.get("licence") or "").startswith(_LICENCES):
                continue
            if words not in _NUMBERS and len(words.split()) == 1:
                kept[words] = kept.get(words, 0) + 1
                if kept[words] > _COMMAND_WORDS_KEPT:
                    continue
            if phones_of(words):
                path = manifest.parent / row["file"]
                yield {"set": manifest.parent.name, "path": path, "speaker": speaker, "words": words}


def main() -> None:
    """Pack the recordings."""
    sets, folder = map(Path, sys.argv[1:3])
    rows: dict[Part, list[dict[str, Any]]] = {}
    clips: dict[Part, bytearray] = {}
    for recording in recordings(sets):
        samples, rate_hz = soundfile.read(recording["path"], dtype="float32")
        assert rate_hz == SAMPLE_RATE_HZ and samples.ndim == 1, recording["path"]
        if len(samples) > _LONGEST_S * SAMPLE_RATE_HZ:
            continue
        part = part_of(recording["speaker"])
        packed = clips.setdefault(part, bytearray())
        # Recorded at whatever level; what is packed peaks at half of full scale.
        opus = encode(samples * np.float32(0.5 / max(float(np.max(np.abs(samples))), 1e-4)))
        of_part = rows.setdefault(part, [])
        words = recording["words"]
        kind = "digits" if set(words.split()) <= _NUMBERS else "other"
        of_part.append(
            {
                "number": len(of_part),
                "offset": len(packed),
                "bytes": len(opus),
                "voice": f"human-{recording['speaker']}",
                "speaker": recording["speaker"],
                "set": recording["set"],
                "kind": kind,
                "words": words,
                "phones": " ".join(phones_of(words)),
                "duration_s": round(len(samples) / SAMPLE_RATE_HZ, 2),
            }
        )
        packed += opus
    for part, of_part in rows.items():
        (folder / part).mkdir(parents=True, exist_ok=True)
        (folder / part / "clips.bin").write_bytes(clips[part])
        (folder / part / "clips.jsonl").write_text("".join(json.dumps(row) + "\n" for row in of_part), "utf-8")
        print(f"{part}: {len(of_part)} recordings of {len({row['speaker'] for row in of_part})} speakers")


if __name__ == "__main__":
    main()
