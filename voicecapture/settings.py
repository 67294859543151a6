"""The practice's settings, read from one TOML file.

scan = "aged"                 # or "yes_no", for the yes/no scan before winter
questions_per_wrong_entry = 100   # how many questions it is worth to keep one wrong entry out, 20 to 10000

[findings]                    # the practice's own findings: name = how it is said, in ARPAbet
mastitis = "M AE S T AY T AH S"
toe_abscess = ["T OW AE B S EH S"]
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from voicecapture.day import ScanKind
from voicecapture.decision import DecisionSettings
from voicecapture.errors import GrammarError
from voicecapture.language.grammar import Phones, read_phones
from voicecapture.segmenter import SegmenterSettings

_WRONG_COSTS = "questions_per_wrong_entry"


@dataclass(frozen=True, slots=True)
class Settings:
    """Everything that a practice may set, and the measured bars."""

    scan: ScanKind = ScanKind.AGED
    findings: Mapping[str, tuple[Phones, ...]] = field(default_factory=dict)
    segmenter: SegmenterSettings = field(default_factory=SegmenterSettings)
    decision: DecisionSettings = field(default_factory=DecisionSettings)


def read_settings(path: Path | None) -> Settings:
    """Read a settings file; the defaults without one.

    Raises:
        GrammarError: If the file cannot be read or holds something unknown.
    """
    if path is None:
        return Settings()
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise GrammarError(f"{path}: cannot be read ({error.strerror}). Name an existing settings file.") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise GrammarError(f"{path}: not a TOML file ({error}). Mend the line.") from error
    unknown = set(table) - {"scan", "findings", _WRONG_COSTS}
    if unknown:
        raise GrammarError(
            f"{path}: unknown setting '{min(unknown)}'; expected scan, {_WRONG_COSTS} or findings. Remove it."
        )
    costs = table.get(_WRONG_COSTS, DecisionSettings().wrong_costs)
    if isinstance(costs, bool) or not isinstance(costs, int | float) or not 20 <= costs <= 10_000:
        raise GrammarError(f"{path}: {_WRONG_COSTS} is {costs!r}; expected a number from 20 to 10000. Correct it.")
    if table.get("scan", "aged") not in list(ScanKind):
        raise GrammarError(f'{path}: scan is {table["scan"]!r}; expected "aged" or "yes_no". Correct it.')
    return Settings(
        ScanKind(table.get("scan", "aged")),
        _read_findings(table.get("findings", {}), path),
        decision=DecisionSettings(wrong_costs=costs),
    )


def _read_findings(table: object, path: Path) -> dict[str, tuple[Phones, ...]]:
    if not isinstance(table, dict):
        raise GrammarError(f"{path}: findings is not a table; expected lines under [findings]. Correct it.")
    findings = {}
    for name, said in table.items():
        if not all(part.isalpha() for part in name.split("_")):
            raise GrammarError(f"{path}: finding '{name}'; expected letters and underscores. Rename it.")
        forms = said if isinstance(said, list) else [said]
        findings[name.lower()] = tuple(read_phones(str(form), f"{path}: finding '{name}'") for form in forms)
    return findings
