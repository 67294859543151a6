"""What a spreadsheet or the herd list reader makes of the CSV."""

import csv
import io
from datetime import date

import pytest

from tests.seasons import in_calf, scan_day
from voicecapture.exports.csv_file import csv_bytes
from voicecapture.herd import Animal, Herd, Matings, Service
from voicecapture.lists.herd import parse_herd
from voicecapture.reckoning.season import Season
from voicecapture.reckoning.settings import ReckoningSettings

ANIMALS = [Animal("0042", "826000000000104", 'Jersey, "x"'), Animal("42"), Animal("417", None, "Friesian")]


def text(season: Season) -> str:
    return csv_bytes(season, ReckoningSettings())[0].decode("utf-8")


def test_the_herd_list_reader_finds_the_same_animals() -> None:
    day = scan_day(date(2026, 12, 10), [in_calf("417", 56)])
    matings = Matings((Service("417", date(2026, 10, 17), sire="Elder"),))
    # No column of the scan may pass for a mating, a birth or a calving.
    again = parse_herd(text(Season((day,), Herd(ANIMALS), matings)), "season.csv")
    assert list(again.animals.values()) == ANIMALS


def test_an_electronic_id_is_no_number_to_a_spreadsheet() -> None:
    """Printed as country and national code, 3 + 12 digits (ISO 11784); as 15 digits it would become a float."""
    (row, *_) = csv.DictReader(io.StringIO(text(Season((), Herd(ANIMALS))), newline=""))
    assert row["electronic_id"] == "826 000000000104"
    with pytest.raises(ValueError):
        float(row["electronic_id"])


@pytest.mark.parametrize("field", ["\t=1+1", "\r=1+1", "=HYPERLINK(1)"])
def test_no_sire_is_run_by_a_spreadsheet(field: str) -> None:
    day = scan_day(date(2026, 12, 10), [in_calf("417", 56)])
    season = Season((day,), matings=Matings((Service("417", date(2026, 10, 15), sire=field),)))
    (row,) = csv.DictReader(io.StringIO(text(season), newline=""))
    assert row["sire"] == f"'{field}"


def test_a_line_break_within_a_field_is_quoted() -> None:
    """RFC 4180 section 2.6: fields with line breaks, double quotes and commas are in double quotes."""
    herd = Herd([Animal("417", breed="Jersey\r\ncross")])
    assert '"Jersey\r\ncross"' in text(Season((), herd))
