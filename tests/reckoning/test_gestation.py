"""How long a cow carries her calf, held against what was published."""

from datetime import date

import pytest

from voicecapture.herd import Animal
from voicecapture.reckoning.calving import CalvingCurve, expected_calving
from voicecapture.reckoning.conception import Basis, Conception
from voicecapture.reckoning.gestation import gestation_days
from voicecapture.reckoning.settings import ReckoningSettings

SETTINGS = ReckoningSettings()
CONCEIVED_ON = date(2026, 10, 22)


def cow(breed: str | None = None) -> Animal:
    return Animal("417", breed=breed, calved_on=date(2026, 8, 1))


def heifer(breed: str | None = None) -> Animal:
    return Animal("3", breed=breed, born_on=date(2024, 8, 1))


# Norman HD et al. 2009, J Dairy Sci 92:2259-2269, more than 11 million calvings: means of heifers and of cows.
NORMAN = [
    ("Holstein", 277.8, 279.4),
    ("Jersey", 278.4, 280.0),
    ("Milking Shorthorn", 279.3, 281.1),
    ("Ayrshire", 281.6, 281.7),
    ("Guernsey", 284.8, 285.7),
    ("Brown Swiss", 287.2, 287.5),
]


@pytest.mark.parametrize(("breed", "heifer_days", "cow_days"), NORMAN)
def test_the_published_means_of_the_breeds(breed: str, heifer_days: float, cow_days: float) -> None:
    assert gestation_days(cow(breed), False, SETTINGS) == cow_days
    assert gestation_days(heifer(breed), False, SETTINGS) == pytest.approx(heifer_days, abs=1)


@pytest.mark.parametrize("breed", ["Friesian", "Holstein Friesian", "holstein-friesian", " HOLSTEIN  friesian "])
def test_friesians_however_they_are_written(breed: str) -> None:
    # Knott JC 1932, J Dairy Sci 15(2):87-98: mean of 2,824 single gestations.
    assert gestation_days(cow(breed), False, SETTINGS) == 279.9


@pytest.mark.parametrize("breed", [None, "", "Jersey x Friesian", "Alder Red"])
def test_other_breeds_and_crosses_carry_282_days(breed: str | None) -> None:
    # Macmillan KL, Curnow RJ 1976, N Z Vet J 24(11):243-252: commonly accepted mean in New Zealand.
    assert gestation_days(cow(breed), False, SETTINGS) == 282


@pytest.mark.parametrize("breed", ["Friesian", "Jersey", None])
def test_twins_come_earlier_by_what_was_published(breed: str | None) -> None:
    shorter = gestation_days(cow(breed), False, SETTINGS) - gestation_days(cow(breed), True, SETTINGS)
    # Knott 1932: 279.9 and 275.5; Korean J Vet Res 2019;59(4):181-185: 282.4 and 276.0.
    assert 4.4 < shorter < 6.4


def test_first_calvers_carry_a_day_less() -> None:
    # Donkersloot 2014, 58,000 New Zealand animals, as quoted.
    assert gestation_days(cow(), False, SETTINGS) - gestation_days(heifer(), False, SETTINGS) == 1


def test_a_cow_of_unknown_birth_is_no_heifer() -> None:
    assert gestation_days(Animal("417"), False, SETTINGS) == 282


def test_the_practice_sets_its_own_lengths() -> None:
    practice = ReckoningSettings(gestation_days={"alder red": 284.0, "other": 281.0})
    assert [gestation_days(cow(breed), False, practice) for breed in ("Alder Red", "Jersey")] == [284.0, 281.0]


def share_of_calvings(breed: str, first_day: int, last_day: int) -> float:
    """Share of the cows of a breed, with one certain day of conception, that calve on these days of gestation."""
    conception = Conception(CONCEIVED_ON, 0.0, Basis.SERVICE, CONCEIVED_ON)
    curve = CalvingCurve((expected_calving(conception, gestation_days(cow(breed), False, SETTINGS)),))
    first = (curve.first_on - CONCEIVED_ON).days
    return float(sum(share for day, share in enumerate(curve.by_day, first) if first_day <= day <= last_day))


@pytest.mark.parametrize(
    ("first_day", "last_day", "published", "tolerance"),
    # Knott 1932, 2,824 single Holstein-Friesian gestations. "Almost 75 %" is printed for days 275 to 285.
    [(275, 285, 0.75, 0.02), (0, 269, 0.017, 0.005), (290, 400, 0.027, 0.005)],
)
def test_gestations_spread_as_published(first_day: int, last_day: int, published: float, tolerance: float) -> None:
    assert share_of_calvings("Friesian", first_day, last_day) == pytest.approx(published, abs=tolerance)


def test_nearly_all_holsteins_calve_within_the_published_month() -> None:
    # University of Copenhagen, forensic ageing of late foetuses, 2,734 Holsteins: 99 % on days 261 to 290.
    assert share_of_calvings("Holstein", 261, 290) == pytest.approx(0.99, abs=0.01)
