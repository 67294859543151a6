"""The practice's settings, read from one TOML file.

scan = "aged"                 # or "yes_no", for the yes/no scan before winter
break_after_minutes = 90      # the screen reminds of a break after so long without one, 10 to 600; never without it
questions_per_wrong_entry = 100   # how many questions it is worth to keep one wrong entry out, 20 to 10000

[findings]                    # the practice's own findings: name = how it is said, in ARPAbet
mastitis = "M AE S T AY T AH S"
toe_abscess = ["T OW AE B S EH S"]

[reckoning]
dry_off_days = 60             # days from drying off to the expected calving, 0 to 150
gestation_days = { other = 282, jersey = 280 }            # by breed; "other" is for every breed that is not named
ageing_sd_days = { 60 = 4.6, 98 = 7.7, 400 = 11.0 }       # how far a scan's age is off, up to an age
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from voicecapture.day import ScanKind
from voicecapture.decision import DecisionSettings
from voicecapture.errors import GrammarError
from voicecapture.language.grammar import Phones, read_phones
from voicecapture.plain_text import shown
from voicecapture.reckoning.settings import AGEING_SD_DAYS, GESTATION_DAYS, ReckoningSettings
from voicecapture.segmenter import SegmenterSettings

_WRONG_COSTS = "questions_per_wrong_entry"
_BREAK = "break_after_minutes"
_LARGEST_BYTES = 100_000
_LONGEST_NAME, _MOST_FORMS = 40, 8


@dataclass(frozen=True, slots=True)
class Settings:
    """Everything that a practice may set, and the measured bars."""

    scan: ScanKind = ScanKind.AGED
    findings: Mapping[str, tuple[Phones, ...]] = field(default_factory=dict)
    segmenter: SegmenterSettings = field(default_factory=SegmenterSettings)
    decision: DecisionSettings = field(default_factory=DecisionSettings)
    reckoning: ReckoningSettings = field(default_factory=ReckoningSettings)
    break_after_minutes: float | None = None
    """Minutes without a break after which the screen reminds of one; None for never."""


def read_settings(path: Path | None) -> Settings:
    """Read a settings file; the defaults without one.

    Raises:
        GrammarError: If the file cannot be read or holds something unknown.
    """
    if path is None:
        return Settings()
    try:
        with path.open("rb") as file:
            data = file.read(_LARGEST_BYTES + 1)
        if len(data) > _LARGEST_BYTES:
            raise GrammarError(f"{path}: over {_LARGEST_BYTES} bytes; expected a settings file. Name another.")
        table = tomllib.loads(data.decode())
    except OSError as error:
        raise GrammarError(f"{path}: cannot be read ({error.strerror}). Name an existing settings file.") from error
    except (ValueError, RecursionError) as error:  # what is no TOML, no UTF-8, a number or a nesting without end
        raise GrammarError(f"{path}: not a TOML file ({error}). Mend the line.") from error
    unknown = set(table) - {"scan", "findings", "reckoning", _BREAK, _WRONG_COSTS}
    if unknown:
        raise GrammarError(
            f"{path}: unknown setting '{shown(min(unknown))}'; expected scan, {_BREAK}, {_WRONG_COSTS}, "
            "findings or reckoning. Remove it."
        )
    costs = table.get(_WRONG_COSTS, DecisionSettings().wrong_costs)
    if isinstance(costs, bool) or not isinstance(costs, int | float) or not 20 <= costs <= 10_000:
        raise GrammarError(
            f"{path}: {_WRONG_COSTS} is {shown(repr(costs))}; expected a number from 20 to 10000. Correct it."
        )
    rest = table.get(_BREAK)
    if rest is not None and (isinstance(rest, bool) or not isinstance(rest, int | float) or not 10 <= rest <= 600):
        raise GrammarError(f"{path}: {_BREAK} is {shown(repr(rest))}; expected minutes from 10 to 600. Correct it.")
    if table.get("scan", "aged") not in list(ScanKind):
        raise GrammarError(f'{path}: scan is {shown(repr(table["scan"]))}; expected "aged" or "yes_no". Correct it.')
    return Settings(
        ScanKind(table.get("scan", "aged")),
        _read_findings(table.get("findings", {}), path),
        decision=DecisionSettings(wrong_costs=costs),
        reckoning=_read_reckoning(table.get("reckoning", {}), path),
        break_after_minutes=rest,
    )


def _read_reckoning(table: object, path: Path) -> ReckoningSettings:
    if not isinstance(table, dict) or set(table) - {"dry_off_days", "gestation_days", "ageing_sd_days"}:
        raise GrammarError(
            f"{path}: reckoning holds something unknown; expected dry_off_days, gestation_days and ageing_sd_days "
            "under [reckoning]. Correct it."
        )
    gestation = _days_by(table.get("gestation_days", {}), "gestation_days", (240, 320), path)
    ageing = _days_by(table.get("ageing_sd_days", {}), "ageing_sd_days", (0.5, 60), path)
    dry_off = table.get("dry_off_days", ReckoningSettings().dry_off_days)
    if isinstance(dry_off, bool) or not isinstance(dry_off, int) or not 0 <= dry_off <= 150:
        raise GrammarError(
            f"{path}: dry_off_days is {shown(repr(dry_off))}; expected a whole number from 0 to 150. Correct it."
        )
    if not all(age.isascii() and age.isdigit() and len(age) <= 4 for age in ageing):
        raise GrammarError(f"{path}: ageing_sd_days names '{shown(min(ageing))}'; expected ages in days. Correct it.")
    return ReckoningSettings(
        {int(age): days for age, days in ageing.items()} or AGEING_SD_DAYS,
        GESTATION_DAYS | {breed.lower().replace("-", " ").replace("_", " "): d for breed, d in gestation.items()},
        dry_off,
    )


def _days_by(table: object, name: str, bounds: tuple[float, float], path: Path) -> dict[str, float]:
    """A table of days within bounds."""
    low, high = bounds
    if not isinstance(table, dict) or not all(
        isinstance(days, int | float) and not isinstance(days, bool) and low <= days <= high
        for days in table.values()
    ):
        raise GrammarError(
            f"{path}: {name} is {shown(repr(table))}; expected days from {low:g} to {high:g} each. Correct it."
        )
    return {str(key): float(days) for key, days in table.items()}


def _read_findings(table: object, path: Path) -> dict[str, tuple[Phones, ...]]:
    if not isinstance(table, dict):
        raise GrammarError(f"{path}: findings is not a table; expected lines under [findings]. Correct it.")
    findings: dict[str, tuple[Phones, ...]] = {}
    for name, said in table.items():
        where, forms = f"{path}: finding '{shown(name)}'", said if isinstance(said, list) else [said]
        if not all(part.isalpha() for part in name.split("_")) or len(name) > _LONGEST_NAME:
            raise GrammarError(f"{where}; expected letters and underscores, up to {_LONGEST_NAME}. Rename it.")
        if name.lower() in findings:
            raise GrammarError(f"{where} is there twice; expected it once. Rename one.")
        if not 1 <= len(forms) <= _MOST_FORMS or not all(isinstance(form, str) for form in forms):
            raise GrammarError(
                f"{where} is said in no way, too many, or no text; expected up to {_MOST_FORMS} strings of phones. "
                "Correct it."
            )
        findings[name.lower()] = tuple(read_phones(form, where) for form in forms)
    return findings
