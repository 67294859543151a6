"""What a practice may set about the reckoning, with published defaults."""

from collections.abc import Mapping
from dataclasses import dataclass, field

AGEING_SD_DAYS: Mapping[int, float] = {60: 4.6, 98: 7.7, 400: 11.0}
"""Standard deviation of the age that a scan finds, in days, by the age up to which it holds.

Up to 60 days, while the crown-rump length can be seen: 95 % within 9 days (recalculated for crown-rump length in a
study of placentomes, N Z Vet J, 58 dairy cows), 9 / 1.96 = 4.6. Up to 14 weeks: 80.5 % of 10,487 cows calved within
10 days of what was predicted (Matthews BJ, Morton JM 2012, N Z Vet J 60(4):234-240; by hand, most at 7 to 18 weeks;
the spread of gestation is in it, so this is cautious), 10 / 1.296 = 7.7. Later: 95 % within 21.7 days by the femur at
60 to 120 days (Massey University, master's dissertation), 21.7 / 1.96 = 11; beyond 120 days it is at least that."""

GESTATION_DAYS: dict[str, float] = {
    "holstein": 279.4,
    "jersey": 280.0,
    "milking shorthorn": 281.1,
    "ayrshire": 281.7,
    "guernsey": 285.7,
    "brown swiss": 287.5,
    "friesian": 279.9,
    "holstein friesian": 279.9,
}
"""Mean length of gestation of cows by breed, days: Norman HD et al. 2009, J Dairy Sci 92:2259-2269; Friesian and
Holstein-Friesian: Knott JC 1932, J Dairy Sci 15(2):87-98."""

OTHER_GESTATION_DAYS = 282.0
"""Of every other breed, and of crosses: commonly accepted mean for New Zealand dairy cattle (Macmillan KL, Curnow RJ
1976, N Z Vet J 24(11):243-252)."""


@dataclass(frozen=True, slots=True)
class ReckoningSettings:
    """What a practice may set about the reckoning."""

    ageing_sd_days: Mapping[int, float] = field(default_factory=lambda: AGEING_SD_DAYS)
    gestation_days: Mapping[str, float] = field(default_factory=lambda: GESTATION_DAYS)
    """By breed in small letters; "other" is for every breed that is not named."""
    dry_off_days: int = 60
    """Days from drying off to the expected calving. Common practice; the vet and the farmer decide."""
