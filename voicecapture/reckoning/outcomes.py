"""How good the scans were, once the calvings are known: a mirror for a learner, an audit for a practice."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import fmean, stdev

from voicecapture.language.phrase import Result
from voicecapture.lists.calvings import Calving, Fate
from voicecapture.reckoning.calving import due_date
from voicecapture.reckoning.conception import age_heard, conception_date
from voicecapture.reckoning.cow import LONGEST_OFF_DAYS, CowReckoning, Scan, carries_twins, earliest_days
from voicecapture.reckoning.gestation import GESTATION_SD_DAYS, gestation_days
from voicecapture.reckoning.intervals import Share
from voicecapture.reckoning.settings import ReckoningSettings

STAGES_DAYS = (42, 56, 98, 126)
"""Ages at the scan at which a stage ends: 6, 8, 14 and 18 weeks; Matthews and Morton 2012 found ageing poorer before
8 and after 14 weeks."""

PUBLISHED_WITHIN_10 = Share(8444, 10487)
"""Calved within 10 days of what was predicted by hand: Matthews BJ, Morton JM 2012, N Z Vet J 60(4):234-240."""


@dataclass(frozen=True, slots=True)
class Ageing:
    """Predicted less actual calving, over the cows of a stage."""

    stage: str
    """Age at the scan, as "up to 42 days"."""
    cows: int
    mean_days: float
    """Positive: calved before the day that the scan had told."""
    sd_days: float | None
    """None for a single cow."""
    within_10: Share


@dataclass(frozen=True, slots=True)
class Audit:
    """Scans against calvings, of one vet or all."""

    vet: str
    """Empty for all of them."""
    ageing: tuple[Ageing, ...]
    ageing_left_out: int
    """Cows that calved more than 45 days from what was predicted."""
    false_empty: Share
    """Found empty, and calved from a conception that the scan could have seen; of the empties whose fate is known."""
    conceived_too_late: int
    """Found empty, and calved from a later conception, or one too young to be seen: not the vet's fault."""
    not_calved: Share
    """Found in calf, and did not calve from it; of those in calf whose fate is known."""
    lost: int
    """Of them, aborted or found empty at a later scan: lost after the scan, not the vet's fault."""
    conceived_later: int
    """Of them, those that calved from a conception after the scan: lost in between, or never there."""
    unknown: int
    """Scans that tell nothing: of cows that were sold, died, calved before the scan or are not in the list, empties
    that aborted, and rechecks."""


def audit(cows: Sequence[CowReckoning], calvings: Iterable[Calving], settings: ReckoningSettings) -> list[Audit]:
    """All scans, and where there are several vets each one's, against what happened."""
    fates = {calving.cow: calving for calving in calvings}
    judged = [_judge(cow, scan, fates.get(cow.cow), settings) for cow in cows for scan in cow.scans]
    vets = sorted({one.scan.vet for one in judged})
    audits = [_audit("", judged)]
    return audits + [_audit(vet, [o for o in judged if o.scan.vet == vet]) for vet in vets if len(vets) > 1]


@dataclass(frozen=True, slots=True)
class _Judged:
    """One scan and what became of the cow."""

    scan: Scan
    age_days: float | None = None
    off_days: int | None = None
    """Predicted less actual calving."""
    empty_was: str = ""
    """"right", "wrong" or "too late" of an empty; empty if unknown."""
    in_calf_was: str = ""
    """"right", "not calved", "later" or "lost" of a pregnancy; empty if unknown."""


def _judge(cow: CowReckoning, scan: Scan, calving: Calving | None, settings: ReckoningSettings) -> _Judged:
    if calving is None or calving.fate in (Fate.SOLD, Fate.DIED):
        return _Judged(scan)
    if calving.calved_on is not None and calving.calved_on <= scan.scanned_on:
        return _Judged(scan)  # the calf of another year
    # All her scans: the herd list may have the calving already, which leaves them out of her result.
    gestation = gestation_days(cow.animal, carries_twins(_before(cow, calving)), settings)
    if scan.entry.result is Result.EMPTY:
        if calving.calved_on is None:
            return _Judged(scan, empty_was="" if calving.fate is Fate.ABORTED else "right")
        conceived_on = conception_date(calving.calved_on, gestation)
        could_be_seen = (scan.scanned_on - conceived_on).days - 2 * GESTATION_SD_DAYS >= earliest_days(cow.animal)
        return _Judged(scan, empty_was="wrong" if could_be_seen else "too late")
    if scan.entry.result is not Result.PREGNANT:
        return _Judged(scan)
    later_empty = any(s.entry.result is Result.EMPTY and s.scanned_on > scan.scanned_on for s in cow.scans)
    if calving.calved_on is None:
        return _Judged(scan, in_calf_was="lost" if later_empty or calving.fate is Fate.ABORTED else "not calved")
    if (conception_date(calving.calved_on, gestation) - scan.scanned_on).days > 2 * GESTATION_SD_DAYS:
        return _Judged(scan, in_calf_was="lost" if later_empty else "later")
    try:
        age = age_heard(scan.entry, settings)
    except ValueError:
        age = None
    if age is None:
        return _Judged(scan, in_calf_was="right")
    predicted = due_date(conception_date(scan.scanned_on, age[0]), gestation)
    return _Judged(scan, age[0], (predicted - calving.calved_on).days, in_calf_was="right")


def _before(cow: CowReckoning, calving: Calving) -> list[Scan]:
    """Her scans of the calf that was born."""
    on = calving.calved_on
    return [scan for scan in cow.scans if on is None or scan.scanned_on < on]


def _audit(vet: str, judged: Sequence[_Judged]) -> Audit:
    empties = [one.empty_was for one in judged if one.empty_was]
    pregnancies = [one.in_calf_was for one in judged if one.in_calf_was]
    aged = [one for one in judged if one.off_days is not None]
    near = [one for one in aged if abs(one.off_days or 0) <= LONGEST_OFF_DAYS]
    lost, later = pregnancies.count("lost"), pregnancies.count("later")
    return Audit(
        vet,
        tuple(_ageing(near)),
        len(aged) - len(near),
        Share(empties.count("wrong"), len(empties)),
        empties.count("too late"),
        Share(pregnancies.count("not calved") + lost + later, len(pregnancies)),
        lost,
        later,
        sum(not one.empty_was and not one.in_calf_was for one in judged),
    )


def _ageing(aged: Sequence[_Judged]) -> Iterable[Ageing]:
    start = 0
    for end in (*STAGES_DAYS, 10_000):
        offs = [one.off_days or 0 for one in aged if start < (one.age_days or 0) <= end]
        stage = f"up to {end} days" if end in STAGES_DAYS else f"over {start} days"
        if offs:
            yield _ageing_of(stage, offs)
        start = end
    if aged:
        yield _ageing_of("all ages", [one.off_days or 0 for one in aged])


def _ageing_of(stage: str, offs: Sequence[int]) -> Ageing:
    within = Share(sum(abs(off) <= 10 for off in offs), len(offs))
    return Ageing(stage, len(offs), fmean(offs), stdev(offs) if len(offs) > 1 else None, within)
