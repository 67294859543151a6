"""A season: several days and vets, one result a cow."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from voicecapture.day import Day, Event, EventKind, ScanKind
from voicecapture.herd import Animal, Herd, Matings, Service
from voicecapture.language.phrase import Entry, Result
from voicecapture.reckoning.cow import Alert
from voicecapture.reckoning.season import ScanDay, Season
from voicecapture.reckoning.settings import ReckoningSettings

FIRST, SECOND = date(2026, 12, 10), date(2027, 1, 14)
SETTINGS = ReckoningSettings()


def accepted(cow: str, result: Result, age_days: int | None = None, replaces: int | None = None) -> Event:
    return Event(EventKind.ACCEPTED, 1.0, entry=Entry(cow, result, age_days), replaces=replaces)


def scan_day(
    on: date, *events: Event, vet: str = "Vet A", kind: ScanKind = ScanKind.AGED, started: str = "08:00"
) -> ScanDay:
    """A day whose events were recorded a second apart from when it started."""
    recorded = tuple(f"{on}T{started}:{second:02}Z" for second in range(len(events)))
    day = Day(Herd(), kind).after(*events)
    return ScanDay(f"{on} {vet} {started}", on, f"{on}T{started}:00Z", vet, day, recorded, digest="")


def test_a_day_gives_the_results_that_count() -> None:
    day = scan_day(
        FIRST,
        accepted("417", Result.PREGNANT, 56),
        accepted("3", Result.EMPTY),
        Event(EventKind.TAKEN_BACK, 2.0, replaces=2),
        accepted("417", Result.PREGNANT, 65, replaces=1),
        kind=ScanKind.YES_NO,
    )
    (scan,) = day.scans
    assert (scan.cow, scan.scanned_on, scan.entry.days, scan.kind) == ("417", FIRST, 65, ScanKind.YES_NO)
    assert (scan.vet, scan.day, scan.event, scan.recorded_at) == ("Vet A", day.name, 4, "2026-12-10T08:00:03Z")


def test_each_cows_results_come_the_earliest_first() -> None:
    late = scan_day(SECOND, accepted("417", Result.PREGNANT, 93))
    early = scan_day(FIRST, accepted("417", Result.PREGNANT, 56), accepted("3", Result.EMPTY))
    season = Season((late, early))
    assert [scan.scanned_on for scan in season.scans["417"]] == [FIRST, SECOND]
    assert len(season.scans["3"]) == 1
    assert season.last_on == SECOND


def test_two_vets_on_one_day_the_later_recorded_rules() -> None:
    morning = scan_day(FIRST, accepted("417", Result.PREGNANT, 56), vet="Vet B")
    noon = scan_day(FIRST, accepted("417", Result.RECHECK), vet="Vet A", started="12:00")
    for days in [(morning, noon), (noon, morning)]:
        (cow,) = Season(days).cows(SETTINGS)
        assert cow.result is Result.RECHECK
        assert cow.alerts[0] is Alert.SAME_DAY


def test_a_day_amended_afterwards_is_still_the_earlier_day() -> None:
    early = scan_day(FIRST, accepted("417", Result.PREGNANT, 56))
    late = scan_day(SECOND, accepted("417", Result.EMPTY))
    amended = replace(early, recorded_at=(f"{SECOND + timedelta(days=7)}T08:00:00Z",))
    (cow,) = Season((amended, late)).cows(SETTINGS)
    assert cow.result is Result.EMPTY


def test_the_cows_of_the_lists_come_first_and_in_their_order() -> None:
    day = scan_day(FIRST, *[accepted(cow, Result.EMPTY) for cow in ("1203", "88", "417", "3")])
    season = Season((day,), Herd([Animal("417"), Animal("12"), Animal("3")]))
    cows = season.cows(SETTINGS)
    assert [cow.cow for cow in cows] == ["417", "12", "3", "88", "1203"]
    assert [cow.result for cow in cows] == [Result.EMPTY, None, Result.EMPTY, Result.EMPTY, Result.EMPTY]


def test_numbers_that_differ_in_a_nought_are_two_cows() -> None:
    day = scan_day(FIRST, accepted("0417", Result.EMPTY), accepted("417", Result.PREGNANT, 56))
    results = {cow.cow: cow.result for cow in Season((day,)).cows(SETTINGS)}
    assert results == {"0417": Result.EMPTY, "417": Result.PREGNANT}


def test_a_number_with_other_zeros_in_the_mating_list_is_told() -> None:
    day = scan_day(FIRST, accepted("0417", Result.EMPTY), accepted("12", Result.EMPTY))
    matings = Matings((Service("417", FIRST - timedelta(days=58)), Service("12", FIRST - timedelta(days=58))))

    def alerts(*herd: str) -> dict[str, tuple[Alert, ...]]:
        season = Season((day,), Herd(map(Animal, herd)), matings)
        return {cow.cow: cow.alerts for cow in season.cows(SETTINGS)}

    assert alerts("0417", "12") == {"0417": (Alert.ZEROS,), "12": ()}
    # Two cows of the herd list are two cows.
    assert alerts("0417", "12", "417") == {"0417": (), "12": (), "417": ()}


def test_the_farms_lists_are_used() -> None:
    served_on = FIRST - timedelta(days=58)
    day = scan_day(FIRST, accepted("417", Result.PREGNANT, 56))
    season = Season(
        (day,), Herd([Animal("417", breed="Jersey")]), Matings((Service("417", served_on, sire="Alder"),))
    )
    (cow,) = season.cows(SETTINGS)
    assert cow.conception is not None
    assert cow.conception.on == served_on
    assert cow.conception.sires[0][0] == "Alder"
    assert cow.calving is not None
    # Norman HD et al. 2009, J Dairy Sci 92:2259-2269: Jersey cows carry 280.0 days.
    assert cow.calving.due_on == served_on + timedelta(days=280)


def test_a_season_without_days_is_empty() -> None:
    assert Season(()).last_on is None
    assert Season(()).cows(SETTINGS) == []


@pytest.mark.parametrize("days_after_mating", [28, 44])
def test_two_months_of_mating_scanned_about_two_months_later(days_after_mating: int) -> None:
    # Common practice, no publication: such a herd shows ages of roughly 4 to 15 weeks ("later" is counted from the
    # middle of the mating, so 4 to 6 weeks after its end).
    start, end = date(2026, 10, 22), date(2026, 12, 21)
    scanned_on = end + timedelta(days=days_after_mating)
    ages = {str(1 + day): (scanned_on - start).days - day for day in range((end - start).days + 1)}
    assert 4 * 7 <= min(ages.values()) < max(ages.values()) <= 15 * 7
    matings = Matings(tuple(Service(cow, scanned_on - timedelta(days=age)) for cow, age in ages.items()))
    day = scan_day(scanned_on, *[accepted(cow, Result.PREGNANT, age) for cow, age in ages.items()])
    cows = Season((day,), matings=matings, mating_start=start).cows(SETTINGS)
    assert len(cows) == 61
    assert all(cow.conception is not None and start <= cow.conception.on <= end for cow in cows)
    assert not any(cow.alerts for cow in cows)


def test_a_scanned_cow_that_no_list_names_is_told() -> None:
    day = scan_day(FIRST, accepted("9", Result.EMPTY))
    (listed, unlisted) = Season((day,), Herd([Animal("417")])).cows(SETTINGS)
    assert (listed.alerts, unlisted.cow, unlisted.alerts) == ((), "9", (Alert.UNLISTED,))
    # Without any list there is nothing that could name her.
    assert Season((day,)).cows(SETTINGS)[0].alerts == ()


@pytest.mark.parametrize(("born_on", "is_heifer"), [(date(2024, 9, 1), True), (date(2021, 9, 1), False)])
def test_a_cow_too_old_for_a_heifer_is_a_cow_without_her_calvings(born_on: date, is_heifer: bool) -> None:
    herd = Herd([Animal("417", born_on=born_on), Animal("4", calved_on=date(2026, 8, 1))])
    assert Season((scan_day(FIRST),), herd).cows(SETTINGS)[0].animal.is_heifer is is_heifer
