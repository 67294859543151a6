"""The herd in figures, each with its denominator: what the trade's fertility measures are, and how they are bounded.

A cow that is to be scanned again, or was never seen, is in no numerator of the lower bound and in every one of the
upper: she is never dropped in silence.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from voicecapture.herd import Matings
from voicecapture.language.phrase import Result
from voicecapture.reckoning.calving import CalvingCurve, calving_curve
from voicecapture.reckoning.conception import Basis
from voicecapture.reckoning.cow import CowReckoning, earliest_days, matings_since_calving
from voicecapture.reckoning.intervals import Share


@dataclass(frozen=True, slots=True)
class Bounded:
    """A share of which some cows are not known yet."""

    known: int
    """Cows that count for certain."""
    unknown: int
    """Cows that may count too."""
    of: int

    @property
    def low(self) -> Share:
        """None of the unknown cows counts."""
        return Share(self.known, self.of)

    @property
    def high(self) -> Share:
        """All of the unknown cows count."""
        return Share(self.known + self.unknown, self.of)


@dataclass(frozen=True, slots=True)
class HerdFigures:
    """One herd in one season."""

    scanned: Share
    """Cows with a result, of all cows of the lists."""
    in_calf: Share
    empty: Share
    recheck: Share
    """Of the cows scanned."""
    twins: Share
    """Of the cows in calf."""
    not_in_calf: Bounded
    """Of the eligible cows; its upper bound is the not-in-calf rate, which counts all that are not known in calf."""
    three_week_in_calf: Bounded | None
    six_week_in_calf: Bounded | None
    """Of the eligible cows; None if the start of mating is not known."""
    three_week_submission: Share | None
    """Served in the first 21 days, of the eligible cows; None without services."""
    conception: Bounded | None
    """Services with a calf, of the services of which it is known; None without services."""
    conceptions_by_week: tuple[int, ...]
    """By week of mating, week 1 first."""
    conceived_unknown: int
    """Cows in calf whose day of conception is not known or is before the start of mating."""
    curve: CalvingCurve | None
    expected_losses: float
    """Pregnancies expected to be lost between their scan and day 90."""


def last_day_of(mating_start: date, weeks: int) -> date:
    """Last day of the first weeks of mating, which begin with the first day of mating itself."""
    return mating_start + timedelta(days=7 * weeks - 1)


def herd_figures(cows: Sequence[CowReckoning], matings: Matings, mating_start: date | None) -> HerdFigures:
    """The figures of all cows of a season."""
    seen = [cow for cow in cows if cow.result is not None]
    in_calf = [cow for cow in seen if cow.result is Result.PREGNANT]
    empty = [cow for cow in seen if cow.result is Result.EMPTY]
    eligible = [cow for cow in cows if cow.animal.is_eligible]
    dated = [cow for cow in in_calf if cow.conception is not None]
    weeks = _conceptions_by_week(dated, mating_start) if mating_start else Counter()
    in_weeks = sum(weeks.values())
    eligible_empty = sum(cow.result is Result.EMPTY for cow in eligible)
    eligible_in_calf = sum(cow.result is Result.PREGNANT for cow in eligible)
    return HerdFigures(
        scanned=Share(len(seen), len(cows)),
        in_calf=Share(len(in_calf), len(seen)),
        empty=Share(len(empty), len(seen)),
        recheck=Share(len(seen) - len(in_calf) - len(empty), len(seen)),
        twins=Share(sum(cow.twins for cow in in_calf), len(in_calf)),
        not_in_calf=Bounded(eligible_empty, len(eligible) - eligible_empty - eligible_in_calf, len(eligible)),
        three_week_in_calf=_conceived_in(eligible, mating_start, 3) if mating_start else None,
        six_week_in_calf=_conceived_in(eligible, mating_start, 6) if mating_start else None,
        three_week_submission=_submission(eligible, matings, mating_start) if mating_start else None,
        conception=conception_rate(cows, matings, mating_start),
        conceptions_by_week=tuple(weeks[week] for week in range(1, max(weeks, default=0) + 1)),
        conceived_unknown=len(in_calf) - in_weeks,
        curve=calving_curve(cow.calving for cow in in_calf if cow.calving is not None),
        expected_losses=sum(cow.loss_chance or 0.0 for cow in in_calf),
    )


def _conceptions_by_week(dated: Sequence[CowReckoning], mating_start: date) -> Counter[int]:
    weeks: Counter[int] = Counter()
    for cow in dated:
        assert cow.conception is not None
        days = (cow.conception.on - mating_start).days
        if days >= 0:
            weeks[days // 7 + 1] += 1
    return weeks


def _conceived_in(eligible: Sequence[CowReckoning], mating_start: date, weeks: int) -> Bounded:
    """Conceived in the first weeks of mating; a cow in calf of unknown age, a recheck and a cow unseen may have.

    So may a cow dated before the start of mating by no more than her date is uncertain (95 %).
    """
    last = last_day_of(mating_start, weeks)
    known = unknown = 0
    for cow in eligible:
        if cow.conception is not None:
            early_days = (mating_start - cow.conception.on).days
            known += mating_start <= cow.conception.on <= last
            unknown += 0 < early_days <= 1.96 * cow.conception.sd_days
        elif cow.result is not Result.EMPTY:
            unknown += 1
    return Bounded(known, unknown, len(eligible))


def _submission(eligible: Sequence[CowReckoning], matings: Matings, mating_start: date) -> Share | None:
    if not matings.services:
        return None
    last = last_day_of(mating_start, 3)
    served = sum(
        any(mating_start <= service.served_on <= last for service in matings.services_of(cow.cow)) for cow in eligible
    )
    return Share(served, len(eligible))


def conception_rate(
    cows: Sequence[CowReckoning], matings: Matings, mating_start: date | None = None
) -> Bounded | None:
    """Services that gave the calf, of those whose outcome is known; None without services.

    Services are those from the start of mating and after the cow's last calving; two on one day are one. Known is
    the outcome of every service up to the conception of a cow in calf, by a service or by a bull, and of every
    service of an empty cow that was far enough back to be seen; not that of rechecks and cows unseen. A cow in calf
    without a date is taken to be so by the last service that the scan could tell, or perhaps by a bull that was with
    her since.
    """
    if not matings.services:
        return None  # the herd list's last matings alone hide the services before them
    known = unknown = tested = 0
    for cow in cows:
        if cow.last is None or cow.result not in (Result.PREGNANT, Result.EMPTY):
            continue
        services, bulls = matings_since_calving(cow.animal, matings)
        told = cow.last.scanned_on - timedelta(days=earliest_days(cow.animal))
        until = cow.conception.on if cow.conception is not None else told
        served = {s.served_on for s in services if (mating_start or date.min) <= s.served_on <= until}
        if not served or (cow.conception is not None and cow.conception.is_misfit):
            continue
        tested += len(served)
        if cow.conception is not None:
            known += cow.conception.basis is Basis.SERVICE and cow.conception.on in served
        elif cow.result is Result.PREGNANT:
            is_by_bull = any(b.bull_in <= told and (b.bull_out or told) >= max(served) for b in bulls)
            known += not is_by_bull
            unknown += is_by_bull
    return Bounded(known, unknown, tested) if tested else None


def pregnancy_share(served: Share, conceived: Share) -> float | None:
    """The 21-day pregnancy rate: submission times conception (AHDB, KPI definitions for all-year herds, 2017)."""
    if served.value is None or conceived.value is None:
        return None
    return served.value * conceived.value


def two_round_in_calf(submission: float, conception: float) -> float:
    """In-calf share after two rounds of 21 days at the same submission and conception: 1 - (1 - SR·CR)².

    Equals the printed table of an industry article on the six-week in-calf rate (Agriland UK) in all its cells.
    """
    return 1 - (1 - submission * conception) ** 2
