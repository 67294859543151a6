"""Whether the chances that an engine gives hold: expected calibration error and the reliability diagram. Pure."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from voicecapture.bars import DecisionSettings
from voicecapture.bench.trial import Trial
from voicecapture.language.phrase import Entry

FIELDS = ("number", "result", "age", "phrase", "entry")
"""The fields of an entry, all of it, and whether it is one at all."""


@dataclass(frozen=True, slots=True)
class Claim:
    """A chance that was given for one field, and whether it was right."""

    field: str
    chance: float
    is_right: bool
    condition: str


def right_fields(heard: Entry, said: Entry | None) -> dict[str, bool]:
    """Which fields of a reading are what was said; none if it was talk."""
    if said is None:
        return dict.fromkeys(FIELDS, False)
    number = heard.cow == said.cow
    result = _result(heard) == _result(said)
    age = (heard.days, heard.crown_rump_mm) == (said.days, said.crown_rump_mm)
    return {"number": number, "result": result, "age": age, "phrase": number and result and age, "entry": True}


def _result(entry: Entry) -> tuple[object, ...]:
    """What was found, but for the age."""
    return entry.result, entry.twins, set(entry.findings), entry.stage, entry.recheck_weeks


def claims(trials: Iterable[Trial], settings: DecisionSettings) -> Iterator[Claim]:
    """Chances given to first readings that are entries, out of entries and talk that came out in one piece.

    Talk counts as an entry that is wrong; beyond the bar for talk only as to whether it is one.
    """
    for trial in trials:
        recording = trial.case.recording
        is_entry = recording.said is not None and recording.said.entry is not None and recording.said.entry.is_whole
        if len(trial.utterances) != 1 or not (is_entry or recording.said is None):
            continue
        hearing = trial.utterances[0].hearing
        entry = hearing.readings[0].phrase.entry if hearing.readings else None
        if entry is None:
            continue
        right = right_fields(entry, recording.said.entry if recording.said else None)
        if hearing.strangeness > settings.talk_strangeness:
            right = {"entry": right["entry"]}
        for field, is_right in right.items():
            yield Claim(field, float(getattr(hearing.certainty, field)), is_right, trial.case.condition)


def expected_calibration_error(chances: NDArray[np.float64], right: NDArray[np.float64], bins: int = 15) -> float:
    """Mean distance between chance and share right over bins of equal width, weighted by their cases.

    Naeini et al. 2015, "Obtaining Well Calibrated Probabilities Using Bayesian Binning".
    """
    which = np.minimum((chances * bins).astype(int), bins - 1)
    gaps = [abs(np.sum(chances[which == b]) - np.sum(right[which == b])) for b in range(bins)]
    return float(np.sum(gaps) / len(chances))


def calibration_errors(all_claims: Sequence[Claim]) -> dict[str, tuple[float, int]]:
    """Expected calibration error of each field that has claims, and how many it has."""
    errors = {}
    for field in FIELDS:
        chances, right = _arrays(all_claims, field)
        if len(chances):
            errors[field] = (expected_calibration_error(chances, right), len(chances))
    return errors


def reliability(all_claims: Sequence[Claim], field: str, parts: int = 8) -> list[tuple[float, float, int]]:
    """Mean chance, share right and count in parts of equally many claims, the least certain first."""
    chances, right = _arrays(all_claims, field)
    chosen = np.array_split(np.argsort(chances, kind="stable"), parts)
    return [(float(chances[p].mean()), float(right[p].mean()), len(p)) for p in chosen if len(p)]


def _arrays(all_claims: Sequence[Claim], field: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    of_field = [claim for claim in all_claims if claim.field == field]
    return np.array([c.chance for c in of_field], float), np.array([c.is_right for c in of_field], float)
