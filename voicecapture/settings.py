"""The practice's settings, read from one TOML file.

scan = "aged"                 # or "yes_no", for the yes/no scan before winter
break_after_minutes = 90      # the screen reminds of a break after so long without one, 10 to 600; never without it
spool_hours = 12              # how much of a live day's sound is kept besides the utterances, 1 to 240
spool_drops_oldest = false    # whether the oldest of it makes room then
questions_per_wrong_entry = 100   # how many questions it is worth to keep one wrong entry out, 20 to 10000
reader_window_seconds = 12    # for so long a cow that the electronic-ID reader read stands at the gate, 3 to 120

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
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TypeVar

from voicecapture.bars import DecisionSettings
from voicecapture.day import ScanKind
from voicecapture.errors import GrammarError
from voicecapture.gate import LEAST_WINDOW_S
from voicecapture.language.pronunciations import Phones, read_phones
from voicecapture.plain_text import shown
from voicecapture.reckoning.settings import AGEING_SD_DAYS, GESTATION_DAYS, ReckoningSettings
from voicecapture.segmenter import SegmenterSettings

_WRONG_COSTS = "questions_per_wrong_entry"
_BREAK = "break_after_minutes"
_READER = "reader_window_seconds"
_SPOOL, _DROPS = "spool_hours", "spool_drops_oldest"

_Default = TypeVar("_Default", float, None)
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
    spool_hours: float = 12.0
    """How much of a live day's sound is kept besides the utterances."""
    spool_drops_oldest: bool = False
    """Whether the oldest of it makes room then; otherwise no more of it is kept."""


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
    unknown = set(table) - {"scan", "findings", "reckoning", _BREAK, _SPOOL, _DROPS, _READER, _WRONG_COSTS}
    if unknown:
        raise GrammarError(
            f"{path}: unknown setting '{shown(min(unknown))}'; expected scan, {_BREAK}, {_SPOOL}, {_DROPS}, "
            f"{_WRONG_COSTS}, {_READER}, findings or reckoning. Remove it."
        )
    bars = DecisionSettings()
    costs = _number(table, _WRONG_COSTS, bars.wrong_costs, "a number", (20, 10_000), path)
    reader_window_s = _number(table, _READER, bars.reader_window_s, "seconds", (LEAST_WINDOW_S, 120), path)
    rest = _number(table, _BREAK, None, "minutes", (10, 600), path)
    hours = _number(table, _SPOOL, Settings().spool_hours, "hours", (1, 240), path)
    drops = table.get(_DROPS, False)
    if not isinstance(drops, bool):
        raise GrammarError(f"{path}: {_DROPS} is {shown(repr(drops))}; expected true or false. Correct it.")
    if table.get("scan", "aged") not in list(ScanKind):
        raise GrammarError(f'{path}: scan is {shown(repr(table["scan"]))}; expected "aged" or "yes_no". Correct it.')
    return Settings(
        ScanKind(table.get("scan", "aged")),
        _read_findings(table.get("findings", {}), path),
        decision=replace(bars, wrong_costs=costs, reader_window_s=reader_window_s),
        reckoning=_read_reckoning(table.get("reckoning", {}), path),
        break_after_minutes=rest,
        spool_hours=hours,
        spool_drops_oldest=drops,
    )


def _number(
    table: Mapping[str, object], name: str, default: _Default, what: str, bounds: tuple[float, float], path: Path
) -> float | _Default:
    """A number within bounds, or the default where nothing is set."""
    value, (low, high) = table.get(name), bounds
    if value is None:
        return default
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise GrammarError(
            f"{path}: {name} is {shown(repr(value))}; expected {what} from {low:g} to {high:g}. Correct it."
        )
    return value


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
