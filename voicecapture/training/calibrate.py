"""Fits the chances that the listener's readings are right.

    python -m voicecapture.training.calibrate OUT TRIALS...

TRIALS are files from `trials` with voices that were neither trained on nor are reported on. OUT is the
calibration.json that lies beside the weights.
"""

import json
import pickle
import sys
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from voicecapture.bars import DecisionSettings
from voicecapture.bench.reliability import FIELDS, right_fields
from voicecapture.recogniser.calibration import Calibration, FieldModel, features
from voicecapture.training.trials import Trial

_RIDGE = 1e-3
_TALK_STRANGENESS = DecisionSettings().talk_strangeness


@dataclass(frozen=True, slots=True)
class Case:
    """One utterance, and whether each field of its first reading was right."""

    posteriors: dict[str, float]
    strangeness: float
    snr_db: float
    is_right: dict[str, bool]
    condition: str


def read_trials(files: Iterable[Path]) -> list[Trial]:
    """Trials of several files."""
    return [trial for file in files for trial in pickle.loads(file.read_bytes())]


def cases(trials: Iterable[Trial]) -> Iterator[Case]:
    """Utterances that were read as an entry, out of trials that came out in one piece.

    Talk counts, as an entry that is wrong; beyond the bar for talk only as to whether it is an entry. Where people
    said a number alone, only the number counts.
    """
    for trial in trials:
        if len(trial.utterances) != 1:
            continue
        utterance = trial.utterances[0]
        hearing = utterance.hearing
        entry = hearing.readings[0].phrase.entry if hearing.readings else None
        is_number_alone = trial.entry is not None and trial.entry.result is None
        if entry is None or (is_number_alone and entry.cow is None):
            continue
        right = right_fields(entry, trial.entry)
        if hearing.strangeness > _TALK_STRANGENESS:
            right = {"entry": right["entry"]}
        elif is_number_alone:
            right = {"number": right["number"], "entry": True}
        raw = hearing.certainty
        posteriors = {"number": raw.number, "result": raw.result, "age": raw.age, "phrase": raw.phrase}
        posteriors["entry"] = raw.phrase
        yield Case(posteriors, hearing.strangeness, utterance.sound.snr_db, right, trial.condition)


def fit(all_cases: Iterable[Case], field: str) -> FieldModel:
    """The logistic model of one field, by largest likelihood with a slight pull to zero weights."""
    chosen = [case for case in all_cases if field in case.is_right]
    inputs = np.array([features(case.posteriors[field], case.strangeness, case.snr_db) for case in chosen])
    right = np.array([case.is_right[field] for case in chosen], dtype=np.float64)
    scale = np.array([1.0, 5.0, 10.0, 15.0])

    def loss(weights: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        odds = inputs / scale @ weights
        value = np.mean(np.logaddexp(0, odds) - right * odds) + _RIDGE * weights[1:] @ weights[1:] / len(right)
        slope = (inputs / scale).T @ (1 / (1 + np.exp(-odds)) - right) / len(right)
        return float(value), slope + 2 * _RIDGE * np.r_[0, weights[1:]] / len(right)

    found = minimize(loss, np.zeros(4), jac=True, method="L-BFGS-B")
    return FieldModel(*(float(w) for w in found.x / scale))


def main() -> None:
    """Fit all fields and write them."""
    out, *files = map(Path, sys.argv[1:])
    trials = read_trials(files)
    all_cases = list(cases(trials))
    models = {field: fit(all_cases, field) for field in FIELDS}
    content = {
        "fields": {name: asdict(model) for name, model in models.items()},
        "cases": len(all_cases),
        "speakers": len({trial.speaker for trial in trials}),
    }
    out.write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
    print(json.dumps(content), Calibration(**models), sep="\n")


if __name__ == "__main__":
    main()
