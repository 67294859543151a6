"""From outcomes to figures: shares with their clusters, rates, the curve over the bar, latency. Pure."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from voicecapture.bars import DecisionSettings
from voicecapture.bench.outcomes import Became, Outcome, is_herd_entry, judged
from voicecapture.bench.trial import Timing, Trial
from voicecapture.herd import Herd
from voicecapture.reckoning.intervals import Share

WRONG_COSTS = (1.5, 2, 3, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 100_000)
"""Bars of the curve: questions that a silently wrong entry is worth."""


@dataclass(frozen=True, slots=True)
class Figures:
    """A group of trials in numbers."""

    right: Share
    taken: Share
    asked: Share
    lost: Share
    wrong: Share
    """Taken without asking, and not what was said."""
    voices: int
    noises: int
    """Different ones; trials that share a voice or a noise are not independent, whatever the intervals say."""

    @property
    def n(self) -> int:
        """Trials."""
        return self.right.of


def figures(outcomes: Iterable[Outcome]) -> Figures:
    """The figures of a group."""
    group = list(outcomes)

    def share(is_so: Callable[[Outcome], bool]) -> Share:
        return Share(sum(map(is_so, group)), len(group))

    return Figures(
        share(lambda o: o.is_right),
        share(lambda o: o.became is Became.TAKEN),
        share(lambda o: o.became is Became.ASKED),
        share(lambda o: o.became is Became.LOST),
        share(lambda o: o.is_taken_wrong),
        len({o.trial.case.recording.voice for o in group} - {""}),
        len({o.trial.case.noise for o in group} - {""}),
    )


def grouped(outcomes: Iterable[Outcome], name: Callable[[Outcome], str]) -> dict[str, list[Outcome]]:
    """Outcomes by name, the names in order."""
    groups: dict[str, list[Outcome]] = {}
    for outcome in outcomes:
        groups.setdefault(name(outcome), []).append(outcome)
    return dict(sorted(groups.items()))


@dataclass(frozen=True, slots=True)
class Point:
    """One bar of the curve."""

    wrong_costs: float
    figures: Figures
    """Of the entries for cows of the herd."""


def curve(trials: Sequence[Trial], herd: Herd, settings: DecisionSettings) -> list[Point]:
    """Accepted, asked and wrong over the bar, from what was heard once. The other bars stay.

    The bars are `WRONG_COSTS` and the one of the settings, in order.
    """
    entries = [outcome.trial for outcome in judged(trials, herd, settings) if is_herd_entry(outcome)]
    bars = sorted({*WRONG_COSTS, settings.wrong_costs})
    return [Point(bar, figures(judged(entries, herd, replace(settings, wrong_costs=bar)))) for bar in bars]


@dataclass(frozen=True, slots=True)
class Rate:
    """So many in so many hours."""

    count: int
    hours: float

    @property
    def per_hour(self) -> float | None:
        """None of no time."""
        return self.count / self.hours if self.hours else None

    @property
    def interval(self) -> tuple[float, float]:
        """95 % interval per hour, exact for a Poisson count (Garwood 1936, Biometrika 28:437-442)."""
        if not self.hours:
            return 0.0, float("inf")
        # Half a second to load; only the bench asks for it.
        from scipy.stats import chi2

        low = chi2.ppf(0.025, 2 * self.count) / 2 if self.count else 0.0
        return float(low) / self.hours, float(chi2.ppf(0.975, 2 * self.count + 2)) / 2 / self.hours


def false_entries(outcomes: Iterable[Outcome]) -> Rate:
    """Entries taken where nothing was said to the listener, per hour of that sound."""
    group = list(outcomes)
    return Rate(sum(o.entries for o in group), sum(o.trial.duration_s for o in group) / 3600)


def questions(outcomes: Iterable[Outcome]) -> Rate:
    """Questions asked, per hour of sound; at most one is counted for a recording."""
    group = list(outcomes)
    asked = sum(o.became is Became.ASKED for o in group)
    return Rate(asked, sum(o.trial.duration_s for o in group) / 3600)


@dataclass(frozen=True, slots=True)
class Spread:
    """Seconds of one step over many utterances."""

    n: int
    median_s: float
    most_s: float
    """95 % are below."""


def spread(values_s: Iterable[float | None]) -> Spread | None:
    """Median and 95th percentile of what is known; None if nothing is."""
    known = [value for value in values_s if value is not None]
    return Spread(len(known), float(np.median(known)), float(np.percentile(known, 95))) if known else None


_STEPS: dict[str, Callable[[Timing], float | None]] = {
    "waiting for the pause": lambda timing: timing.wait_s,
    "decoding": lambda timing: timing.decode_s,
    "deciding": lambda timing: timing.decide_s,
    "storing": lambda timing: timing.store_s,
    "to the first word read back": lambda timing: timing.voice_s,
    "all, last voice to first word": lambda timing: timing.total_s,
}


def latency(outcomes: Iterable[Outcome]) -> dict[str, Spread]:
    """Each step's time, over all utterances of recordings in which something was said to the listener."""
    timings = [heard.timing for o in outcomes if o.said is not None for heard in o.trial.utterances]
    found = {name: spread(map(step, timings)) for name, step in _STEPS.items()}
    return {name: step for name, step in found.items() if step is not None}


def decoding_share(outcomes: Iterable[Outcome]) -> float | None:
    """Seconds of decoding for a second of utterance; None of nothing."""
    utterances = [heard for outcome in outcomes for heard in outcome.trial.utterances]
    spoken_s = sum(heard.utterance.end_s - heard.utterance.start_s for heard in utterances)
    return sum(heard.timing.decode_s for heard in utterances) / spoken_s if spoken_s else None
