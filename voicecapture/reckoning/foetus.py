"""The foetus: its age, how well a scan tells it, and how often it is lost."""

import bisect
from collections.abc import Mapping
from math import log, pow

CROWN_RUMP_MM = (4.0, 55.0)
"""Lengths that the formula holds for; it peaks at 57.6 mm and falls after."""


def crown_rump_age(length_mm: float) -> float:
    """Age in days from the crown-rump length: 22.679 + 12.005 L - 1.042 L², L in centimetres.

    Somnuk K et al. 2017, Asian Pac J Reprod 6(4):186-190 (80 scans of cross-bred Holsteins, 30-120 days, R² 0.95).
    The abstract does not print the unit of L; centimetres are the only reading that gives ages of a foetus.

    Raises:
        ValueError: If the length is outside 4 to 55 mm.
    """
    if not CROWN_RUMP_MM[0] <= length_mm <= CROWN_RUMP_MM[1]:
        raise ValueError(f"a crown-rump length of {length_mm:g} mm; expected 4 to 55 mm")
    length_cm = length_mm / 10
    return 22.679 + 12.005 * length_cm - 1.042 * length_cm**2


def ageing_sd_days(age_days: float, by_age: Mapping[int, float]) -> float:
    """Standard deviation of an age that a scan found, in days.

    Args:
        age_days: The age.
        by_age: Standard deviation by the age up to which it holds; the last holds for all beyond.
    """
    ages = sorted(by_age)
    return by_age[ages[min(bisect.bisect_left(ages, age_days), len(ages) - 1)]]


EARLIEST_DAYS_COW, EARLIEST_DAYS_HEIFER = 29, 26
"""Age from which a scan finds every pregnancy: Romano JE et al. 2006, Theriogenology 66, 1,400 scans (sensitivity
100 % from day 29 in cows and day 26 in heifers)."""

_LOSSES = ((30, 0.27), (45, 0.13), (60, 0.07), (90, 0.02))
"""Share of pregnancies lost in the window that ends at an age: days 19-32, 30-45, 45-60, 60-90 (Albaaj A et al. 2023,
JDS Communications 4(2):144-148, 19,723 records of 46 studies). The first two overlap; each is used up to the next."""

TWIN_LOSS, SINGLE_LOSS = 38 / 132, 101 / 1310
"""Share lost from days 36-42 to day 90 (López-Gatius F et al. 2004, Reprod Domest Anim 39:429-433)."""


def loss_chance(age_days: float, twins: bool = False) -> float:
    """Chance that a pregnancy of this age is still lost before day 90, 0-1: what is left of each window, in turn.

    Of twins, the chance to be kept is raised to the power that makes `TWIN_LOSS` of `SINGLE_LOSS`.
    """
    kept, start = 1.0, 19
    for end, share in _LOSSES:
        part = min(1.0, max(0.0, (end - age_days) / (end - start)))
        kept *= (1 - share) ** part
        start = end
    power = log(1 - TWIN_LOSS) / log(1 - SINGLE_LOSS) if twins else 1.0
    return 1 - pow(kept, power)
