"""The workbook, read back by openpyxl."""

import io
from datetime import date
from typing import Any

import openpyxl
import pytest

from tests.seasons import empty, in_calf, scan_day
from voicecapture.exports.xlsx import xlsx_bytes
from voicecapture.herd import Animal, Herd
from voicecapture.reckoning.season import Season
from voicecapture.reckoning.settings import ReckoningSettings

HERD = Herd([Animal("0042", "826000000000104", "Jersey"), Animal("417")])
DAY = scan_day(date(2026, 12, 10), [in_calf("0042", 56), empty("417")], vet="=cmd")


@pytest.fixture(scope="module")
def book() -> Any:
    return openpyxl.load_workbook(io.BytesIO(xlsx_bytes(Season((DAY,), HERD), ReckoningSettings())[0]))


@pytest.mark.parametrize("sheet", ["cows", "scans"])
def test_the_heading_stays_and_every_row_can_be_filtered(book: Any, sheet: str) -> None:
    found = book[sheet]
    assert found.freeze_panes == "B2" and found.auto_filter.ref == found.dimensions
    assert found.max_row == 3


@pytest.mark.parametrize("sheet", ["cows", "scans"])
def test_numbers_of_cows_are_text_with_their_zeros(book: Any, sheet: str) -> None:
    cells = [row[0] for row in book[sheet].iter_rows(min_row=2)]
    assert [(cell.value, cell.data_type) for cell in cells] == [("0042", "s"), ("417", "s")]


@pytest.mark.parametrize("sheet", ["cows", "scans"])
def test_no_cell_is_a_formula(book: Any, sheet: str) -> None:
    cells = [cell for row in book[sheet].iter_rows() for cell in row if cell.value is not None]
    assert {cell.data_type for cell in cells} <= {"s", "d", "n"}
    assert "=cmd" in {cell.value for cell in cells}


def test_dates_are_shown_as_days(book: Any) -> None:
    columns = [cell.value for cell in book["cows"][1]]
    due_on = book["cows"][2][columns.index("due_on")]
    # Computed: 10 December 2026 less 56 days; Jersey 280 days (Norman et al. 2009, J Dairy Sci 92:2259-2269).
    assert due_on.value.date() == date(2027, 7, 22) and due_on.number_format == "yyyy-mm-dd"


def test_an_electronic_id_fits_into_its_column(book: Any) -> None:
    assert book["cows"].column_dimensions["B"].width >= len("826 000000000104")
