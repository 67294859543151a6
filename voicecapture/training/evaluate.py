"""What becomes of known speech with voices that nothing was tuned on: the figures of the model card.

    python -m voicecapture.training.evaluate MODEL OUT TRIALS...

TRIALS are files from `trials`; MODEL is the listener's folder, for its calibration. OUT gets figures.json and
reliability.svg.
"""

import json
import sys
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
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
_ERRORS = "expected_calibration_error"
_GROUPS: dict[str, Callable[[Trial], bool]] = {
    "entries": lambda trial: trial.entry is not None and trial.entry.result is not None and trial.is_listed,
    "people's numbers": lambda trial: trial.entry is not None and trial.entry.result is None,
    "not listed": lambda trial: trial.entry is not None and not trial.is_listed,
    "talk": lambda trial: trial.entry is None,
}


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


def report(trials: Sequence[Trial], calibration: Calibration, settings: DecisionSettings) -> dict[str, Any]:
    """Figures of every group in every condition, and the calibration errors of each condition."""
    found: dict[str, Any] = {}
    for condition in sorted({trial.condition for trial in trials}, key=lambda c: (c not in _ORDER, *_place(c))):
        of_condition = [trial for trial in trials if trial.condition == condition]
        groups = {name: [trial for trial in of_condition if is_in(trial)] for name, is_in in _GROUPS.items()}
        for source in sorted({trial.source for trial in of_condition}):
            groups[source] = [t for t in of_condition if t.source == source and t.entry and t.is_listed]
        figures_of = {name: figures(group, calibration, settings) for name, group in groups.items() if group}
        errors = calibration_errors(list(cases(of_condition)), calibration)
        found[condition] = {**figures_of, _ERRORS: errors}
    return found


def _place(condition: str) -> tuple[int, str]:
    return (_ORDER.index(condition) if condition in _ORDER else 0), condition


def rows(found: dict[str, Any]) -> list[str]:
    """A report as a table."""
    lines = [
        f"{'':<34}{'n':>6}{'clips':>6}{'voices':>7}{'right':>8}{'taken':>8}{'asked':>8}{'wrong':>14}{'at most':>9}"
    ]
    for condition, groups in found.items():
        for name, group in groups.items():
            if name != _ERRORS:
                lines.append(_line(f"{_name(condition)}: {'' if name in _GROUPS else '  '}{name}", group))
        errors = ", ".join(f"{field} {error:.3f}" for field, error in groups[_ERRORS].items())
        lines.append(f"  calibration error: {errors}")
    return lines


def _line(name: str, group: dict[str, Any]) -> str:
    shares = "".join(f"{100 * group[key]:7.1f}%" for key in ("right", "taken", "asked"))
    wrong = f"{group['taken_wrong']:>6}{100 * group['taken_wrong_share']:7.2f}%"
    clusters = f"{group['recordings']:>6}{group['voices']:>7}"
    return f"{name:<34}{group['n']:>6}{clusters}{shares}{wrong}{100 * group['taken_wrong_at_most']:8.2f}%"


def main() -> None:
    """Write the figures and the picture."""
    model, out, *files = map(Path, sys.argv[1:])
    calibration = read_calibration(model / "calibration.json")
    trials = read_trials(files)
    found = report(trials, calibration, DecisionSettings())
    print("\n".join(rows(found)))
    (out / "figures.json").write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    reliability_diagram(list(cases(trials)), calibration, out / "reliability.svg")


if __name__ == "__main__":
    main()
