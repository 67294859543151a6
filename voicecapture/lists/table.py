"""Reads a CSV list with headings in any order. All of a list or nothing is taken, and every wrong line is told."""

import csv
import io
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from itertools import islice
from pathlib import Path
from typing import TypeVar

from voicecapture.errors import HerdError
from voicecapture.plain_text import one_line, shown

_DELIMITERS = ",;\t"
_COW = re.compile(r"[0-9]{1,5}")
_ISO_DATE = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})")
_DAY_FIRST_DATE = re.compile(r"([0-9]{1,2})/([0-9]{1,2})/([0-9]{4})")
_YEARS = (1980, 2100)
"""What is dated before or after is a slip; the reckoning goes some years beyond."""
_LARGEST_BYTES = 32 * 1024**2
"""A list of 300,000 matings has 15 MB; what is larger was named by mistake."""
_MOST_FAULTS, _MOST_COLUMNS = 100, 30
"""Of a message: faults that are told, and columns that are shown."""

Synonyms = Mapping[str, tuple[str, ...]]
"""Headings by what they mean; the first of each is its own name and wins over the others."""

COW_HEADINGS = (
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
)

_Value = TypeVar("_Value")


@dataclass(slots=True)
class Line:
    """One line of a list; what is found wrong while its cells are read is collected."""

    number: int
    """Where the line begins in the file, from 1."""
    cells: Mapping[str, str]
    """Text by column; columns that the file lacks are absent."""
    faults: list[str] = field(default_factory=list)

    def text(self, name: str) -> str | None:
        """A cell; None if it is empty, or holds what is no text."""
        text = self.cells.get(name) or None
        if text is not None and one_line(text) != text:
            self.faults.append(f"{name} '{shown(text)}'; expected letters and signs in one line.")
            return None
        return text

    def read(self, name: str, parse: Callable[[str], _Value]) -> _Value | None:
        """A cell as a value; None if it is empty or wrong. `parse` raises ValueError with the fault's sentence."""
        text = self.text(name)
        try:
            return parse(text) if text else None
        except ValueError as error:
            self.faults.append(str(error))
            return None

    def date(self, name: str, called: str) -> date | None:
        """A cell as a day."""
        return self.read(name, lambda text: read_date(text, called))

    def cow(self) -> str:
        """The cell of the cow number, which every line must have."""
        cow = self.cells.get("cow", "")
        if not _COW.fullmatch(cow):
            self.faults.append(
                f"cow '{shown(cow)}'; expected 1 to 5 digits." if cow else "no cow number; expected 1 to 5 digits."
            )
        return cow

    def only_once(self, called: str, value: str | None, seen: dict[str, int]) -> None:
        """Note as a fault that a value was on an earlier line."""
        if value and (first := seen.setdefault(value, self.number)) != self.number:
            self.faults.append(f"{called} {value} is on line {first} already; expected it once.")


@dataclass(frozen=True, slots=True)
class ListFormat:
    """What a list is and which columns it may have."""

    name: str
    """As in "expected a herd list"."""
    rows: str
    """As in "no cows below the heading"."""
    synonyms: Synonyms
    needed: str
    """The column without which nothing can be read."""


def read_text(path: Path, format: ListFormat) -> str:
    """The text of a list: UTF-8, UTF-16 with a byte order mark, or Windows-1252.

    Raises:
        HerdError: If it cannot be read as text, or is far larger than any list.
    """
    try:
        with path.open("rb") as file:
            data = file.read(_LARGEST_BYTES + 1)
    except OSError as error:
        raise HerdError(f"{path}: cannot be read ({error.strerror}). Name an existing {format.name}.") from error
    if len(data) > _LARGEST_BYTES:
        raise HerdError(
            f"{path}: over {_LARGEST_BYTES // 1024**2} MB; expected a {format.name}, which is far smaller. Name the "
            f"file with the {format.rows}."
        )
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    if encoding != "utf-16" and b"\0" in data:
        raise HerdError(f"{path}: not a text file; expected CSV. Save the list as CSV (UTF-8).")
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        # Loaded here: most lists are Unicode.
        from charset_normalizer import from_bytes

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


def parse(text: str, where: str, format: ListFormat, value: Callable[[Line], _Value]) -> list[_Value]:
    """The values of all lines below the heading.

    Args:
        text: The list.
        where: Its file, for messages.
        format: What it is.
        value: Reads one line, and notes in it what is wrong.

    Raises:
        HerdError: If anything in it is wrong. The message names every wrong line, up to a hundred.
    """
    rows = _rows(text, where)
    header = next(rows, None)
    if header is None:
        raise HerdError(
            f"{where}: the file is empty; expected a {format.name}. Name the file with the {format.rows}."
        )
    columns = _columns(header[1], where, format)
    values: list[_Value] = []
    wrong: list[str] = []
    for number, cells in rows:
        if len(wrong) >= _MOST_FAULTS:
            break
        if len(cells) != len(header[1]):
            wrong.append(f"line {number}: found {len(cells)} columns; expected {len(header[1])} as in the heading.")
            continue
        line = Line(number, {name: cells[place].strip() for name, place in columns.items()})
        values.append(value(line))
        wrong += [f"line {number}: {fault}" for fault in dict.fromkeys(line.faults)]
    if wrong:
        wrong = wrong[:_MOST_FAULTS]
        count = "1 fault" if len(wrong) == 1 else f"{len(wrong)} faults"
        count += " and perhaps more" if len(wrong) >= _MOST_FAULTS else ""
        raise HerdError("\n  ".join([f"{where}: {count}; nothing was imported. Correct the lines:", *wrong]))
    if not values:
        raise HerdError(
            f"{where}: no {format.rows} below the heading; expected one line each. "
            f"Name the file with the {format.rows}."
        )
    return values


@dataclass(frozen=True, slots=True)
class Preview:
    """What a list was understood to be."""

    headings: Mapping[str, str]
    """By the name of a column, the heading in the file that was taken for it."""
    left_out: tuple[str, ...]
    """Headings of columns that were not taken."""
    rows: tuple[tuple[str, ...], ...]
    """The first rows, of the columns that were taken."""


def preview(text: str, where: str, format: ListFormat, rows: int) -> Preview:
    """How a list without a fault is read, with its first rows.

    Raises:
        HerdError: If its heading is wrong.
    """
    (_, header), *below = islice(_rows(text, where), rows + 1)
    columns = _columns(header, where, format)
    return Preview(
        {name: header[place].strip() for name, place in columns.items()},
        tuple(cell.strip() for place, cell in enumerate(header) if place not in columns.values()),
        tuple(tuple(cells[place].strip() for place in columns.values()) for _, cells in below),
    )


def _rows(text: str, where: str) -> Iterator[tuple[int, list[str]]]:
    """Line number and cells of the rows that hold anything; the heading has most of the delimiter."""
    heading = next((line for line in text.splitlines() if line.strip()), "")
    reader = csv.reader(io.StringIO(text), delimiter=max(_DELIMITERS, key=heading.count), strict=True)
    line = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield line, cells
            line = reader.line_num + 1
    except csv.Error as error:
        found = str(error).replace("\t", "tab")
        raise HerdError(
            f"{where}: line {line}: not CSV ({found}); expected quotes in pairs. Correct the line."
        ) from error


def _columns(header: list[str], where: str, format: ListFormat) -> dict[str, int]:
    """Places of the known columns."""
    headings = [re.sub(r"[\s_.\-]+", " ", cell).strip().lower() for cell in header]
    columns = {}
    for name, synonyms in format.synonyms.items():
        places = [i for i, heading in enumerate(headings) if heading in synonyms]
        exact = [i for i in places if headings[i] == synonyms[0]]
        if len(exact or places) > 1:
            found = ", ".join(f"'{shown(header[i].strip())}'" for i in places[:_MOST_COLUMNS])
            raise HerdError(f"{where}: line 1: {found} may each be {name}; expected one. Call one of them '{name}'.")
        if places:
            columns[name] = (exact or places)[0]
    if format.needed not in columns:
        called = "of cow numbers" if format.needed == "cow" else f"'{format.needed}'"
        found = ", ".join(f"'{shown(cell.strip())}'" for cell in header[:_MOST_COLUMNS])
        raise HerdError(
            f"{where}: line 1: no column {called} among {found}; "
            f"expected one called '{format.needed}'. Add the heading line, or rename the column."
        )
    return columns


def read_date(text: str, called: str) -> date:
    """A day, with what it is called in a fault's sentence.

    Raises:
        ValueError: If it is none.
    """
    iso, day_first = _ISO_DATE.fullmatch(text), _DAY_FIRST_DATE.fullmatch(text)
    first, last = _YEARS
    try:
        if iso:
            year, month, day = map(int, iso.groups())
        elif day_first:
            day, month, year = map(int, day_first.groups())
        else:
            raise ValueError
        if first <= year <= last:
            return date(year, month, day)
    except ValueError:
        pass  # no such day, told below
    raise ValueError(f"{called} '{shown(text)}'; expected a day as yyyy-mm-dd or dd/mm/yyyy from {first} to {last}.")


def yes_or_no(text: str) -> bool:
    """A cell that says yes or no.

    Raises:
        ValueError: If it says neither.
    """
    answer = {"yes": True, "y": True, "true": True, "1": True, "no": False, "n": False, "false": False, "0": False}
    if text.lower() not in answer:
        raise ValueError(f"'{shown(text)}'; expected yes or no.")
    return answer[text.lower()]
