"""Lists who trained, calibrated and is reported on, out of the clips of each part.

    python -m voicecapture.training.voices VOICES.json PARTS...

Each of PARTS is a part and a folder of packed clips, as in training=speech/training; a part may have several folders.
A voice in two parts is an error.
"""

import json
import sys
from collections.abc import Iterable
from itertools import combinations
from pathlib import Path
from typing import Any


def voices_of(rows: Iterable[dict[str, Any]]) -> dict[str, Any]:
    """Of kokoro's mixtures how many and the first and last seed, the names of the other voices, and the people.

    A copy by another speaker is the voice that it was made from.
    """
    names = {row["speaker"].split("~")[0]: row["voice"].startswith("human-") for row in rows}
    seeds = {int(name.rsplit("-", 1)[1]) for name in names if name.startswith("kokoro-")}
    return {
        "kokoro_mixtures": len(seeds),
        "kokoro_seeds": [min(seeds), max(seeds)] if seeds else [],
        "other_voices": sorted(n for n, is_human in names.items() if not is_human and not n.startswith("kokoro-")),
        "people": sorted(name for name, is_human in names.items() if is_human),
    }


def shared(parts: dict[str, dict[str, Any]]) -> set[str]:
    """Voices and people that are in more than one part; kokoro's as all that lies between two seeds."""
    found: set[str] = set()
    for one, other in combinations(parts.values(), 2):
        for kind in ("other_voices", "people"):
            found |= set(one[kind]) & set(other[kind])
        seeds = [part["kokoro_seeds"] for part in (one, other)]
        if all(seeds) and (first := max(s[0] for s in seeds)) <= (last := min(s[1] for s in seeds)):
            found.add(f"kokoro {first} to {last}")
    return found


def main() -> None:
    """Write the list."""
    out, rows = Path(sys.argv[1]), dict[str, list[dict[str, Any]]]()
    for argument in sys.argv[2:]:
        part, _, folder = argument.partition("=")
        lines = (Path(folder) / "clips.jsonl").read_text("utf-8").splitlines()
        rows.setdefault(part, []).extend(map(json.loads, lines))
    parts = {part: voices_of(of_part) for part, of_part in rows.items()}
    if twice := shared(parts):
        sys.exit(f"in two parts: {', '.join(sorted(twice))}; nothing was written")
    out.write_text(json.dumps(parts, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
