"""Every cow, every scan and the calvings to come as an Excel workbook: real dates; cow numbers and IDs as text."""

import io
from collections.abc import Iterable, Sequence
from dataclasses import astuple, fields
from datetime import date

from xlsxwriter import Workbook

from voicecapture.exports.table import CowRow, cow_row
from voicecapture.reckoning.calving import calving_curve
from voicecapture.reckoning.cow import CowReckoning
from voicecapture.reckoning.season import Season
from voicecapture.reckoning.settings import ReckoningSettings
from voicecapture.report.wording import notes, written_age, written_result

_CALVING_COLUMNS = ("day", "expected", "low_80", "high_80")
_SCAN_COLUMNS = ("cow", "scanned_on", "vet", "result", "age_said", "notes")


def xlsx_bytes(season: Season, settings: ReckoningSettings) -> tuple[bytes, int]:
    """The file, and how many cows are in it."""
    cows = season.cows(settings)
    rows = [cow_row(cow) for cow in cows]
    file = io.BytesIO()
    with Workbook(file, {"in_memory": True}) as workbook:
        _sheet(workbook, "cows", [field.name for field in fields(CowRow)], map(astuple, rows))
        _sheet(workbook, "scans", _SCAN_COLUMNS, _scans(season))
        _sheet(workbook, "calvings by day", _CALVING_COLUMNS, _calvings(cows))
    return file.getvalue(), len(rows)


def _scans(season: Season) -> Iterable[tuple[object, ...]]:
    for cow, scans in sorted(season.scans.items(), key=lambda item: int(item[0])):
        for scan in scans:
            result = written_result(scan.entry.result) if scan.entry.result else ""
            yield cow, scan.scanned_on, scan.vet, result, written_age(scan.entry), ", ".join(notes(scan.entry))


def _calvings(cows: Sequence[CowReckoning]) -> Iterable[tuple[object, ...]]:
    curve = calving_curve(cow.calving for cow in cows if cow.calving is not None)
    for day in curve.days if curve is not None else ():
        yield day.first_on, round(day.expected, 2), day.low, day.high


def _sheet(workbook: Workbook, name: str, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """A sheet with a heading that stays, where text never becomes a number, a formula or a link."""
    sheet = workbook.add_worksheet(name)
    bold, day = workbook.add_format({"bold": True}), workbook.add_format({"num_format": "yyyy-mm-dd"})
    for place, column in enumerate(columns):
        sheet.write_string(0, place, column, bold)
    last = 0
    for last, row in enumerate(rows, 1):
        for place, value in enumerate(row):
            if isinstance(value, date):
                sheet.write_datetime(last, place, value, day)
            elif isinstance(value, int | float):
                sheet.write_number(last, place, value)
            elif value:
                sheet.write_string(last, place, str(value))
    sheet.freeze_panes(1, 1)
    sheet.autofilter(0, 0, last, len(columns) - 1)
    sheet.autofit()
