"""A herd that calves all the year: the list of cows for a visit, and the measures counted from calving."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from voicecapture.herd import Animal, Matings
from voicecapture.language.phrase import Result
from voicecapture.reckoning.cow import CowReckoning, earliest_days, first_recheck_day, matings_since_calving
from voicecapture.reckoning.intervals import Share
from voicecapture.reckoning.measures import Bounded


@dataclass(frozen=True, slots=True)
class VisitCow:
    """A cow to be scanned at a visit."""

    animal: Animal
    mated_on: date | None
    """Her last mating that a scan can tell: a service, or the day from which a bull ran with her."""
    days_since_mating: int | None
    why: str


def visit_list(cows: Sequence[CowReckoning], matings: Matings, visit_on: date) -> list[VisitCow]:
    """Cows to be scanned on a day: the longest mated first, those without a mating last.

    Those are the cows whose last mating can be told and was not yet, every recheck, and the empty ones that were
    scanned too early to tell.
    """
    due = []
    for cow in cows:
        mated_on = _last_told(cow, matings, visit_on)
        why = _why(cow, matings, mated_on, visit_on)
        if why:
            due.append(VisitCow(cow.animal, mated_on, (visit_on - mated_on).days if mated_on else None, why))
    return sorted(due, key=lambda cow: (cow.mated_on is None, cow.mated_on or visit_on, int(cow.animal.cow)))


def _last_told(cow: CowReckoning, matings: Matings, visit_on: date) -> date | None:
    """Her last mating, if it was long enough ago."""
    before = visit_on - timedelta(days=earliest_days(cow.animal))
    services, bulls = matings_since_calving(cow.animal, matings)
    served_on = max((s.served_on for s in services if s.served_on <= visit_on), default=None)
    if served_on is not None and served_on > before:
        return None  # she came on heat again
    # The bull runs with the cows in calf too.
    bulls = bulls if cow.result is not Result.PREGNANT else []
    days = [bull.bull_in for bull in bulls if bull.bull_in <= before] + ([served_on] if served_on else [])
    return max(days, default=None)


def _why(cow: CowReckoning, matings: Matings, mated_on: date | None, visit_on: date) -> str:
    """Why she is to be scanned; empty if she is not."""
    if cow.result is Result.RECHECK:
        return "recheck"
    if cow.result is Result.EMPTY and cow.last is not None:
        # An empty that was told too early; the recheck of one that was not is on the day of the scan itself.
        first_on = first_recheck_day(cow.animal, cow.last, *matings_since_calving(cow.animal, matings))
        if cow.last.scanned_on < first_on <= visit_on:
            return "empty, too early to tell"
    if mated_on is None:
        return ""
    is_told = cow.last is not None and (cow.last.scanned_on - mated_on).days >= earliest_days(cow.animal)
    return "" if is_told and cow.result is not None else "mated"


@dataclass(frozen=True, slots=True)
class YearRoundFigures:
    """Measures of a herd that calves all the year, on one day; denominators are cows that calved long enough ago."""

    in_calf_by_100: Bounded
    """In calf within 100 days of calving, of cows that calved more than 100 days ago."""
    not_in_calf_by_200: Bounded
    """Not in calf within 200 days of calving, of cows that calved more than 200 days ago."""
    submission_by_80: Share | None
    """Served within 80 days of calving, of cows that calved more than 80 days ago; None without services."""


def year_round_figures(cows: Sequence[CowReckoning], matings: Matings, on: date) -> YearRoundFigures | None:
    """The measures on a day (definitions: Vet Sci 2023;10(9):550); None if no calving is recorded."""
    calved = [(cow, cow.animal.calved_on) for cow in cows if cow.animal.calved_on is not None]
    if not calved:
        return None

    def longer_ago(days: int) -> list[tuple[CowReckoning, date]]:
        return [(cow, calved_on) for cow, calved_on in calved if (on - calved_on).days > days]

    by_80 = longer_ago(80)
    served = sum(_served_within(cow, calved_on, matings, 80) for cow, calved_on in by_80)
    return YearRoundFigures(
        _bounded(_in_calf_within(cow, calved_on, 100) for cow, calved_on in longer_ago(100)),
        _bounded(_not(_in_calf_within(cow, calved_on, 200)) for cow, calved_on in longer_ago(200)),
        Share(served, len(by_80)) if matings.services else None,
    )


def _bounded(answers: Iterable[bool | None]) -> Bounded:
    told = list(answers)
    return Bounded(told.count(True), told.count(None), len(told))


def _not(answer: bool | None) -> bool | None:
    return None if answer is None else not answer


def _in_calf_within(cow: CowReckoning, calved_on: date, days: int) -> bool | None:
    """Whether she conceived within days of her calving; None if no scan tells."""
    last = calved_on + timedelta(days=days)
    if cow.conception is not None and cow.conception.on > calved_on:
        return cow.conception.on <= last
    seen_on = cow.last.scanned_on if cow.last is not None else calved_on
    if cow.result is Result.PREGNANT and cow.conception is None and calved_on < seen_on <= last:
        return True
    is_told = cow.result is Result.EMPTY and (seen_on - last).days >= earliest_days(cow.animal)
    return False if is_told else None


def _served_within(cow: CowReckoning, calved_on: date, matings: Matings, days: int) -> bool:
    last = calved_on + timedelta(days=days)
    return any(calved_on < service.served_on <= last for service in matings.services_of(cow.cow))
