"""What a scan day begins with: what is chosen so far, how it was understood, what is missing and what looks odd.

`filled` reads the lists that are named; all else is pure. Commands and screens ask for the same fields and go by the
same checks.
"""

import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from dataclasses import field as dataclass_field
from datetime import date
from enum import StrEnum
from pathlib import Path

from voicecapture.day import ScanKind
from voicecapture.errors import HerdError
from voicecapture.herd import Herd, Matings
from voicecapture.lists.herd import FORMAT as HERD_FORMAT
from voicecapture.lists.herd import parse_herd
from voicecapture.lists.matings import FORMAT as MATINGS_FORMAT
from voicecapture.lists.matings import parse_matings
from voicecapture.lists.table import Preview, preview, read_date, read_text

PREVIEW_ROWS = 5
_YEARS = (2000, 2100)
_LONG_AGO_DAYS = 300
"""A mating season that began longer ago than a gestation is an odd one for a scan."""


class Field(StrEnum):
    """What is asked for, in this order."""

    HERD = "herd list"
    MATINGS = "mating list"
    FARM = "farm"
    VET = "vet"
    SCAN = "scan"
    SCANNED_ON = "scanned on"
    MATING_START = "mating from"


@dataclass(frozen=True, slots=True)
class HerdList:
    """A herd list as it was understood."""

    file: Path
    herd: Herd
    preview: Preview


@dataclass(frozen=True, slots=True)
class MatingList:
    """A mating list as it was understood."""

    file: Path
    matings: Matings
    preview: Preview


@dataclass(frozen=True, slots=True)
class Start:
    """What is chosen so far."""

    herd: HerdList | None = None
    matings: MatingList | None = None
    farm: str = ""
    """Only names the day's file."""
    vet: str = ""
    scan: ScanKind = ScanKind.AGED
    scanned_on: date | None = None
    mating_start: date | None = None
    refused: Mapping[Field, str] = dataclass_field(default_factory=dict)
    """What was typed and cannot be taken, in a sentence; of a list, one for every wrong line."""

    @property
    def faults(self) -> dict[Field, str]:
        """What was refused, and what does not go together."""
        faults = dict(self.refused)
        if self.mating_start and self.scanned_on and self.mating_start >= self.scanned_on:
            faults[Field.MATING_START] = (
                f"mating from {self.mating_start}; expected a day before the scan on {self.scanned_on}."
            )
        return faults

    @property
    def missing(self) -> tuple[Field, ...]:
        """What a day cannot begin without: needed and not there, or there and wrong."""
        needed = {Field.HERD: self.herd, Field.VET: self.vet, Field.SCANNED_ON: self.scanned_on}
        return tuple(f for f in Field if f in self.faults or not needed.get(f, True))

    @property
    def strangers(self) -> list[str]:
        """Cows that were served and are not in the herd list."""
        if self.herd is None or self.matings is None:
            return []
        served = {service.cow for service in self.matings.matings.services}
        return sorted((cow for cow in served if cow not in self.herd.herd), key=int)


def filled(start: Start, field: Field, text: str) -> Start:
    """What is chosen after something was typed into a field; what cannot be taken is refused with its reason."""
    refused = {f: why for f, why in start.refused.items() if f is not field}
    try:
        return replace(_with(start, field, text.strip()), refused=refused)
    except (HerdError, ValueError) as error:
        return replace(_with(start, field, ""), refused={**refused, field: str(error)})


def _with(start: Start, field: Field, text: str) -> Start:
    match field:
        case Field.HERD:
            return replace(start, herd=_herd_list(text) if text else None)
        case Field.MATINGS:
            return replace(start, matings=_mating_list(text) if text else None)
        case Field.FARM:
            return replace(start, farm=text)
        case Field.VET:
            return replace(start, vet=text)
        case Field.SCAN:
            return replace(start, scan=_scan_kind(text) if text else ScanKind.AGED)
        case Field.SCANNED_ON:
            return replace(start, scanned_on=_day(text, field) if text else None)
        case Field.MATING_START:
            return replace(start, mating_start=_day(text, field) if text else None)


def _herd_list(name: str) -> HerdList:
    file = Path(name).expanduser()
    text = read_text(file, HERD_FORMAT)
    return HerdList(file, parse_herd(text, name), preview(text, name, HERD_FORMAT, PREVIEW_ROWS))


def _mating_list(name: str) -> MatingList:
    file = Path(name).expanduser()
    text = read_text(file, MATINGS_FORMAT)
    return MatingList(file, parse_matings(text, name), preview(text, name, MATINGS_FORMAT, PREVIEW_ROWS))


def _scan_kind(text: str) -> ScanKind:
    if text not in list(ScanKind):
        raise ValueError(f"scan '{text}'; expected {' or '.join(ScanKind)}.")
    return ScanKind(text)


def _day(text: str, field: Field) -> date:
    day = read_date(text, field)
    if not _YEARS[0] <= day.year <= _YEARS[1]:
        raise ValueError(f"{field} {day}; expected a day of this season.")
    return day


def lists_near(text: str) -> list[str]:
    """The CSV files and folders whose names go on from what was typed so far, files first."""
    head, tail = os.path.split(text)
    try:
        near = sorted(p for p in Path(head or ".").expanduser().iterdir() if p.name.startswith(tail or p.name[:1]))
    except OSError:
        return []
    files = [os.path.join(head, p.name) for p in near if p.suffix.lower() == ".csv" and p.is_file()]
    folders = [os.path.join(head, p.name, "") for p in near if p.is_dir() and not p.name.startswith(".")]
    return files + folders


class Sign(StrEnum):
    """How it stands with a field, by shape."""

    GOOD = "✓"
    ODD = "!"
    WRONG = "✗"
    NEEDED = "?"
    EMPTY = "·"


@dataclass(frozen=True, slots=True)
class Remark:
    """What stands beside a field."""

    sign: Sign
    words: str


def remark(start: Start, field: Field, today: date) -> Remark:
    """How it stands with a field, in a few words."""
    if field in start.faults:
        wrong_lines = start.faults[field].count("\n")
        return Remark(Sign.WRONG, f"wrong lines: {wrong_lines}" if wrong_lines else "cannot be taken")
    if field in start.missing:
        return Remark(Sign.NEEDED, "needed")
    match field:
        case Field.HERD:
            return Remark(Sign.GOOD, f"{len(start.herd.herd) if start.herd else 0} cows")
        case Field.MATINGS:
            return _of_matings(start)
        case Field.FARM:
            return Remark(Sign.GOOD, "names the file") if start.farm else Remark(Sign.EMPTY, "may stay empty")
        case Field.VET:
            return Remark(Sign.GOOD, "stands on the sheet")
        case Field.SCAN:
            return Remark(Sign.GOOD, "with ages" if start.scan is ScanKind.AGED else "in calf or not")
        case Field.SCANNED_ON:
            assert start.scanned_on is not None
            days = (start.scanned_on - today).days
            if not days:
                return Remark(Sign.GOOD, "today")
            return Remark(Sign.ODD, f"in {days} days" if days > 0 else f"{-days} days ago")
        case Field.MATING_START:
            return _of_mating_start(start, today)


def _of_matings(start: Start) -> Remark:
    if start.matings is None:
        return Remark(Sign.EMPTY, "may stay empty")
    if start.strangers:
        return Remark(Sign.ODD, f"{len(start.strangers)} not in the herd")
    found = start.matings.matings
    bulls = f", {len(found.bulls)} bulls" if found.bulls else ""
    return Remark(Sign.GOOD, f"{len(found.services)} services{bulls}")


def _of_mating_start(start: Start, today: date) -> Remark:
    if start.mating_start is None:
        mated = start.matings.matings if start.matings else Matings()
        first_on = mated.began_on(start.scanned_on or today)
        return Remark(Sign.EMPTY, f"{first_on} by the list" if first_on else "may stay empty")
    if start.scanned_on is None:
        return Remark(Sign.GOOD, "")
    days = (start.scanned_on - start.mating_start).days
    return Remark(Sign.ODD if days > _LONG_AGO_DAYS else Sign.GOOD, f"{days} days before it")


_HELP = {
    Field.HERD: "A CSV file with a heading. Only the column of cow numbers is needed.",
    Field.MATINGS: "A CSV file of services and bull periods. With it, an age that fits no mating is told at once.",
    Field.FARM: "The day's file is called by it, and is so found again.",
    Field.VET: "Who scans.",
    Field.SCAN: "Aged: the vet tells how far she is. Yes/no: in calf or empty, as before winter.",
    Field.SCANNED_ON: "yyyy-mm-dd or dd/mm/yyyy. Every age is counted back from it.",
    Field.MATING_START: "The first day of mating; empty, it is the first day in the mating list.",
}


def about(start: Start, field: Field) -> str:
    """What there is to know about a field: what is wrong with it, how a list was understood, or what it is for."""
    if field in start.faults:
        return start.faults[field]
    if field is Field.HERD and start.herd is not None:
        return _shown(f"{len(start.herd.herd)} cows", start.herd.preview)
    if field is Field.MATINGS and start.matings is not None:
        found = start.matings.matings
        strangers = f"\nserved and not in the herd list: {', '.join(start.strangers)}" if start.strangers else ""
        return _shown(f"{len(found.services)} services, {len(found.bulls)} bull periods", start.matings.preview) + (
            strangers
        )
    return _HELP[field]


def _read(cell: str) -> str:
    """A cell as it was read: 3/4/2027 is the third of April."""
    try:
        return read_date(cell, "").isoformat()
    except ValueError:
        return cell


def _shown(counted: str, found: Preview) -> str:
    """A list as it was understood: columns with the headings that were taken for them, and the first rows."""
    names = [name.replace("_", " ") for name in found.headings]
    taken = [f'"{heading}"' for heading in found.headings.values()]
    table = [names, taken, *([_read(cell) for cell in row] for row in found.rows)]
    widths = [max(map(len, column)) for column in zip(*table, strict=True)]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in table]
    left_out = f"; left out: {', '.join(found.left_out)}" if found.left_out else ""
    return "\n".join([f"{counted}{left_out}", "columns, each with the heading that was taken for it:", *lines])
