"""When a cow conceived, and by whom: the scan's age, and the matings that fit it."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from math import erf, exp, pi, sqrt

from voicecapture.herd import BullPeriod, Service
from voicecapture.language.phrase import Entry
from voicecapture.reckoning.foetus import ageing_sd_days, crown_rump_age
from voicecapture.reckoning.settings import ReckoningSettings

CYCLE_DAYS = 21
"""Mean length of the oestrous cycle (Mississippi State University Extension P2616)."""

_UNRECORDED = 0.05
"""Chance, before the scan is looked at, that a cow conceived to a mating that nobody recorded: our assumption. It
makes a service that is 2.3 to 2.7 standard deviations from the age, by stage, as likely as an unrecorded one."""

_LEAST_WEIGHT = 0.001
"""Share of the likeliest mating's weight below which another is out of the question."""

UNKNOWN_SIRE = "not recorded"


class Basis(StrEnum):
    """What the day of conception rests on."""

    SCAN = "scan"
    SERVICE = "service"
    BULL = "bull"


@dataclass(frozen=True, slots=True)
class Conception:
    """The day of conception as it counts, and as the scan alone told it."""

    on: date
    sd_days: float
    """Standard deviation, days."""
    basis: Basis
    scan_on: date
    sires: tuple[tuple[str, float], ...] = ()
    """Sires with their posterior, likeliest first; empty without recorded matings."""
    is_misfit: bool = False
    """Matings are recorded, and one that nobody recorded is likelier than all of them."""


def age_heard(entry: Entry, settings: ReckoningSettings) -> tuple[float, float] | None:
    """Age at the scan and its standard deviation, in days; None if no age was said.

    A crown-rump length is measured to the age that `foetus.crown_rump_age` gives.

    Raises:
        ValueError: If a crown-rump length is outside its range.
    """
    if entry.days is not None:
        return float(entry.days), ageing_sd_days(entry.days, settings.ageing_sd_days)
    if entry.crown_rump_mm is not None:
        age = crown_rump_age(entry.crown_rump_mm)
        return age, ageing_sd_days(age, settings.ageing_sd_days)
    return None


def conception_date(scanned_on: date, age_days: float) -> date:
    """The day of the scan less the age, to the nearest day."""
    return scanned_on - timedelta(days=round(age_days))


def fit_matings(
    scanned_on: date,
    age_days: float,
    sd_days: float,
    services: Sequence[Service] = (),
    bulls: Sequence[BullPeriod] = (),
) -> Conception:
    """The day of conception from an age and the recorded matings.

    Bayes' rule: the age is normal about the truth. Before the scan every service is equally likely, and a day with
    the bull as likely as one service in 21 days, since a cow is on heat about once in that time; a twentieth of that
    is left for a mating that nobody recorded. Matings after the scan are left out. The likeliest recorded mating
    gives the day; `sd_days` is the posterior's about that day. Where a mating that nobody recorded is likelier than
    all of them, none fits, and the scan's own day is kept.
    """
    scan_on = conception_date(scanned_on, age_days)
    services = [s for s in services if s.served_on <= scanned_on]
    bulls = [b for b in bulls if b.bull_in <= scanned_on]
    scan_only = Conception(scan_on, sd_days, Basis.SCAN, scan_on)
    if not services and not bulls:
        return scan_only
    fits = [_by_service(s, scan_on, sd_days) for s in services] + [
        _by_bull(b, scan_on, sd_days, scanned_on) for b in bulls
    ]
    unrecorded = _Fit(_UNRECORDED / CYCLE_DAYS, scan_on.toordinal(), sd_days**2, Basis.SCAN, None)
    if sum(fit.weight for fit in fits) < unrecorded.weight:
        return Conception(scan_on, sd_days, Basis.SCAN, scan_on, is_misfit=True)
    best = max(fits, key=lambda fit: fit.weight)
    fits = [fit for fit in (*fits, unrecorded) if fit.weight >= _LEAST_WEIGHT * best.weight]
    total = sum(fit.weight for fit in fits)
    variance = sum(f.weight / total * ((f.mean - best.mean) ** 2 + f.variance) for f in fits)
    by_sire: dict[str, float] = defaultdict(float)
    for fit in fits:
        by_sire[fit.sire or UNKNOWN_SIRE] += fit.weight / total
    return Conception(
        date.fromordinal(round(best.mean)),
        sqrt(variance),
        best.basis,
        scan_on,
        tuple(sorted(by_sire.items(), key=lambda sire: (-sire[1], sire[0]))),
    )


@dataclass(frozen=True, slots=True)
class _Fit:
    """One mating as an explanation: its weight, and mean (a day's ordinal) and variance of the conception."""

    weight: float
    mean: float
    variance: float
    basis: Basis
    sire: str | None


def _by_service(service: Service, scan_on: date, sd_days: float) -> _Fit:
    off = (service.served_on - scan_on).days
    weight, mean = _density(off / sd_days) / sd_days, service.served_on.toordinal()
    return _Fit(weight, mean, 0.0, Basis.SERVICE, service.sire)


def _by_bull(bull: BullPeriod, scan_on: date, sd_days: float, scanned_on: date) -> _Fit:
    """The scan's normal distribution cut to the days with the bull; mean and variance of the truncated normal."""
    last = min(bull.bull_out or scanned_on, scanned_on)
    # The first and last day count whole.
    low = ((bull.bull_in - scan_on).days - 0.5) / sd_days
    high = ((last - scan_on).days + 0.5) / sd_days
    mass = _below(high) - _below(low)
    if mass < 1e-12:
        return _Fit(0.0, scan_on.toordinal(), sd_days**2, Basis.BULL, bull.sire)
    shift = (_density(low) - _density(high)) / mass
    spread = 1 + (low * _density(low) - high * _density(high)) / mass - shift**2
    mean = scan_on.toordinal() + sd_days * shift
    # A bull that was put to one cow for less than a cycle was put to her heat.
    alone_days = (last - bull.bull_in).days + 1 if bull.cow is not None else CYCLE_DAYS
    return _Fit(mass / min(alone_days, CYCLE_DAYS), mean, sd_days**2 * max(spread, 0.0), Basis.BULL, bull.sire)


def _density(z: float) -> float:
    return exp(-(z**2) / 2) / sqrt(2 * pi)


def _below(z: float) -> float:
    return (1 + erf(z / sqrt(2))) / 2
