"""The mating list: services of single cows, and days in which a bull ran with the herd."""

from datetime import date
from pathlib import Path

from voicecapture.herd import BullPeriod, Matings, Service, ServiceKind
from voicecapture.lists.table import COW_HEADINGS, Line, ListFormat, parse, read_text
from voicecapture.plain_text import shown

FORMAT = ListFormat(
    name="mating list",
    rows="matings",
    needed="cow",
    synonyms={
        "cow": COW_HEADINGS,
        "served_on": (
            "served on",
            "served",
            "service date",
            "mated on",
            "mating date",
            "insemination date",
            "ai date",
            "date",
        ),
        "kind": ("kind", "service", "service type", "mating type", "type"),
        "sire": ("sire", "bull", "sire name", "bull name"),
        "bull_in": ("bull in", "bull in date"),
        "bull_out": ("bull out", "bull out date"),
    },
)
_KINDS = {
    **dict.fromkeys(("ai", "artificial insemination", "insemination"), ServiceKind.INSEMINATION),
    **dict.fromkeys(("natural", "natural service", "natural mating", "bull"), ServiceKind.NATURAL),
}


def read_matings(path: Path) -> Matings:
    """Read a mating list, a CSV file like the herd list.

    A line is a service, with `cow`, `served_on` and perhaps `kind` ("AI" or "natural") and `sire`, or a bull period,
    with `bull_in` and perhaps `bull_out`, `sire` and, where the bull ran with one cow alone, `cow`.

    Raises:
        HerdError: If the file is not such a list. The message names every wrong line, up to a hundred.
    """
    return parse_matings(read_text(path, FORMAT), str(path))


def parse_matings(text: str, where: str) -> Matings:
    """The matings in the text of a list.

    Raises:
        HerdError: As `read_matings`.
    """
    found = dict.fromkeys(parse(text, where, FORMAT, _mating))  # equal lines are one mating
    return Matings(
        tuple(mating for mating in found if isinstance(mating, Service)),
        tuple(mating for mating in found if isinstance(mating, BullPeriod)),
    )


def _mating(line: Line) -> Service | BullPeriod:
    served_on = line.date("served_on", "service date")
    bull_in, bull_out = line.date("bull_in", "bull-in date"), line.date("bull_out", "bull-out date")
    kind = line.read("kind", _kind)
    if bull_in is not None and not line.text("served_on"):
        if bull_out is not None and bull_out < bull_in:
            line.faults.append(f"bull out on {bull_out} and in on {bull_in}; expected the bull in first.")
        return BullPeriod(bull_in, bull_out, line.text("sire"), line.cow() if line.text("cow") else None)
    if bull_in is not None or bull_out is not None:
        line.faults.append("a service date and bull dates; expected one or the other on a line.")
    elif served_on is None and not line.faults:
        line.faults.append("no service date and no bull-in date; expected one of them.")
    return Service(line.cow(), served_on or date.min, kind or ServiceKind.INSEMINATION, line.text("sire"))


def _kind(text: str) -> ServiceKind:
    if text.lower() not in _KINDS:
        raise ValueError(f"kind of service '{shown(text)}'; expected AI or natural.")
    return _KINDS[text.lower()]
