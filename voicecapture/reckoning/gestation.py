"""How long a cow carries her calf."""

from voicecapture.herd import Animal
from voicecapture.reckoning.settings import OTHER_GESTATION_DAYS, ReckoningSettings

GESTATION_SD_DAYS = 4.96
"""Five days: Knott 1932 (4.96 in 2,824 gestations); Norman et al. 2009 (5 to 6); a Jersey herd of the University of
California (5.4 in 1,353)."""

TWINS_SHORTER_DAYS = 5.5
"""Published differences run from 4.4 (Knott 1932) to 6.4 days (Korean J Vet Res 2019;59(4):181-185); the middle."""

HEIFER_SHORTER_DAYS = 1.0
"""Donkersloot 2014: first calvers carry about one day less (quoted); Norman et al. 2009: 0.1 to 2 days by breed."""


def gestation_days(animal: Animal, twins: bool, settings: ReckoningSettings) -> float:
    """Expected length of gestation in days."""
    breed = " ".join((animal.breed or "").lower().replace("-", " ").split())
    other = settings.gestation_days.get("other", OTHER_GESTATION_DAYS)
    days = settings.gestation_days.get(breed, other)
    return days - (TWINS_SHORTER_DAYS if twins else 0.0) - (HEIFER_SHORTER_DAYS if animal.is_heifer else 0.0)
