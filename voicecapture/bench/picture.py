"""The results of a run as one picture: a row for each engine. It reads in black and white."""

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from voicecapture.bars import DecisionSettings
from voicecapture.bench.cases import conditions_in_order
from voicecapture.bench.figures import figures, grouped
from voicecapture.bench.reliability import FIELDS, calibration_errors, reliability
from voicecapture.bench.results import ENTRY, Results, Run, condition
from voicecapture.errors import RecordError
from voicecapture.reckoning.intervals import Share

FORMATS = (".svg", ".png", ".pdf")
_STYLE: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "voicecapture",
    "font.family": "sans-serif",
    "font.size": 9,
    "axes.spines.top": False,
    "axes.spines.right": False,
}
_INKS = ("#1f5b3a", "#1f4f8f", "#a33b20", "#7a5c00", "#5b3f8a")
_MARKS = ("o", "s", "^", "D", "v")
_LINEAR = 0.1
"""Per cent up to which the axis of the curve is linear, so that none at all has a place on it."""


def check_picture(file: Path) -> None:
    """Refuse a file whose ending names no picture.

    Raises:
        RecordError: If it does not.
    """
    if file.suffix.lower() not in FORMATS:
        raise RecordError(f"{file}: no picture of that name; expected {', '.join(FORMATS)}. Rename the file.")


def draw(run: Run, all_results: Sequence[Results], ending: str) -> bytes:
    """The picture by condition, the curve over the bar and the reliability diagram, in the format of an ending."""
    with matplotlib.rc_context(_STYLE):
        figure = Figure(figsize=(13, 0.4 + 3.9 * len(all_results)), layout="constrained")
        figure.suptitle(f"{run.folder}: {run.recordings} recordings, a herd of {run.herd}", fontsize=10)
        axes = figure.subplots(len(all_results), 3, squeeze=False)
        for found, (left, middle, right) in zip(all_results, axes, strict=True):
            _by_condition(found, left)
            _curve(found, middle)
            _reliability(found, right)
        drawn, format = io.BytesIO(), ending.lower().removeprefix(".")
        figure.savefig(drawn, format=format, dpi=150, metadata={"Date": None} if format == "svg" else None)
    return drawn.getvalue()


def _by_condition(found: Results, axes: Axes) -> None:
    groups = grouped(found.of(ENTRY), condition)
    names = conditions_in_order(groups)
    for place, part in enumerate(("right", "taken", "wrong")):
        shares = [getattr(figures(groups[name]), part) for name in names]
        values = [100 * (share.value or 0) for share in shares]
        x = [n + 0.08 * (place - 1) for n in range(len(names))]
        axes.errorbar(
            x,
            values,
            _bars(shares),
            color=_INKS[place],
            marker=_MARKS[place],
            markersize=4,
            capsize=2,
            linewidth=1,
            label={"wrong": "taken wrong"}.get(part, part),
        )
    axes.set_xticks(range(len(names)), names)
    axes.set_ylim(-3, 103)
    axes.set_ylabel("% of entries")
    axes.set_title(f"{found.engine}: entries by noise")
    axes.legend(fontsize=8)


def _bars(shares: Sequence[Share]) -> list[list[float]]:
    """How far the intervals reach below and above, per cent."""
    reaches = [((share.value or 0) - share.interval[0], share.interval[1] - (share.value or 0)) for share in shares]
    return [[100 * max(0.0, reach) for reach in side] for side in zip(*reaches, strict=True)] if reaches else [[], []]


def _curve(found: Results, axes: Axes) -> None:
    points = [point for point in found.curve if point.figures.n]
    asked = [100 * (point.figures.asked.value or 0) for point in points]
    wrong = [100 * (point.figures.wrong.value or 0) for point in points]
    low, high = ([100 * point.figures.wrong.interval[end] for point in points] for end in (0, 1))
    axes.fill_between(asked, low, high, color=_INKS[0], alpha=0.15, linewidth=0)
    axes.plot(asked, wrong, color=_INKS[0], marker="o", markersize=3, linewidth=1, clip_on=False)
    for point, x, y in zip(points, asked, wrong, strict=True):
        if point.wrong_costs == DecisionSettings().wrong_costs:
            axes.plot(
                [x], [y], marker="s", color=_INKS[2], markersize=8, fillstyle="none", linestyle="none", clip_on=False
            )
            axes.annotate("as set", (x, y), textcoords="offset points", xytext=(6, 6))
    axes.set_yscale("symlog", linthresh=_LINEAR, linscale=0.5)
    axes.set_ylim(bottom=0)
    axes.yaxis.set_major_formatter("{x:g}")
    axes.set_xlabel("% asked")
    axes.set_ylabel("% taken wrong")
    axes.set_title(f"{found.engine}: herd cows' entries over the bar")


def _reliability(found: Results, axes: Axes) -> None:
    axes.plot([0, 1], [0, 1], color="0.7", linewidth=1)
    errors = calibration_errors(found.claims)
    for field, ink, mark in zip(FIELDS, _INKS, _MARKS, strict=True):
        if field not in errors:
            continue
        points = [(chance, right) for chance, right, _ in reliability(found.claims, field)]
        label = f"{field}: error {errors[field][0]:.3f}"
        axes.plot(*zip(*points, strict=True), color=ink, marker=mark, markersize=4, linewidth=1, label=label)
    axes.set_xlabel("chance given")
    axes.set_ylabel("share right")
    axes.set_title(f"{found.engine}: reliability")
    if errors:
        axes.legend(fontsize=8)
