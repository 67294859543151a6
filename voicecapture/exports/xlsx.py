"""Every cow and every scan as an Excel workbook: real dates, numbers of cows and electronic IDs as text."""

import io
from collections.abc import Iterable, Sequence
from dataclasses import astuple, fields
from datetime import date

from xlsxwriter import Workbook

from voicecapture.exports.table import CowRow, cow_rows
from voicecapture.reckoning.season import Season
from voicecapture.reckoning.settings import ReckoningSettings
from voicecapture.report.wording import notes, written_age, written_result

_SCAN_COLUMNS = ("cow", "scanned_on", "vet", "result", "age_said", "notes")


def xlsx_bytes(season: Season, settings: ReckoningSettings) -> tuple[bytes, int]:
    """The file, and how many cows are in it."""
    rows = cow_rows(season, settings)
    file = io.BytesIO()
    with Workbook(file, {"in_memory": True}) as workbook:
        _sheet(workbook, "cows", [field.name for field in fields(CowRow)], map(astuple, rows))
        _sheet(workbook, "scans", _SCAN_COLUMNS, _scans(season))
    return file.getvalue(), len(rows)


def _scans(season: Season) -> Iterable[tuple[object, ...]]:
    for cow, scans in sorted(season.scans.items(), key=lambda item: int(item[0])):
        for scan in scans:
            result = written_result(scan.entry.result) if scan.entry.result else ""
            yield cow, scan.scanned_on, scan.vet, result, written_age(scan.entry), ", ".join(notes(scan.entry))


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
            elif isinstance(value, int):
                sheet.write_number(last, place, value)
            elif value:
                sheet.write_string(last, place, str(value))
    sheet.freeze_panes(1, 1)
    sheet.autofilter(0, 0, last, len(columns) - 1)
    sheet.autofit()
