"""Every cow as CSV (RFC 4180): a heading, CRLF line ends, UTF-8. The herd list reader reads it back.

Cow numbers are written as they are, "0042" with its zeros. A spreadsheet that opens the file may show 42: CSV has no
way to say that a cell is text which other programs read too. The workbook says it.
"""

import csv
import io
from dataclasses import astuple, fields

from voicecapture.exports.table import CowRow, cow_row
from voicecapture.reckoning.season import Season
from voicecapture.reckoning.settings import ReckoningSettings

_FORMULA = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20", "\t", "\r", "\n")
"""A cell that begins so is run by a spreadsheet; the wide signs by those of East Asia."""


def csv_bytes(season: Season, settings: ReckoningSettings) -> tuple[bytes, int]:
    """The file, and how many cows are in it."""
    rows = [cow_row(cow) for cow in season.cows(settings)]
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(field.name for field in fields(CowRow))
    writer.writerows([as_text(value) for value in astuple(row)] for row in rows)
    return text.getvalue().encode(), len(rows)


def as_text(value: object) -> str:
    """A value as a cell that no spreadsheet runs as a formula; empty for None."""
    text = "" if value is None else str(value)
    # An apostrophe makes it text in every spreadsheet.
    return f"'{text}" if text.startswith(_FORMULA) else text
