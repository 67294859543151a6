"""What became of the cows: the list of calvings that comes back to the vet."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from pathlib import Path

from voicecapture.lists.table import COW_HEADINGS, Line, ListFormat, parse, read_text
from voicecapture.plain_text import shown


class Fate(StrEnum):
    """What became of a cow."""

    CALVED = "calved"
    DID_NOT_CALVE = "did not calve"
    ABORTED = "aborted"
    SOLD = "sold"
    DIED = "died"


@dataclass(frozen=True, slots=True)
class Calving:
    """One line of the list."""

    cow: str
    fate: Fate
    calved_on: date | None = None
    """Day of the calving; None unless she calved."""


FORMAT = ListFormat(
    name="calving list",
    rows="calvings",
    needed="cow",
    synonyms={
        "cow": COW_HEADINGS,
        "calved_on": ("calved on", "calved", "calving date", "date"),
        "outcome": ("outcome", "result", "fate"),
    },
)
_WORDS = {
    **{fate.value: fate for fate in Fate},
    **dict.fromkeys(("not calved", "empty", "no"), Fate.DID_NOT_CALVE),
    **dict.fromkeys(("slipped", "slipped calf", "abortion", "lost"), Fate.ABORTED),
    "culled": Fate.SOLD,
    "dead": Fate.DIED,
}


def read_calvings(path: Path) -> list[Calving]:
    """Read a calving list, a CSV file like the herd list: `cow`, and `calved_on` or `outcome`.

    Raises:
        HerdError: If the file is not such a list. The message names every wrong line, up to a hundred.
    """
    seen: dict[str, int] = {}

    def calving(line: Line) -> Calving:
        cow = line.cow()
        line.only_once("cow", cow, seen)
        calved_on, fate = line.date("calved_on", "calving date"), line.read("outcome", _fate)
        if calved_on is None and not line.faults and fate in (None, Fate.CALVED):
            line.faults.append("no calving date; expected one, or an outcome such as 'did not calve' or 'sold'.")
        if calved_on is not None and fate not in (None, Fate.CALVED):
            line.faults.append(f"a calving date and the outcome '{fate}'; expected one or the other.")
        return Calving(cow, fate or Fate.CALVED, calved_on)

    return parse(read_text(path, FORMAT), str(path), FORMAT, calving)


def _fate(text: str) -> Fate:
    if text.lower() not in _WORDS:
        raise ValueError(f"outcome '{shown(text)}'; expected one of {', '.join(Fate)}.")
    return _WORDS[text.lower()]
