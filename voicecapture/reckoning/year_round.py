"""A herd that calves all the year: the list of cows for a visit, and the measures counted from calving."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from voicecapture.herd import Animal, Matings
from voicecapture.language.phrase import Result
from voicecapture.reckoning.cow import CowReckoning, earliest_days
from voicecapture.reckoning.intervals import Share


@dataclass(frozen=True, slots=True)
class VisitCow:
    """A cow to be scanned at a visit."""

    animal: Animal
    served_on: date
    days_since_service: int


def visit_list(cows: Sequence[CowReckoning], matings: Matings, visit_on: date) -> list[VisitCow]:
    """Cows whose last service can be told on the day and has no result in calf yet, the longest served first."""
    due = []
    for cow in cows:
        served = [s.served_on for s in matings.services_of(cow.cow) if s.served_on <= visit_on]
        served += [cow.animal.mated_on] if cow.animal.mated_on and cow.animal.mated_on <= visit_on else []
        if not served:
            continue
        last = max(served)
        seen_since = cow.last is not None and (cow.last.scanned_on - last).days >= earliest_days(cow.animal)
        settled = seen_since and cow.result in (Result.PREGNANT, Result.EMPTY)
        days = (visit_on - last).days
        if not settled and days >= earliest_days(cow.animal):
            due.append(VisitCow(cow.animal, last, days))
    return sorted(due, key=lambda cow: (-cow.days_since_service, int(cow.animal.cow)))


@dataclass(frozen=True, slots=True)
class YearRoundFigures:
    """Measures of a herd that calves all the year, on one day; denominators are cows that calved long enough ago."""

    in_calf_by_100: Share
    """In calf within 100 days of calving, of cows that calved more than 100 days ago."""
    not_in_calf_by_200: Share
    """Not in calf within 200 days of calving, of cows that calved more than 200 days ago."""
    submission_by_80: Share | None
    """Served within 80 days of calving, of cows that calved more than 80 days ago; None without services."""


def year_round_figures(cows: Sequence[CowReckoning], matings: Matings, on: date) -> YearRoundFigures | None:
    """The measures on a day (definitions: Vet Sci 2023;10(9):550); None if no calving is recorded."""
    calved = [cow for cow in cows if cow.animal.calved_on is not None]
    if not calved:
        return None

    def longer_ago(days: int) -> list[CowReckoning]:
        return [cow for cow in calved if cow.animal.calved_on and (on - cow.animal.calved_on).days > days]

    return YearRoundFigures(
        Share(sum(_in_calf_within(cow, 100) for cow in longer_ago(100)), len(longer_ago(100))),
        Share(sum(not _in_calf_within(cow, 200) for cow in longer_ago(200)), len(longer_ago(200))),
        Share(sum(_served_within(cow, matings, 80) for cow in longer_ago(80)), len(longer_ago(80)))
        if matings.services
        else None,
    )


def _in_calf_within(cow: CowReckoning, days: int) -> bool:
    calved_on = cow.animal.calved_on
    return (
        calved_on is not None
        and cow.conception is not None
        and calved_on < cow.conception.on <= calved_on + timedelta(days=days)
    )


def _served_within(cow: CowReckoning, matings: Matings, days: int) -> bool:
    calved_on = cow.animal.calved_on
    return calved_on is not None and any(
        calved_on < service.served_on <= calved_on + timedelta(days=days) for service in matings.services_of(cow.cow)
    )
