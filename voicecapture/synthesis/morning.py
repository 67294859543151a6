"""The demo morning: a vet scans sixty cows of Alder Bank in ten minutes, with what goes wrong in between."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from voicecapture.synthesis.alder_bank import MATED_DAYS_AGO, ListedCow
from voicecapture.synthesis.sayings import (
    Kind,
    Rng,
    Saying,
    SpokenEntry,
    clear_result,
    cow_number,
    pregnant_lead,
    unlisted_cow,
    whole,
)
from voicecapture.synthesis.shed import SAMPLE_RATE_HZ, Samples, mix, room, shed_noise
from voicecapture.synthesis.talk import MORNING_TALK
from voicecapture.synthesis.voices import BYSTANDERS, VET, Voice, say

COWS = 60
_SNR_DB = 18.0
_BYSTANDER_GAIN = 0.56
"""5 dB below the vet: they stand farther from the microphone."""

_EMPTY_AT = (4, 13, 22, 29, 37, 48, 55)
_RECHECK_AT = (17, 44)
_TWINS_AT = 33
_UNLISTED_AT = 39
_REPEATED_AT = 24
_REPEAT_AFTER = 50
_TALK_AFTER = (11, 28, 52)
_COMMAND_AFTER = {20: "how many so far.", 35: "say again.", 45: "how many left."}


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the script."""

    saying: Saying
    pause_s: float
    """Silence before it."""
    voice: Voice = VET


# ---- the script -----------------------------------------------------------------------------------


def script(herd: Sequence[ListedCow], seed: int) -> list[Line]:
    """What is said, in order. Spoken ages are within three days of the recorded mating."""
    rng = np.random.default_rng(seed)
    ready = [cow for cow in herd if cow.days_since_mating >= 32 and cow.cow not in MATED_DAYS_AGO]
    ordinary = [ready[index] for index in rng.permutation(len(ready))]
    mishaps = _mishaps(rng)
    lines: list[Line] = []
    for position in range(COWS):
        if position in mishaps:
            lines += mishaps[position]
        elif position == _UNLISTED_AT:
            cow = unlisted_cow([listed.cow for listed in herd], rng)
            lines.append(_pregnant(cow, 49, rng, "unlisted"))
        else:
            lines.append(_ordinary(ordinary.pop(), position, rng))
        if position in _COMMAND_AFTER:
            lines.append(_then(_COMMAND_AFTER[position], "command", rng))
        if position in _TALK_AFTER:
            lines += _talk(MORNING_TALK[_TALK_AFTER.index(position)], rng)
        if position == _REPEAT_AFTER:
            lines.append(_repeat(lines, rng))
    return lines


def _pause_s(rng: Rng) -> float:
    return float(rng.uniform(5.2, 7.4))


def _pregnant(cow: str, days: int, rng: Rng, kind: Kind = "entry", twins: str = "") -> Line:
    spoken_age = f"{whole(days // 7)} weeks" if days % 7 == 0 and rng.random() < 0.7 else f"{whole(days)} days"
    number = cow_number(cow, rng)
    result = clear_result(number, f"{pregnant_lead(number, rng)}{spoken_age}{twins}")
    text = f"{number}, {result}."
    return Line(Saying(text, kind, SpokenEntry(cow, "pregnant", days, bool(twins))), _pause_s(rng))


def _ordinary(listed: ListedCow, position: int, rng: Rng) -> Line:
    cow = listed.cow
    if position in _EMPTY_AT:
        return Line(Saying(f"{cow_number(cow, rng)}, empty.", "entry", SpokenEntry(cow, "empty")), _pause_s(rng))
    if position in _RECHECK_AT:
        text = f"{cow_number(cow, rng)}, recheck{' in three weeks' if position == _RECHECK_AT[0] else ''}."
        return Line(Saying(text, "entry", SpokenEntry(cow, "recheck")), _pause_s(rng))
    # The scanner tells the age to a few days; a third of the vets' calls are rounded to weeks.
    days = listed.days_since_mating + int(rng.integers(-2, 3))
    if rng.random() < 0.33:
        days = 7 * round(listed.days_since_mating / 7)
    return _pregnant(cow, days, rng, twins=" twins" if position == _TWINS_AT else "")


def _then(text: str, kind: Kind, rng: Rng, entry: SpokenEntry | None = None) -> Line:
    """What follows an entry at once."""
    return Line(Saying(text, kind, entry), float(rng.uniform(2.5, 3.5)))


def _mishaps(rng: Rng) -> dict[int, list[Line]]:
    """The cows with a story, by their place in the morning; their ages are those of `MATED_DAYS_AGO`."""

    def entry(text: str, cow: str, days: int | None) -> Line:
        meaning = SpokenEntry(cow, "pregnant", days) if days else SpokenEntry(cow, "empty")
        return Line(Saying(text, "entry", meaning), _pause_s(rng))

    return {
        0: [entry("four one seven, pregnant fifty six days.", "417", 56)],
        9: [entry("six oh nine, no, sorry, six oh eight, pregnant fifty two days.", "608", 52)],
        15: [
            entry("two three one, pregnant fifty eight days.", "231", 58),
            _then("correction, pregnant sixty two days.", "correction", rng, SpokenEntry("231", "pregnant", 62)),
        ],
        26: [entry("three eight four, empty, no, sorry, pregnant forty four days.", "384", 44)],
        31: [
            entry("two seventy four, empty.", "274", None),
            _then("take that back.", "command", rng),
            _then("two seven four, pregnant nine weeks.", "entry", rng, SpokenEntry("274", "pregnant", 63)),
        ],
        41: [
            entry("five six oh, empty.", "560", None),
            _then("correction, pregnant fifty days.", "correction", rng, SpokenEntry("560", "pregnant", 50)),
        ],
    }


def _talk(sentences: Sequence[str], rng: Rng) -> list[Line]:
    voices = BYSTANDERS * len(sentences)
    pauses_s = [2.0, *rng.uniform(0.3, 0.9, len(sentences))]
    return [
        Line(Saying(text, "talk"), float(pause_s), voice)
        for text, voice, pause_s in zip(sentences, voices, pauses_s, strict=False)
    ]


def _repeat(lines: Sequence[Line], rng: Rng) -> Line:
    """The cow of `_REPEATED_AT` once more, with the same result: she went round again."""
    seen = list(dict.fromkeys(line.saying.entry for line in lines if line.saying.entry))
    cows = list(dict.fromkeys(entry.cow for entry in seen))
    entry = next(entry for entry in seen if entry.cow == cows[_REPEATED_AT])
    assert entry.days is not None
    return _pregnant(entry.cow, entry.days, rng, "repeat")


# ---- the recording --------------------------------------------------------------------------------


def record(lines: Sequence[Line], seed: int) -> tuple[Samples, list[dict[str, Any]]]:
    """Speak the script in the shed.

    Returns:
        Samples, mono at 16 kHz, at 18 dB over the noise; and one row for each line with `start_s` and
        `end_s`, `role` (vet or shed), `voice`, and words, meaning and kind as in a manifest.
    """
    rng = np.random.default_rng(seed)
    pieces: list[Samples] = [np.zeros(3 * SAMPLE_RATE_HZ, dtype=np.float32)]
    rows: list[dict[str, Any]] = []
    position = len(pieces[0])
    for line in lines:
        role = "vet" if line.voice == VET else "shed"
        speech = say(line.voice, line.saying.text, float(rng.uniform(1.0, 1.2)))
        gap = np.zeros(round(line.pause_s * SAMPLE_RATE_HZ), dtype=np.float32)
        start, end = position + len(gap), position + len(gap) + len(speech)
        times = {"start_s": round(start / SAMPLE_RATE_HZ, 2), "end_s": round(end / SAMPLE_RATE_HZ, 2)}
        rows.append({**times, "role": role, "voice": line.voice.name, **line.saying.described()})
        pieces += [gap, speech if role == "vet" else speech * np.float32(_BYSTANDER_GAIN)]
        position = end
    pieces.append(np.zeros(4 * SAMPLE_RATE_HZ, dtype=np.float32))
    speech = room(np.concatenate(pieces), seed)
    return mix(speech, shed_noise(len(speech) / SAMPLE_RATE_HZ, seed), _SNR_DB), rows


def write_script(rows: Sequence[dict[str, Any]], path: Path) -> None:
    """Write the rows as JSON lines."""
    path.write_text("".join(json.dumps(row) + "\n" for row in rows), encoding="utf-8")
