"""The day of conception, and the sire: what the scan said against the recorded matings."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from voicecapture.herd import BullPeriod, Service, ServiceKind
from voicecapture.language.phrase import Entry, Result
from voicecapture.reckoning.conception import (
    CYCLE_DAYS,
    UNKNOWN_SIRE,
    Basis,
    age_heard,
    conception_date,
    fit_matings,
)
from voicecapture.reckoning.settings import ReckoningSettings

SCANNED_ON = date(2026, 12, 10)
SD_DAYS = 4.6


def days(number: int) -> timedelta:
    return timedelta(days=number)


def service(age_days: int, sire: str | None = None) -> Service:
    """A service that would make a pregnancy of this age at the scan."""
    return Service("417", SCANNED_ON - days(age_days), ServiceKind.INSEMINATION, sire)


def bull(in_age_days: int, out_age_days: int | None, sire: str | None = None) -> BullPeriod:
    out = None if out_age_days is None else SCANNED_ON - days(out_age_days)
    return BullPeriod(SCANNED_ON - days(in_age_days), out, sire)


@pytest.mark.parametrize(
    ("scanned_on", "age_days", "conceived_on"),
    # Calendar arithmetic: the day of the scan less the age, over a leap day and a new year.
    [
        (date(2026, 12, 10), 56, date(2026, 10, 15)),
        (date(2024, 3, 15), 45, date(2024, 1, 30)),
        (date(2027, 1, 12), 83, date(2026, 10, 21)),
        (date(2028, 3, 10), 60, date(2028, 1, 10)),
    ],
)
def test_conception_is_the_scan_less_the_age(scanned_on: date, age_days: int, conceived_on: date) -> None:
    assert conception_date(scanned_on, age_days) == conceived_on
    assert fit_matings(scanned_on, age_days, SD_DAYS).on == conceived_on


def test_an_age_in_days_is_taken_as_said() -> None:
    assert age_heard(Entry("417", Result.PREGNANT, days=56), ReckoningSettings()) == (56.0, 4.6)
    assert age_heard(Entry("417", Result.PREGNANT, days=84), ReckoningSettings()) == (84.0, 7.7)


def test_a_length_is_measured_to_its_age() -> None:
    # Somnuk K et al. 2017, Asian Pac J Reprod 6(4):186-190: computed from the formula.
    heard = age_heard(Entry("417", Result.PREGNANT, crown_rump_mm=30), ReckoningSettings())
    assert heard == pytest.approx((49.316, 4.6), abs=0.0005)


def test_without_an_age_there_is_none() -> None:
    assert age_heard(Entry("417", Result.PREGNANT), ReckoningSettings()) is None


def test_a_length_out_of_range_is_refused() -> None:
    with pytest.raises(ValueError, match="60 mm"):
        age_heard(Entry("417", Result.PREGNANT, crown_rump_mm=60), ReckoningSettings())


def test_without_matings_the_scan_alone_tells() -> None:
    found = fit_matings(SCANNED_ON, 56, SD_DAYS)
    assert (found.on, found.sd_days, found.basis) == (SCANNED_ON - days(56), SD_DAYS, Basis.SCAN)
    assert found.sires == ()
    assert not found.is_misfit


@pytest.mark.parametrize("said_days", [50, 56, 62])
def test_the_only_service_near_the_age_is_the_day(said_days: int) -> None:
    found = fit_matings(SCANNED_ON, said_days, SD_DAYS, [service(56, "Rowan")])
    assert (found.on, found.basis) == (SCANNED_ON - days(56), Basis.SERVICE)
    assert found.scan_on == SCANNED_ON - days(said_days)
    assert found.sires[0][0] == "Rowan" and found.sires[0][1] > 0.93
    assert found.sd_days < SD_DAYS / 2
    assert not found.is_misfit


@pytest.mark.parametrize("sd_days", [4.6, 7.7, 11.0])
def test_a_service_a_cycle_off_is_never_nearly_certain(sd_days: float) -> None:
    found = fit_matings(SCANNED_ON, 77, sd_days, [service(56, "Rowan")])
    # Bayes' rule by hand: one recorded service against a twentieth of one service in 21 days that nobody recorded.
    recorded, unrecorded = norm.pdf(21, scale=sd_days), 0.05 / 21
    if recorded < unrecorded:
        assert found.is_misfit
    else:
        assert dict(found.sires)["Rowan"] == pytest.approx(recorded / (recorded + unrecorded))
        assert 0.5 < dict(found.sires)["Rowan"] < 0.75


@pytest.mark.parametrize(("said_days", "right"), [(56, 56), (77, 77), (60, 56), (73, 77)])
def test_two_services_a_cycle_apart_are_told_apart(said_days: int, right: int) -> None:
    # Oestrous cycle of 21 days on average: Mississippi State University Extension P2616.
    found = fit_matings(SCANNED_ON, said_days, SD_DAYS, [service(77, "Rowan"), service(56, "Alder")])
    assert found.on == SCANNED_ON - days(right)
    assert found.sires[0][0] == {56: "Alder", 77: "Rowan"}[right]
    assert found.sires[0][1] > 0.95
    assert found.sd_days < SD_DAYS


def test_two_services_three_days_apart_leave_doubt() -> None:
    found = fit_matings(SCANNED_ON, 57, SD_DAYS, [service(55, "Alder"), service(58, "Rowan")])
    assert found.on == SCANNED_ON - days(58)
    assert 1 < found.sd_days < 3
    (likeliest, more), (other, less), (_, unrecorded) = found.sires
    assert (likeliest, other) == ("Rowan", "Alder")
    # Bayes' rule by hand: one day off against two.
    assert more / less == pytest.approx(norm.pdf(1 / SD_DAYS) / norm.pdf(2 / SD_DAYS))
    assert found.sd_days**2 == pytest.approx(less * 3**2 + unrecorded * (1 + SD_DAYS**2))


def test_an_age_between_two_heats_leaves_the_other_its_chance() -> None:
    # 12 days from the one, 9 from the other: neither is certain.
    found = fit_matings(SCANNED_ON, 65, SD_DAYS, [service(77, "Rowan"), service(56, "Alder")])
    one, other, unrecorded = norm.pdf(9, scale=SD_DAYS), norm.pdf(12, scale=SD_DAYS), 0.05 / CYCLE_DAYS
    assert found.on == SCANNED_ON - days(56)
    assert dict(found.sires)["Rowan"] == pytest.approx(other / (one + other + unrecorded))
    variance = (other * CYCLE_DAYS**2 + unrecorded * (9**2 + SD_DAYS**2)) / (one + other + unrecorded)
    assert found.sd_days == pytest.approx(variance**0.5)


def test_a_mating_that_cannot_be_leaves_no_trace() -> None:
    found = fit_matings(
        SCANNED_ON, 56, SD_DAYS, [service(300, "Rowan"), service(56, "Alder")], [bull(30, None, "Ash")]
    )
    assert [sire for sire, _ in found.sires] == ["Alder", UNKNOWN_SIRE]


def test_matings_after_the_scan_are_left_out() -> None:
    found = fit_matings(SCANNED_ON, 30, 11.0, [service(-1, "Alder")], [bull(-3, None, "Rowan")])
    assert (found.basis, found.on, found.sires, found.is_misfit) == (Basis.SCAN, SCANNED_ON - days(30), (), False)


def test_an_age_that_no_mating_fits_is_kept_and_flagged() -> None:
    found = fit_matings(SCANNED_ON, 56, SD_DAYS, [service(40), service(90)], [bull(30, None)])
    assert (found.on, found.sd_days, found.basis) == (SCANNED_ON - days(56), SD_DAYS, Basis.SCAN)
    assert found.is_misfit
    assert found.sires == ()


@pytest.mark.parametrize(("off_days", "fits"), [(-13, False), (-12, True), (12, True), (13, False)])
def test_a_service_fits_within_2_7_standard_deviations_of_an_early_age(off_days: int, fits: bool) -> None:
    assert fit_matings(SCANNED_ON, 56, SD_DAYS, [service(56 + off_days)]).is_misfit is not fits


def test_long_with_a_bull_the_age_is_all_that_is_known() -> None:
    found = fit_matings(SCANNED_ON, 56, SD_DAYS, bulls=[bull(100, 20, "Ash")])
    assert (found.on, found.basis) == (SCANNED_ON - days(56), Basis.BULL)
    assert found.sd_days == pytest.approx(SD_DAYS, abs=0.01)
    assert [(sire, round(chance, 2)) for sire, chance in found.sires] == [("Ash", 0.95), (UNKNOWN_SIRE, 0.05)]


def test_a_bull_that_came_late_moves_the_day_and_narrows_it() -> None:
    found = fit_matings(SCANNED_ON, 56, SD_DAYS, bulls=[bull(56, 20)])
    assert SCANNED_ON - days(56) < found.on <= SCANNED_ON - days(50)
    assert found.sd_days < SD_DAYS


def test_a_bull_with_her_for_a_day_is_a_service() -> None:
    alone = replace(bull(56, 56, "Ash"), cow="417")
    by_bull = fit_matings(SCANNED_ON, 58, SD_DAYS, bulls=[alone])
    by_service = fit_matings(SCANNED_ON, 58, SD_DAYS, [service(56, "Ash")])
    assert by_bull.on == by_service.on == SCANNED_ON - days(56)
    assert dict(by_bull.sires)["Ash"] == pytest.approx(dict(by_service.sires)["Ash"], abs=0.01)


def test_a_bull_still_in_counts_to_the_day_of_the_scan() -> None:
    assert fit_matings(SCANNED_ON, 30, SD_DAYS, bulls=[bull(60, None)]).basis is Basis.BULL
    assert fit_matings(SCANNED_ON, 80, SD_DAYS, bulls=[bull(60, None)]).is_misfit


def test_the_bull_after_inseminations_is_weighed_against_them() -> None:
    services, bulls = [service(62, "Alder")], [bull(55, 20, "Ash")]
    by_age = {said: fit_matings(SCANNED_ON, said, SD_DAYS, services, bulls) for said in (62, 45)}
    assert (by_age[62].basis, by_age[62].sires[0][0]) == (Basis.SERVICE, "Alder")
    assert (by_age[45].basis, by_age[45].sires[0][0]) == (Basis.BULL, "Ash")


def test_a_day_with_the_bull_weighs_as_one_service_in_21_days() -> None:
    found = fit_matings(SCANNED_ON, 62, SD_DAYS, [service(60, "Alder")], [bull(120, 10, "Ash")])
    by_service, by_bull, unrecorded = norm.pdf(2, scale=SD_DAYS), 1 / 21, 0.05 / 21
    assert dict(found.sires)["Ash"] == pytest.approx(by_bull / (by_bull + by_service + unrecorded), abs=1e-6)


def test_one_sire_of_two_services_is_the_sire() -> None:
    found = fit_matings(SCANNED_ON, 57, SD_DAYS, [service(55, "Alder"), service(58, "Alder")])
    assert [sire for sire, _ in found.sires] == ["Alder", UNKNOWN_SIRE] and found.sires[0][1] > 0.95


def test_an_unnamed_sire_keeps_his_share() -> None:
    found = fit_matings(SCANNED_ON, 57, SD_DAYS, [service(55, "Alder"), service(58)])
    assert found.sires[0][0] == UNKNOWN_SIRE


ages = st.integers(25, 200)
sires = st.sampled_from(["Alder", "Rowan", "Ash", None])
services_drawn = st.lists(st.builds(service, st.integers(-30, 250), sires), max_size=5)
bulls_drawn = st.lists(
    st.tuples(st.integers(0, 200), st.none() | st.integers(0, 60), sires).map(
        lambda drawn: bull(drawn[0], None if drawn[1] is None else drawn[0] - drawn[1], drawn[2])
    ),
    max_size=2,
)


@given(ages, st.floats(2, 12), services_drawn, bulls_drawn)
def test_whatever_is_recorded_the_conception_is_sound(
    age_days: int, sd_days: float, services: list[Service], bulls: list[BullPeriod]
) -> None:
    found = fit_matings(SCANNED_ON, age_days, sd_days, services, bulls)
    assert found.on <= SCANNED_ON
    assert found.sd_days >= 0
    assert found.scan_on == SCANNED_ON - days(age_days)
    if found.basis is Basis.SCAN:
        assert (found.on, found.sd_days, found.sires) == (found.scan_on, sd_days, ())
    else:
        assert sum(chance for _, chance in found.sires) == pytest.approx(1)
        assert [chance for _, chance in found.sires] == sorted((c for _, c in found.sires), reverse=True)
    if found.basis is Basis.SERVICE:
        assert found.on in {s.served_on for s in services}
