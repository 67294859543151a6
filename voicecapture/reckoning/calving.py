"""When cows will calve: one cow's window, and the whole herd's curve."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from math import ceil, floor, hypot
from statistics import NormalDist

import numpy as np

from voicecapture.reckoning.conception import Conception
from voicecapture.reckoning.gestation import GESTATION_SD_DAYS
from voicecapture.reckoning.intervals import count_band


@dataclass(frozen=True, slots=True)
class ExpectedCalving:
    """A calving date as a normal distribution."""

    due_on: date
    sd_days: float

    def window(self, coverage: float) -> tuple[date, date]:
        """First and last day of the window that holds the calving with this chance, whole days outwards."""
        half = NormalDist().inv_cdf((1 + coverage) / 2) * self.sd_days
        return self.due_on + timedelta(days=floor(-half)), self.due_on + timedelta(days=ceil(half))


def due_date(conceived_on: date, gestation_days: float) -> date:
    """Conception or service and the length of gestation, to the nearest day."""
    return conceived_on + timedelta(days=round(gestation_days))


def expected_calving(conception: Conception, gestation_days: float) -> ExpectedCalving:
    """The calving: the uncertainties of conception and of gestation (5 days) are independent and add as squares."""
    return ExpectedCalving(due_date(conception.on, gestation_days), hypot(conception.sd_days, GESTATION_SD_DAYS))


@dataclass(frozen=True, slots=True)
class Calvings:
    """Expected calvings on one day or in one week."""

    first_on: date
    """The day, or the Monday of the week."""
    expected: float
    low: int
    high: int
    """80 % band of the count, each cow calving by herself."""


@dataclass(frozen=True)
class CalvingCurve:
    """All expected calvings as the sum of the cows' distributions, if no pregnancy is lost."""

    calvings: tuple[ExpectedCalving, ...]

    @cached_property
    def _groups(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Day (ordinal), standard deviation and number of cows that share both; shapes (groups,)."""
        counts = Counter((c.due_on.toordinal(), round(c.sd_days, 2)) for c in self.calvings)
        due, sd = np.array(list(counts), dtype=float).T
        return due, sd, np.array(list(counts.values()), dtype=float)

    @cached_property
    def first_on(self) -> date:
        """First day of `by_day`: before it nearly nobody calves (four standard deviations)."""
        due, sd, _ = self._groups
        return date.fromordinal(floor((due - 4 * sd).min()))

    @cached_property
    def by_day(self) -> np.ndarray:
        """Expected calvings on each day from `first_on` on, shape (days,)."""
        due, sd, cows = self._groups
        days = np.arange(self.first_on.toordinal(), ceil((due + 4 * sd).max()) + 1)
        before = _below((days[:, None] - 0.5 - due) / sd)
        after = _below((days[:, None] + 0.5 - due) / sd)
        return np.asarray((after - before) @ cows)

    def calved_by(self, share: float) -> date:
        """The day by which this share of the cows is expected to have calved."""
        total = np.cumsum(self.by_day)
        return self.first_on + timedelta(days=int(np.searchsorted(total, share * total[-1])))

    @cached_property
    def weeks(self) -> tuple[Calvings, ...]:
        """Expected calvings by week, from Monday."""
        return self._by(7, self.first_on - timedelta(days=self.first_on.weekday()))

    @cached_property
    def days(self) -> tuple[Calvings, ...]:
        """Expected calvings by day."""
        return self._by(1, self.first_on)

    def _by(self, length: int, first_on: date) -> tuple[Calvings, ...]:
        """Every span of so many days, from the first to the last in which a twentieth of a cow is expected."""
        due, sd, cows = self._groups
        last = self.first_on.toordinal() + len(self.by_day)
        firsts = np.arange(first_on.toordinal(), last, length)
        starts = firsts[:, None] - 0.5
        chances = _below((starts + length - due) / sd) - _below((starts - due) / sd)
        expected = chances @ cows
        told = np.flatnonzero(expected >= 0.05)
        spans = []
        for place in range(told[0], told[-1] + 1) if len(told) else ():
            possible = chances[place] > 1e-6
            low, high = count_band(np.repeat(chances[place, possible], cows[possible].astype(int)).tolist())
            spans.append(Calvings(date.fromordinal(int(firsts[place])), float(expected[place]), low, high))
        return tuple(spans)

    @property
    def busiest(self) -> Calvings:
        """The week with most expected calvings."""
        return max(self.weeks, key=lambda week: week.expected)


def calving_curve(calvings: Iterable[ExpectedCalving]) -> CalvingCurve | None:
    """The herd's curve; None if nobody is expected to calve."""
    found: Sequence[ExpectedCalving] = tuple(calvings)
    return CalvingCurve(tuple(found)) if found else None


def _below(z: np.ndarray) -> np.ndarray:
    """Share of the standard normal distribution below z, elementwise."""
    # Loading scipy takes longer than everything else that opens a record, and only the curve of a herd asks for it.
    from scipy.special import ndtr

    return np.asarray(ndtr(z))
