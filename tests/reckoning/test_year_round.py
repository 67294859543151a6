"""A herd that calves all the year: whom to scan at a visit, and the measures from calving."""

from datetime import date, timedelta

import pytest

from voicecapture.herd import Animal, BullPeriod, Matings, Service
from voicecapture.language.phrase import Entry, Result
from voicecapture.reckoning.cow import CowReckoning, Scan, reckon_cow
from voicecapture.reckoning.intervals import Share
from voicecapture.reckoning.measures import Bounded
from voicecapture.reckoning.settings import ReckoningSettings
from voicecapture.reckoning.year_round import VisitCow, visit_list, year_round_figures

VISIT_ON = date(2026, 12, 10)


def ago(days: int) -> date:
    return VISIT_ON - timedelta(days=days)


def services(*served: tuple[str, int]) -> Matings:
    """Services by cow and days before the visit."""
    return Matings(tuple(Service(cow, ago(days)) for cow, days in served))


def cow(
    number: str, *scans: tuple[int, Result, int | None], matings: Matings | None = None, **known: object
) -> CowReckoning:
    """A cow with scans as days before the visit, result and age."""
    animal = Animal(number, **known)  # type: ignore[arg-type]
    seen = [Scan(number, ago(days), Entry(number, result, age)) for days, result, age in scans]
    return reckon_cow(animal, seen, matings or Matings(), ReckoningSettings())


def listed(matings: Matings, *cows: CowReckoning) -> list[tuple[str, int | None]]:
    return [(due.animal.cow, due.days_since_mating) for due in visit_list(cows, matings, VISIT_ON)]


# ---- the visit -------------------------------------------------------------------------------------


def test_cows_whose_service_can_be_told_the_longest_served_first() -> None:
    matings = services(("3", 31), ("417", 45), ("88", 45), ("12", 10))
    herd = [cow(number) for number in ("3", "417", "88", "12", "9")]
    assert listed(matings, *herd) == [("88", 45), ("417", 45), ("3", 31)]


@pytest.mark.parametrize(
    ("animal", "days", "is_listed"),
    # Romano JE et al. 2006, Theriogenology 66: every pregnancy is found from day 29 in cows, 26 in heifers.
    [("cow", 28, False), ("cow", 29, True), ("heifer", 25, False), ("heifer", 26, True)],
)
def test_the_day_from_which_a_scan_tells(animal: str, days: int, is_listed: bool) -> None:
    born_on = date(2024, 8, 1) if animal == "heifer" else None
    assert bool(listed(services(("417", days)), cow("417", born_on=born_on))) is is_listed


def test_the_last_service_counts() -> None:
    assert listed(services(("417", 60), ("417", 12)), cow("417")) == []
    assert listed(services(("417", 60), ("417", 39)), cow("417")) == [("417", 39)]


def test_a_service_after_the_visit_does_not_count() -> None:
    assert listed(services(("417", 40), ("417", -3)), cow("417")) == [("417", 40)]


def test_a_cow_with_her_result_need_not_be_seen_again() -> None:
    matings = services(("417", 70), ("3", 70))
    in_calf = cow("417", (30, Result.PREGNANT, 40), matings=matings)
    assert listed(matings, in_calf, cow("3", (30, Result.EMPTY, None), matings=matings)) == []


def test_a_recheck_must_be_seen_again() -> None:
    assert listed(services(("417", 70)), cow("417", (30, Result.RECHECK, None))) == [("417", 70)]


def test_a_scan_too_soon_after_the_service_settles_nothing() -> None:
    assert listed(services(("417", 50)), cow("417", (30, Result.EMPTY, None))) == [("417", 50)]


def test_a_cow_served_again_since_her_scan_is_to_be_seen() -> None:
    assert listed(services(("417", 90), ("417", 35)), cow("417", (50, Result.EMPTY, None))) == [("417", 35)]


def test_the_herd_lists_own_mating_counts() -> None:
    later = cow("417", mated_on=ago(32))
    assert visit_list([later], services(("417", 53)), VISIT_ON) == [VisitCow(later.animal, ago(32), 32, "mated")]


def whys(*cows: CowReckoning, matings: Matings = Matings()) -> list[tuple[str, str]]:  # noqa: B008
    return [(due.animal.cow, due.why) for due in visit_list(cows, matings, VISIT_ON)]


def test_a_recheck_without_any_mating_is_listed_last() -> None:
    matings = services(("3", 31))
    assert whys(cow("417", (30, Result.RECHECK, None)), cow("3"), matings=matings) == [
        ("3", "mated"),
        ("417", "recheck"),
    ]


@pytest.mark.parametrize(("scanned", "is_listed"), [(28, False), (29, True)])
def test_an_empty_of_unknown_mating_is_seen_again_once_it_tells(scanned: int, is_listed: bool) -> None:
    # She may have been mated on the day of the scan itself: Romano et al. 2006, 29 days.
    found = whys(cow("417", (scanned, Result.EMPTY, None)))
    assert found == ([("417", "empty, too early to tell")] if is_listed else [])


def test_cows_that_ran_with_a_bull_are_seen_from_the_day_it_came() -> None:
    bull = Matings(bulls=(BullPeriod(ago(40), None, "Elder"),))
    seen_in_calf = cow("5", (20, Result.PREGNANT, 60), matings=bull)
    assert listed(bull, cow("417"), seen_in_calf) == [("417", 40)]
    assert listed(Matings(bulls=(BullPeriod(ago(28)),)), cow("417")) == []


def test_a_bull_that_is_still_in_does_not_put_off_the_visit_for_ever() -> None:
    bull = Matings(bulls=(BullPeriod(ago(90)),))
    seen = [Scan("417", ago(29), Entry("417", Result.EMPTY))]
    found = reckon_cow(Animal("417"), seen, bull, ReckoningSettings(), last_on=ago(1))
    assert found.recheck_on is not None and found.recheck_on > VISIT_ON
    assert whys(found, matings=bull) == [("417", "empty, too early to tell")]


def test_a_cow_that_calved_since_her_scan_is_due_again() -> None:
    bull = Matings(bulls=(BullPeriod(ago(40), None, "Elder"),))
    calved = cow("417", (330, Result.PREGNANT, 60), calved_on=ago(100))
    assert visit_list([calved], bull, VISIT_ON) == [VisitCow(calved.animal, ago(40), 40, "mated")]
    # The bull was in when she calved, and a service before that gave the calf that is born.
    early = Matings((Service("417", ago(390)),), (BullPeriod(ago(400)),))
    assert listed(early, calved) == [("417", 99)]
    assert listed(services(("417", 390)), calved) == []


# ---- the measures ----------------------------------------------------------------------------------


def test_without_a_recorded_calving_there_are_no_measures() -> None:
    assert year_round_figures([cow("417")], Matings(), VISIT_ON) is None


def test_in_calf_by_100_days() -> None:
    # Vet Sci 2023;10(9):550: in calf within 100 days of calving, of the cows more than 100 days in milk.
    herd = [
        cow("1", (20, Result.PREGNANT, 80), calved_on=ago(200)),  # conceived on her 100th day
        cow("2", (20, Result.PREGNANT, 79), calved_on=ago(200)),  # on her 101st
        cow("3", (20, Result.EMPTY, None), calved_on=ago(149)),  # 29 days after her 100th day
        cow("4", calved_on=ago(101)),  # not seen
        cow("7", (20, Result.EMPTY, None), calved_on=ago(148)),  # too early to tell of her 100th day
        cow("8", (20, Result.PREGNANT, None), calved_on=ago(120)),  # in calf on her 100th day, of unknown age
        cow("5", (5, Result.PREGNANT, 40), calved_on=ago(100)),  # not more than 100 days ago
        cow("6", (5, Result.PREGNANT, 40)),  # calving not recorded
    ]
    found = year_round_figures(herd, Matings(), VISIT_ON)
    assert found is not None
    assert found.in_calf_by_100 == Bounded(2, 2, 6)


def test_not_in_calf_by_200_days() -> None:
    herd = [
        cow("1", (5, Result.PREGNANT, 50), calved_on=ago(255)),  # conceived on her 200th day
        cow("2", (5, Result.PREGNANT, 49), calved_on=ago(255)),  # on her 201st
        cow("3", calved_on=ago(201)),  # not seen
        cow("4", calved_on=ago(200)),
        cow("5", (20, Result.EMPTY, None), calved_on=ago(249)),
        cow("6", (20, Result.RECHECK, None), calved_on=ago(249)),
    ]
    found = year_round_figures(herd, Matings(), VISIT_ON)
    assert found is not None
    assert found.not_in_calf_by_200 == Bounded(2, 2, 5)


def test_a_pregnancy_from_before_the_calving_is_not_of_this_year() -> None:
    found = year_round_figures([cow("1", (290, Result.PREGNANT, 60), calved_on=ago(120))], Matings(), VISIT_ON)
    assert found is not None
    assert found.in_calf_by_100 == Bounded(0, 1, 1)


def test_served_by_80_days() -> None:
    matings = services(("1", 120), ("2", 119), ("3", 210), ("4", 201))
    herd = [cow(number, calved_on=ago(200)) for number in ("1", "2", "3", "4", "9")]
    found = year_round_figures([*herd, cow("5", calved_on=ago(80))], matings, VISIT_ON)
    assert found is not None
    # Cow 1 on her 80th day; cow 2 on her 81st; cows 3 and 4 before they calved.
    assert found.submission_by_80 == Share(1, 5)


def test_without_services_there_is_no_submission() -> None:
    found = year_round_figures([cow("1", calved_on=ago(200))], Matings(), VISIT_ON)
    assert found is not None
    assert found.submission_by_80 is None
