"""Reads a herd list, a CSV file as farm software and spreadsheets write it. All of it or nothing is taken."""

import csv
import io
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TypeVar

from charset_normalizer import from_bytes

from voicecapture.errors import HerdError
from voicecapture.herd import Animal, Herd

_SYNONYMS = {
    "cow": (
        "cow",
        "cow number",
        "cow no",
        "cow id",
        "number",
        "no",
        "tag",
        "tag number",
        "management number",
        "management id",
        "animal",
        "animal number",
        "animal id",
        "id",
    ),
    "electronic_id": ("electronic id", "electronic number", "electronic tag", "eid", "e id", "rfid", "rfid tag"),
    "breed": ("breed",),
    "mated_on": (
        "mated on",
        "mated",
        "mating date",
        "service date",
        "served on",
        "last service",
        "last service date",
        "insemination date",
        "ai date",
    ),
}
"""Headings by what they mean; the first of each is its own name and wins over the others."""

_DELIMITERS = ",;\t"
_COW = re.compile(r"[0-9]{1,5}")
_ELECTRONIC_ID = re.compile(r"[0-9]{15}|[0-9]{3} [0-9]{12}|[0-9]{3}(?:\.[0-9]{3}){4}")
_ISO_DATE = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})")
_DAY_FIRST_DATE = re.compile(r"([0-9]{1,2})/([0-9]{1,2})/([0-9]{4})")
_LAST_NATIONAL_ID = 2**38 - 1
"""ISO 11784 gives the national id 38 bits: 274,877,906,943 is the last, and 12 digits can say more."""


_Value = TypeVar("_Value")


@dataclass(frozen=True, slots=True)
class _Row:
    line: int
    """Where the row begins in the file, from 1."""
    cells: list[str]


def read_herd(path: Path) -> Herd:
    """Read a herd list.

    The first line names the columns, in any order; only the cow number is required and unknown columns are
    left out. Commas, semicolons or tabs part the columns. Text is UTF-8, UTF-16 with a byte order mark, or
    Windows-1252. Dates are yyyy-mm-dd or dd/mm/yyyy, the day first. Leading zeros of cow numbers are kept.

    Raises:
        HerdError: If the file is not such a list. The message names every wrong line, not only the first.
    """
    rows = _rows(_text(path), path)
    header = next(rows, None)
    if header is None:
        raise HerdError(f"{path}: the file is empty; expected a herd list. Name the file with the cows.")
    columns = _columns(header.cells, path)
    animals: list[Animal] = []
    wrong: list[str] = []
    cow_lines: dict[str, int] = {}
    electronic_id_lines: dict[str, int] = {}
    for row in rows:
        if len(row.cells) != len(header.cells):
            wrong.append(
                f"line {row.line}: found {len(row.cells)} columns; expected {len(header.cells)} as in the heading."
            )
            continue
        animal, faults = _animal({name: row.cells[place].strip() for name, place in columns.items()})
        faults += _seen_before("cow", animal.cow, row.line, cow_lines)
        faults += _seen_before("electronic id", animal.electronic_id, row.line, electronic_id_lines)
        wrong += [f"line {row.line}: {fault}" for fault in faults]
        animals.append(animal)
    if wrong:
        count = "1 fault" if len(wrong) == 1 else f"{len(wrong)} faults"
        raise HerdError("\n  ".join([f"{path}: {count}; nothing was imported. Correct the lines:", *wrong]))
    if not animals:
        raise HerdError(f"{path}: no cows below the heading; expected one line a cow. Name the file with the cows.")
    return Herd(animals)


def _text(path: Path) -> str:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise HerdError(f"{path}: cannot be read ({error.strerror}). Name an existing herd list.") from error
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    if encoding != "utf-16" and b"\0" in data:
        raise HerdError(f"{path}: not a text file; expected CSV. Save the list as CSV (UTF-8).")
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        guess = from_bytes(data, cp_isolation=["cp1252"]).best() if encoding != "utf-16" else None
        if guess is None:
            raise HerdError(
                f"{path}: letters that cannot be read; expected UTF-8, UTF-16 or Windows-1252. "
                "Save the list as CSV (UTF-8)."
            ) from error
        text = str(guess)
    if "\0" in text:
        raise HerdError(f"{path}: not a text file; expected CSV. Save the list as CSV (UTF-8).")
    return text


def _rows(text: str, path: Path) -> Iterator[_Row]:
    """The rows that hold anything; the delimiter is the one that the heading has most of."""
    heading = next((line for line in text.splitlines() if line.strip()), "")
    reader = csv.reader(io.StringIO(text), delimiter=max(_DELIMITERS, key=heading.count), strict=True)
    line = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield _Row(line, cells)
            line = reader.line_num + 1
    except csv.Error as error:
        raise HerdError(
            f"{path}: line {line}: not CSV ({error}); expected quotes in pairs. Correct the line."
        ) from error


def _columns(header: list[str], path: Path) -> dict[str, int]:
    """Places of the known columns."""
    headings = [re.sub(r"[\s_.\-]+", " ", cell).strip().lower() for cell in header]
    columns = {}
    for name, synonyms in _SYNONYMS.items():
        places = [i for i, heading in enumerate(headings) if heading in synonyms]
        exact = [i for i in places if headings[i] == synonyms[0]]
        if len(exact or places) > 1:
            found = ", ".join(f"'{header[i].strip()}'" for i in places)
            raise HerdError(f"{path}: line 1: {found} may each be {name}; expected one. Call one of them '{name}'.")
        if places:
            columns[name] = (exact or places)[0]
    if "cow" not in columns:
        raise HerdError(
            f"{path}: line 1: no column of cow numbers among {', '.join(repr(cell.strip()) for cell in header)}; "
            "expected one called 'cow'. Add the heading line, or rename the column."
        )
    return columns


def _animal(cells: dict[str, str]) -> tuple[Animal, list[str]]:
    """The animal as far as it can be read, and what is wrong with the line."""
    faults: list[str] = []

    def read(name: str, parse: Callable[[str], _Value]) -> _Value | None:
        try:
            return parse(cells[name]) if cells.get(name) else None
        except ValueError as error:
            faults.append(str(error))
            return None

    cow = cells["cow"]
    if not _COW.fullmatch(cow):
        faults.append(f"cow '{cow}'; expected 1 to 5 digits." if cow else "no cow number; expected 1 to 5 digits.")
    electronic_id = read("electronic_id", _electronic_id)
    mated_on = read("mated_on", _date)
    return Animal(cow, electronic_id, cells.get("breed") or None, mated_on), faults


def _seen_before(what: str, value: str | None, line: int, lines: dict[str, int]) -> list[str]:
    if not value:
        return []
    first = lines.setdefault(value, line)
    return [] if first == line else [f"{what} {value} is on line {first} already; expected it once."]


def _electronic_id(text: str) -> str:
    """15 digits from "ccc nnnnnnnnnnnn", "ccc.nnn.nnn.nnn.nnn" or 15 digits."""
    if not _ELECTRONIC_ID.fullmatch(text):
        raise ValueError(f"electronic id '{text}'; expected 15 digits (format the spreadsheet's column as text).")
    digits = re.sub(r"[ .]", "", text)
    if digits[:3] == "000":
        raise ValueError(f"electronic id '{text}' begins with 000; expected a country or manufacturer code.")
    if int(digits[3:]) > _LAST_NATIONAL_ID:
        raise ValueError(f"electronic id '{text}'; expected at most {_LAST_NATIONAL_ID} after the first 3 digits.")
    return digits


def _date(text: str) -> date:
    iso, day_first = _ISO_DATE.fullmatch(text), _DAY_FIRST_DATE.fullmatch(text)
    try:
        if iso:
            year, month, day = map(int, iso.groups())
            return date(year, month, day)
        if day_first:
            day, month, year = map(int, day_first.groups())
            return date(year, month, day)
    except ValueError:
        pass  # no such day, told below
    raise ValueError(f"mating date '{text}'; expected a day as yyyy-mm-dd or dd/mm/yyyy.")
