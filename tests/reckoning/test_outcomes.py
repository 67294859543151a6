"""The scans against the calvings: fair to the vet, and nothing counted that tells nothing."""

from collections.abc import Sequence
from datetime import date, timedelta

import pytest

from voicecapture.herd import Animal, Matings
from voicecapture.language.phrase import Entry, Result
from voicecapture.lists.calvings import Calving, Fate
from voicecapture.reckoning.cow import CowReckoning, Scan, reckon_cow
from voicecapture.reckoning.intervals import Share
from voicecapture.reckoning.outcomes import PUBLISHED_WITHIN_10, Ageing, Audit, audit
from voicecapture.reckoning.settings import ReckoningSettings

SCANNED_ON = date(2026, 12, 10)
SETTINGS = ReckoningSettings()
GESTATION_DAYS = 282  # of cows of no named breed


def scan(
    result: Result, age_days: int | None = None, vet: str = "Vet A", later_days: int = 0, **said: object
) -> Scan:
    entry = Entry("1", result, age_days, **said)  # type: ignore[arg-type]
    return Scan("1", SCANNED_ON + timedelta(days=later_days), entry, vet=vet)


def in_calf(age_days: int | None = None, vet: str = "Vet A", later_days: int = 0, **said: object) -> Scan:
    return scan(Result.PREGNANT, age_days, vet, later_days, **said)


def empty(vet: str = "Vet A", later_days: int = 0) -> Scan:
    return scan(Result.EMPTY, None, vet, later_days)


def conceived(days_before_scan: int) -> date:
    """The calving of a cow that conceived so long before the scan, after a gestation of the mean length."""
    return SCANNED_ON + timedelta(days=GESTATION_DAYS - days_before_scan)


Ending = date | Fate | None


def audits(*cows: tuple[Sequence[Scan], Ending]) -> list[Audit]:
    """Cows as their scans and their calving, or what else became of them; None is not in the list."""
    reckoned: list[CowReckoning] = []
    calvings: list[Calving] = []
    for number, (scans, ending) in enumerate(cows, 1):
        reckoned.append(reckon_cow(Animal(str(number), calved_on=date(2026, 8, 1)), scans, Matings(), SETTINGS))
        if isinstance(ending, date):
            calvings.append(Calving(str(number), Fate.CALVED, ending))
        elif ending is not None:
            calvings.append(Calving(str(number), ending))
    return audit(reckoned, calvings, SETTINGS)


def the_audit(*cows: tuple[Sequence[Scan], Ending]) -> Audit:
    (found,) = audits(*cows)
    return found


def of_all_ages(found: Audit) -> Ageing:
    (ageing,) = [ageing for ageing in found.ageing if ageing.stage == "all ages"]
    return ageing


def test_a_herd_list_that_has_the_calving_already_changes_no_judgement() -> None:
    scans, calved_on = [in_calf(56, twins=True)], conceived(60)
    calvings = [Calving("1", Fate.CALVED, calved_on)]
    audits = [
        audit([reckon_cow(Animal("1", calved_on=known), scans, Matings(), SETTINGS)], calvings, SETTINGS)
        for known in (date(2026, 8, 1), calved_on)
    ]
    assert audits[0] == audits[1] and of_all_ages(audits[0][0]).cows == 1


# ---- ageing ----------------------------------------------------------------------------------------


def test_the_published_share_within_ten_days() -> None:
    # Matthews BJ, Morton JM 2012, N Z Vet J 60(4):234-240: 80.5 %; 8,444 within 10 days, 1,329 earlier, 714 later.
    assert PUBLISHED_WITHIN_10.count == 8444
    assert PUBLISHED_WITHIN_10.of == 8444 + 1329 + 714
    assert PUBLISHED_WITHIN_10.value is not None
    assert round(100 * PUBLISHED_WITHIN_10.value, 1) == 80.5


def test_a_cow_that_calves_on_the_day_was_aged_right() -> None:
    assert of_all_ages(the_audit(([in_calf(56)], conceived(56)))) == Ageing("all ages", 1, 0.0, None, Share(1, 1))


def test_a_calving_before_the_predicted_day_counts_positive() -> None:
    found = of_all_ages(the_audit(([in_calf(56)], conceived(60)), ([in_calf(56)], conceived(58))))
    assert found.mean_days == 3
    assert found.sd_days == pytest.approx(2**0.5)


def test_within_ten_days_is_ten_days_and_no_more() -> None:
    offs = (-11, -10, 0, 10, 11)
    found = of_all_ages(the_audit(*[([in_calf(70)], conceived(70 + off)) for off in offs]))
    assert found.within_10 == Share(3, 5)
    assert found.mean_days == 0


def test_ages_are_judged_by_their_stage() -> None:
    ages = (42, 43, 56, 57, 98, 99, 126, 127)
    found = the_audit(*[([in_calf(age)], conceived(age)) for age in ages])
    assert [(ageing.stage, ageing.cows) for ageing in found.ageing] == [
        ("up to 42 days", 1),
        ("up to 56 days", 2),
        ("up to 98 days", 2),
        ("up to 126 days", 2),
        ("over 126 days", 1),
        ("all ages", 8),
    ]


def test_the_scans_own_age_is_judged_not_what_the_matings_made_of_it() -> None:
    animal = Animal("1", calved_on=date(2026, 8, 1), mated_on=SCANNED_ON - timedelta(days=60))
    cow = reckon_cow(animal, [in_calf(56)], Matings(), SETTINGS)
    (found,) = audit([cow], [Calving("1", Fate.CALVED, conceived(60))], SETTINGS)
    assert of_all_ages(found).mean_days == 4


def test_twins_are_expected_sooner() -> None:
    found = the_audit(([in_calf(56, twins=True)], conceived(56) - timedelta(days=6)))
    assert abs(of_all_ages(found).mean_days) <= 1


def test_a_calving_far_from_the_day_tells_nothing_of_ageing() -> None:
    found = the_audit(([in_calf(56)], conceived(56 - 46)), ([in_calf(56)], conceived(56 - 45)))
    assert (found.ageing_left_out, of_all_ages(found).cows) == (1, 1)


def test_a_scan_without_a_usable_age_is_right_but_not_aged() -> None:
    found = the_audit(([in_calf()], conceived(56)), ([in_calf(crown_rump_mm=90)], conceived(70)))
    assert found.ageing == ()
    assert found.not_calved == Share(0, 2)


# ---- empties ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("days_before_scan", "is_false"),
    # A scan sees every pregnancy of 29 days (Romano JE et al. 2006, Theriogenology 66); twice the spread of
    # gestation, 10 days, is left in doubt.
    [(60, True), (39, True), (38, False), (20, False), (-30, False)],
)
def test_false_empties_are_told_from_those_that_conceived_too_late(days_before_scan: int, is_false: bool) -> None:
    found = the_audit(([empty()], conceived(days_before_scan)))
    assert found.false_empty == Share(int(is_false), 1)
    assert found.conceived_too_late == int(not is_false)


def test_an_empty_that_did_not_calve_was_right() -> None:
    found = the_audit(([empty()], Fate.DID_NOT_CALVE))
    assert (found.false_empty, found.conceived_too_late, found.unknown) == (Share(0, 1), 0, 0)


def test_a_calving_before_the_scan_tells_nothing_of_it() -> None:
    last_year = SCANNED_ON - timedelta(days=120)
    found = the_audit(([empty()], last_year), ([in_calf(56)], last_year))
    assert (found.false_empty, found.not_calved, found.unknown) == (Share(0, 0), Share(0, 0), 2)
    assert (found.ageing, found.ageing_left_out) == ((), 0)


# ---- pregnancies -----------------------------------------------------------------------------------


def test_lost_pregnancies_are_told_from_those_that_never_calved() -> None:
    found = the_audit(
        ([in_calf(56)], conceived(56)),
        ([in_calf(56)], Fate.DID_NOT_CALVE),
        ([in_calf(56)], Fate.ABORTED),
        ([in_calf(56), empty(later_days=30)], Fate.DID_NOT_CALVE),
    )
    assert (found.not_calved, found.lost) == (Share(3, 4), 2)
    assert found.false_empty == Share(0, 1)


def test_an_empty_before_is_no_loss_after() -> None:
    found = the_audit(([empty(), in_calf(56, later_days=60)], Fate.DID_NOT_CALVE))
    assert (found.not_calved, found.lost) == (Share(1, 1), 0)


@pytest.mark.parametrize("ending", [Fate.SOLD, Fate.DIED, None])
def test_a_cow_that_is_gone_tells_nothing(ending: Fate | None) -> None:
    found = the_audit(([in_calf(56)], ending), ([empty()], ending))
    assert (found.false_empty, found.not_calved, found.unknown) == (Share(0, 0), Share(0, 0), 2)
    assert found.ageing == ()


def test_an_empty_that_aborted_and_a_recheck_tell_nothing() -> None:
    found = the_audit(([empty()], Fate.ABORTED), ([scan(Result.RECHECK)], conceived(56)))
    assert (found.false_empty, found.not_calved, found.unknown) == (Share(0, 0), Share(0, 0), 2)


# ---- vets ------------------------------------------------------------------------------------------


def test_each_vet_is_judged_by_his_own_scans() -> None:
    everyone, a, b = audits(
        ([in_calf(56, "Vet A"), empty("Vet B", later_days=30)], Fate.DID_NOT_CALVE),
        ([in_calf(56, "Vet B")], conceived(60)),
        ([empty("Vet A")], conceived(60)),
    )
    assert [one.vet for one in (everyone, a, b)] == ["", "Vet A", "Vet B"]
    assert (a.false_empty, a.not_calved, a.ageing) == (Share(1, 1), Share(1, 1), ())
    assert (b.false_empty, b.not_calved, of_all_ages(b).mean_days) == (Share(0, 1), Share(0, 1), 4)
    assert (everyone.false_empty, everyone.not_calved) == (Share(1, 2), Share(1, 2))


def test_a_vet_alone_is_everyone() -> None:
    assert [found.vet for found in audits(([in_calf(56)], conceived(56)))] == [""]


def test_nothing_scanned_is_nothing_judged() -> None:
    assert audits() == [Audit("", (), 0, Share(0, 0), 0, Share(0, 0), 0, 0, 0)]


def test_a_calving_from_after_the_scan_is_not_the_pregnancy_that_was_found() -> None:
    found = the_audit(([in_calf(56)], conceived(-30)), ([in_calf(56)], conceived(56)))
    assert (found.not_calved, found.lost, found.conceived_later) == (Share(1, 2), 0, 1)
    assert found.ageing[-1].cows == 1 and found.ageing_left_out == 0
