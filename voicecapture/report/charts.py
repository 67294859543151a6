"""The sheet's charts as SVG, each with its text alternative. They read in black and white."""

import io
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from voicecapture.reckoning.intervals import Share
from voicecapture.reckoning.measures import HerdFigures

_STYLE: Any = {
    "svg.fonttype": "none",
    # The same season gives the same file.
    "svg.hashsalt": "voicecapture",
    "font.family": "sans-serif",
    "font.size": 10,
    "axes.spines.top": False,
    "axes.spines.right": False,
}
_INK, _FILL, _BAND = "#1a1a1a", "#5b7f6a", "#b9cfc0"


@dataclass(frozen=True, slots=True)
class Chart:
    """One picture."""

    title: str
    svg: str
    alternative: str
    """What the picture tells, in words."""


def charts(herd: HerdFigures, mating_start: date | None) -> list[Chart]:
    """The pictures that the figures allow."""
    pictures = [_results(herd)] if herd.scanned.count else []
    if herd.curve is not None:
        pictures += [_calvings(herd), _calvings_by_day(herd)]
    if mating_start is not None and herd.conceptions_by_week:
        pictures.append(_conceptions(herd, mating_start))
    return pictures


def _results(herd: HerdFigures) -> Chart:
    parts: list[tuple[str, Share, str, str]] = [
        ("in calf", herd.in_calf, _FILL, ""),
        ("recheck", herd.recheck, "#ffffff", "//"),
        ("empty", herd.empty, _INK, ""),
    ]
    with matplotlib.rc_context(_STYLE):
        figure, axes = _axes(1.5)
        left = 0
        for name, share, colour, hatch in parts:
            label = f"{name} {share.count}"
            axes.barh(0, share.count, left=left, color=colour, edgecolor=_INK, hatch=hatch, height=0.6, label=label)
            left += share.count
        axes.set_yticks([])
        axes.set_xlabel("cows scanned")
        figure.legend(loc="outside upper center", ncols=3, frameon=False)
        svg = _svg(figure)
    told = ", ".join(f"{name} {share.count}" for name, share, _, _ in parts)
    return Chart("Results", svg, f"Of {herd.in_calf.of} cows scanned: {told}.")


def _calvings(herd: HerdFigures) -> Chart:
    assert herd.curve is not None
    weeks = herd.curve.weeks
    with matplotlib.rc_context(_STYLE):
        figure, axes = _axes(3.0)
        days = [week.first_on for week in weeks]
        expected = [week.expected for week in weeks]
        below = [max(0.0, week.expected - week.low) for week in weeks]
        above = [max(0.0, week.high - week.expected) for week in weeks]
        axes.bar(range(len(weeks)), expected, color=_BAND, edgecolor=_INK, width=0.8)
        axes.errorbar(range(len(weeks)), expected, [below, above], fmt="none", ecolor=_INK, capsize=3, linewidth=1)
        every = ceil(len(weeks) / 8)
        axes.set_xticks(range(0, len(weeks), every), [f"{d.day} {d:%b}" for d in days[::every]])
        axes.set_ylabel("calvings in the week")
        axes.set_xlabel("week from; the lines hold four weeks of five")
        svg = _svg(figure)
    told = "; ".join(f"{w.first_on}: {w.expected:.1f} ({w.low} to {w.high})" for w in weeks)
    alternative = f"Expected calvings in the week from each day, with the 80 % band: {told}."
    return Chart("Expected calvings by week", svg, alternative)


def _calvings_by_day(herd: HerdFigures) -> Chart:
    assert herd.curve is not None
    days = herd.curve.days
    with matplotlib.rc_context(_STYLE):
        figure, axes = _axes(2.2)
        on = [day.first_on.toordinal() for day in days]
        low, high = [day.low for day in days], [day.high for day in days]
        axes.fill_between(on, low, high, color=_BAND, step="mid")
        axes.plot(on, [day.expected for day in days], color=_INK, linewidth=1.2)
        every = max(1, len(days) // 8)
        axes.set_xticks(on[::every], [f"{day.first_on.day} {day.first_on:%b}" for day in days[::every]])
        axes.set_ylabel("calvings on the day")
        axes.set_xlabel("the band holds four days of five")
        svg = _svg(figure)
    most = max(days, key=lambda day: day.expected)
    return Chart(
        "Expected calvings by day",
        svg,
        f"Expected calvings on each day from {days[0].first_on} to {days[-1].first_on}, with the 80 % band; most on "
        f"{most.first_on}: {most.expected:.1f} ({most.low} to {most.high}).",
    )


def _conceptions(herd: HerdFigures, mating_start: date) -> Chart:
    counts = herd.conceptions_by_week
    with matplotlib.rc_context(_STYLE):
        figure, axes = _axes(2.6)
        axes.bar(range(1, len(counts) + 1), counts, color=_BAND, edgecolor=_INK, width=0.8)
        for week in (3, 6):
            axes.axvline(week + 0.5, color=_INK, linestyle="--", linewidth=1)
            axes.text(week + 0.45, max(counts), f"{week} weeks", ha="right", va="bottom", fontsize=9)
        axes.set_xticks(range(1, len(counts) + 1))
        axes.set_ylabel("cows conceived")
        axes.set_xlabel(f"week of mating, from {mating_start}")
        svg = _svg(figure)
    weeks = [(week, mating_start + timedelta(weeks=week - 1), n) for week, n in enumerate(counts, 1)]
    told = "; ".join(f"week {week} from {monday}: {n}" for week, monday, n in weeks)
    unknown = f" {herd.conceived_unknown} cows in calf are not in it." if herd.conceived_unknown else ""
    alternative = f"Cows that conceived in each week of mating: {told}.{unknown}"
    return Chart("Conceptions by week of mating", svg, alternative)


def _axes(height_in: float) -> tuple[Figure, Axes]:
    figure = Figure(figsize=(7.2, height_in), layout="constrained")
    return figure, figure.add_subplot()


def _svg(figure: Figure) -> str:
    """The picture without its XML heading, to stand inside a page."""
    file = io.StringIO()
    figure.savefig(file, format="svg", metadata={"Date": None})
    text = file.getvalue()
    return text[text.index("<svg") :]
