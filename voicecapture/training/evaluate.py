"""What becomes of known speech with voices that nothing was tuned on: the figures of the model card.

    python -m voicecapture.training.evaluate MODEL OUT TRIALS...

TRIALS are files from `trials`; MODEL is the listener's folder, for its calibration. OUT gets figures.json and
reliability.svg.
"""

import json
import sys
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import matplotlib
import matplotlib.pyplot as plt
import numpy as np

from voicecapture.bars import DecisionSettings
from voicecapture.bench.manifest import same_meaning
from voicecapture.bench.outcomes import Account, Became, account
from voicecapture.bench.reliability import FIELDS, expected_calibration_error
from voicecapture.language.phrase import Entry, Phrase
from voicecapture.reckoning.intervals import wilson
from voicecapture.recogniser.calibration import Calibration, read_calibration
from voicecapture.training.calibrate import Case, cases, read_trials
from voicecapture.training.trials import Trial, herd_with

_ORDER = ("clean", "20", "10", "10n", "5", "0")


def outcome(trial: Trial, calibration: Calibration, settings: DecisionSettings) -> Account:
    """What became of a trial, with a herd of 1,000."""
    said = Phrase(entry=trial.entry) if trial.entry else None
    heard = ((u.sound, calibration.applied(u.hearing, u.sound.snr_db)) for u in trial.utterances)
    return account(heard, said, herd_with(trial.entry, trial.is_listed), settings)


def is_right(found: Account, said: Entry | None) -> bool:
    """Whether the reading is what was said; where a number alone was said, whether the number is."""
    if said is None or found.became is Became.LOST:
        return said is None and found.became is Became.LOST
    if said.result is None:
        return found.first is not None and found.first.entry is not None and found.first.entry.cow == said.cow
    return same_meaning(found.first, Phrase(entry=said))


def _is_taken_wrong(found: Account, said: Entry | None) -> bool:
    """Taken without asking and not what was said; a result that nobody said counts where a number alone was said."""
    return found.became is Became.TAKEN and not same_meaning(found.first, Phrase(entry=said) if said else None)


def figures(trials: Iterable[Trial], calibration: Calibration, settings: DecisionSettings) -> dict[str, Any]:
    """Counts and shares of a group of trials in one condition."""
    of_group = list(trials)
    found = [outcome(trial, calibration, settings) for trial in of_group]
    count, became = len(found), Counter(one.became for one in found)
    right = sum(is_right(one, trial.entry) for one, trial in zip(found, of_group, strict=True))
    wrong = sum(_is_taken_wrong(one, trial.entry) for one, trial in zip(found, of_group, strict=True))
    return {
        "n": count,
        "recordings": len({trial.number for trial in of_group}),
        "voices": len({trial.speaker for trial in of_group}),
        "right": right / count,
        "taken": became[Became.TAKEN] / count,
        "asked": became[Became.ASKED] / count,
        "taken_wrong": wrong,
        "taken_wrong_share": wrong / count,
        "taken_wrong_at_most": wilson(wrong, count)[1],
    }


def calibration_errors(all_cases: Sequence[Case], calibration: Calibration) -> dict[str, float]:
    """Expected calibration error of each field."""
    errors = {}
    for field in FIELDS:
        chosen = [case for case in all_cases if field in case.is_right]
        if not chosen:
            continue
        chances = np.array([_chance(case, calibration, field) for case in chosen])
        errors[field] = expected_calibration_error(chances, np.array([case.is_right[field] for case in chosen]))
    return errors


def _chance(case: Case, calibration: Calibration, field: str) -> float:
    return float(getattr(calibration, field).chance(case.posteriors[field], case.strangeness, case.snr_db))


def reliability_diagram(all_cases: Sequence[Case], calibration: Calibration, file: Path) -> None:
    """Share right against chance, for each field and condition."""
    matplotlib.rcParams["svg.hashsalt"] = "voicecapture"
    figure, axes = plt.subplots(1, len(FIELDS), figsize=(14, 3.8), sharey=True)
    for axis, field in zip(axes, FIELDS, strict=True):
        axis.plot([0, 1], [0, 1], color="0.7", linewidth=1)
        for condition in _ORDER:
            chosen = [case for case in all_cases if case.condition == condition and field in case.is_right]
            if not chosen:
                continue
            chances = np.array([_chance(case, calibration, field) for case in chosen])
            right = np.array([case.is_right[field] for case in chosen])
            parts = np.array_split(np.argsort(chances), 8)
            points = [(chances[part].mean(), right[part].mean()) for part in parts if len(part)]
            axis.plot(*zip(*points, strict=True), marker="o", markersize=3, label=_name(condition))
        axis.set_title(field)
        axis.set_xlabel("chance given")
    axes[0].set_ylabel("share right")
    axes[-1].legend(fontsize=8)
    figure.tight_layout()
    figure.savefig(file, metadata={"Date": None})
    plt.close(figure)


def _name(condition: str) -> str:
    if condition == "clean":
        return condition
    return f"{condition.rstrip('n')} dB" + (", 8 kHz band" if condition.endswith("n") else "")


def _line(name: str, found: dict[str, Any]) -> str:
    shares = "".join(f"{100 * found[key]:7.1f}%" for key in ("right", "taken", "asked"))
    wrong = f"{found['taken_wrong']:>6}{100 * found['taken_wrong_share']:7.2f}%"
    clusters = f"{found['recordings']:>6}{found['voices']:>7}"
    return f"{name:<34}{found['n']:>6}{clusters}{shares}{wrong}{100 * found['taken_wrong_at_most']:8.2f}%"


def main() -> None:
    """Write the figures and the picture."""
    model, out, *files = map(Path, sys.argv[1:])
    calibration, settings = read_calibration(model / "calibration.json"), DecisionSettings()
    trials = read_trials(files)
    report: dict[str, Any] = {}
    print(f"{'':<34}{'n':>6}{'clips':>6}{'voices':>7}{'right':>8}{'taken':>8}{'asked':>8}{'wrong':>14}{'at most':>9}")
    for condition in (*_ORDER, *sorted({trial.condition for trial in trials} - set(_ORDER))):
        of_condition = [trial for trial in trials if trial.condition == condition]
        groups = {
            "entries": [t for t in of_condition if t.entry and t.entry.result and t.is_listed],
            "people's numbers": [t for t in of_condition if t.entry and not t.entry.result],
            "not listed": [t for t in of_condition if not t.is_listed and t.entry],
            "talk": [t for t in of_condition if t.entry is None],
        }
        for source in sorted({t.source for t in of_condition}):
            chosen = [t for t in of_condition if t.source == source and t.entry and t.is_listed]
            groups[f"  {source}"] = chosen
        for name, group in groups.items():
            if group:
                found = figures(group, calibration, settings)
                report.setdefault(condition, {})[name.strip()] = found
                print(_line(f"{_name(condition)}: {name}", found))
        errors = calibration_errors([case for case in cases(of_condition)], calibration) if of_condition else {}
        if errors:
            report[condition]["expected_calibration_error"] = errors
            print("  calibration error: " + ", ".join(f"{field} {error:.3f}" for field, error in errors.items()))
    (out / "figures.json").write_text(json.dumps(report, indent=1) + "\n", encoding="utf-8")
    reliability_diagram(list(cases(trials)), calibration, out / "reliability.svg")


if __name__ == "__main__":
    main()
