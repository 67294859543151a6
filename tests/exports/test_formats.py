"""Exports, read back by other people's code."""

import csv
import io
import json
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

import jsonschema
import openpyxl
import pytest
from icalendar import Calendar
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012

from tests.seasons import empty, in_calf, recheck, scan_day
from voicecapture.day import ScanKind
from voicecapture.errors import RecordError
from voicecapture.exports import write_export
from voicecapture.exports.ade import ade_events
from voicecapture.herd import Animal, Herd, Matings, Service
from voicecapture.language.phrase import Entry, Result
from voicecapture.lists.herd import read_herd
from voicecapture.reckoning.season import ScanDay, Season
from voicecapture.reckoning.settings import ReckoningSettings

SETTINGS = ReckoningSettings()
SCANNED_ON = date(2026, 12, 10)
HERD = Herd([Animal("417", "826000000000417", "Jersey"), Animal("0042"), Animal("608"), Animal("609"), Animal("4")])
SCHEMAS = Path(__file__).parents[1] / "data" / "icar-ade"


def season(*days: ScanDay, herd: Herd = HERD, matings: Matings | None = None) -> Season:
    return Season(days, herd, matings or Matings())


@pytest.fixture
def early() -> ScanDay:
    entries = [
        in_calf("417", 56),
        in_calf("0042", 45, twins=True),
        replace(empty("608"), findings=("cystic",)),
        recheck("609"),
    ]
    return scan_day(SCANNED_ON, entries, vet="A Vet")


def written(tmp_path: Path, name: str, found: Season) -> Path:
    assert write_export(found, SETTINGS, tmp_path / name) >= 0
    return tmp_path / name


def rows(path: Path) -> dict[str, dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return {row["cow"]: row for row in csv.DictReader(file)}


# ---- CSV ---------------------------------------------------------------------------------------


def test_csv_holds_every_cow_with_her_dates(tmp_path: Path, early: ScanDay) -> None:
    found = rows(written(tmp_path, "season.csv", season(early)))
    assert list(found) == ["417", "0042", "608", "609", "4"]
    # Computed: 10 December 2026 less 56 days; Jersey 280 days (Norman et al. 2009, J Dairy Sci 92:2259-2269).
    assert (found["417"]["conceived_on"], found["417"]["due_on"]) == ("2026-10-15", "2027-07-22")
    assert (found["608"]["result"], found["608"]["notes"]) == ("empty", "cystic")
    assert (found["4"]["result"], found["4"]["scanned_on"]) == ("not seen", "")


def test_csv_tells_a_cow_that_calved_since_her_scan(tmp_path: Path, early: ScanDay) -> None:
    calved = Herd([Animal("417", calved_on=date(2027, 7, 20)), Animal("4")])
    found = rows(written(tmp_path, "season.csv", season(early, herd=calved)))
    assert (found["417"]["result"], found["417"]["due_on"], found["4"]["result"]) == ("calved since", "", "not seen")


def test_csv_follows_rfc_4180(tmp_path: Path) -> None:
    """RFC 4180 section 2: CRLF; a comma or a quote needs quotes, a quote is doubled; as many fields a line."""
    herd = Herd([Animal("417", breed='Friesian, "black"')])
    data = written(tmp_path, "season.csv", season(herd=herd)).read_bytes()
    lines = data.split(b"\r\n")
    assert lines[-1] == b"" and b"\n" not in data.replace(b"\r\n", b"")
    assert b'"Friesian, ""black"""' in lines[1]
    assert len({len(row) for row in csv.reader(io.StringIO(data.decode(), newline=""))}) == 1


@pytest.mark.parametrize("breed", ["=1+1", "+1", "-1", "@SUM(A1)"])
def test_no_cell_is_run_by_a_spreadsheet(tmp_path: Path, breed: str) -> None:
    herd = Herd([Animal("417", breed=breed)])
    assert rows(written(tmp_path, "season.csv", season(herd=herd)))["417"]["breed"] == f"'{breed}"
    book = openpyxl.load_workbook(written(tmp_path, "season.xlsx", season(herd=herd)))
    cell = book["cows"]["C2"]
    assert (cell.value, cell.data_type) == (breed, "s")


def test_csv_is_a_herd_list_again(tmp_path: Path, early: ScanDay) -> None:
    again = read_herd(written(tmp_path, "season.csv", season(early)))
    assert list(again.animals) == list(HERD.animals)
    assert again.animals["417"].electronic_id == "826000000000417"


# ---- XLSX --------------------------------------------------------------------------------------


def test_the_workbook_has_real_dates_and_numbers_of_cows_as_text(tmp_path: Path, early: ScanDay) -> None:
    later = scan_day(date(2027, 2, 9), [in_calf("609", 60)])
    book = openpyxl.load_workbook(written(tmp_path, "season.xlsx", season(early, later)))
    header, first, second, *_ = book["cows"].iter_rows(values_only=True)
    cow = dict(zip(header, first, strict=True))
    assert cow["conceived_on"] == datetime(2026, 10, 15) and cow["electronic_id"] == "826 000000000417"
    assert dict(zip(header, second, strict=True))["cow"] == "0042"
    scans = list(book["scans"].iter_rows(min_row=2, values_only=True))
    assert [row[0] for row in scans] == ["0042", "417", "608", "609", "609"]
    assert book["cows"].freeze_panes == "B2"


# ---- ICAR ADE ----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def validator() -> jsonschema.protocols.Validator:
    """The standard's own schemas, from tests/data/icar-ade (Apache-2.0, SOURCE.md tells where from)."""

    def retrieve(uri: str) -> Resource[Any]:
        schema = json.loads(Path(uri.removeprefix("file://")).read_text("utf-8"))
        return Resource.from_contents(schema, default_specification=DRAFT202012)

    registry: Registry[Any] = Registry(retrieve=retrieve)  # type: ignore[call-arg]
    check = (SCHEMAS / "resources" / "icarReproPregnancyCheckEventResource.json").as_uri()
    return jsonschema.Draft202012Validator({"$ref": check}, registry=registry)


VALID: dict[str, Any] = {
    "resourceType": "icarReproPregnancyCheckEventResource",
    "id": "evt-0001",
    "animal": {"id": "554123456789012", "scheme": "std.iso.11785"},
    "eventDateTime": "2026-12-10T02:15:00Z",
    "method": "Echography",
    "result": "Pregnant",
    "foetalAge": 56,
    "foetusCount": 1,
}


def without(name: str) -> dict[str, Any]:
    return {key: value for key, value in VALID.items() if key != name}


@pytest.mark.parametrize(
    "wrong",
    [
        without("animal"),
        without("resourceType"),
        VALID | {"animal": {"id": "554123456789012"}},
        VALID | {"foetalAge": "56"},
        VALID | {"foetalAge": 56.5},
        VALID | {"foetalAge": None},
        VALID | {"result": "pregnant"},
        VALID | {"method": "Ultrasound"},
    ],
)
def test_the_schemas_tell_right_from_wrong(validator: jsonschema.protocols.Validator, wrong: dict[str, Any]) -> None:
    assert validator.is_valid(VALID)
    assert not validator.is_valid(wrong)


def test_every_scan_is_a_valid_event_of_the_standard(
    tmp_path: Path, early: ScanDay, validator: jsonschema.protocols.Validator
) -> None:
    later = scan_day(date(2027, 2, 9), [in_calf("609", 60), in_calf("417")], kind=ScanKind.YES_NO)
    events = json.loads(written(tmp_path, "season.json", season(early, later)).read_text("utf-8"))
    for event in events:
        validator.validate(event)
        assert None not in event.values()
        # What the schemas let pass although it is wrong.
        assert set(event) <= {*VALID, "responsible", "exceptions"} and event.get("foetalAge", 1) > 0
    assert len(events) == len({event["id"] for event in events}) == 6


def test_what_an_event_says(early: ScanDay) -> None:
    found = {event["animal"]["id"]: event for event in ade_events(season(early), SETTINGS)}
    assert found["826000000000417"] == {
        "resourceType": "icarReproPregnancyCheckEventResource",
        "id": f"{early.name}-417",
        "animal": {"id": "826000000000417", "scheme": "std.iso.11785"},
        "eventDateTime": "2026-12-10T07:00:03Z",
        "method": "Echography",
        "result": "Pregnant",
        "responsible": "A Vet",
        "foetalAge": 56,
        "foetusCount": 1,
    }
    assert (found["0042"]["result"], found["0042"]["foetusCount"]) == ("Multiple", 2)
    assert (found["608"]["result"], found["608"]["exceptions"]) == ("Empty", ["cystic"])
    assert found["609"]["result"] == "Unknown" and "foetalAge" not in found["609"]


def test_times_are_utc(early: ScanDay) -> None:
    """9 o'clock on 10 December 2026 at UTC+13 is 20 o'clock the day before in UTC (computed)."""
    day = replace(early, started_at="2026-12-10T09:00:00.000+13:00")
    assert ade_events(season(day), SETTINGS)[0]["eventDateTime"] == "2026-12-09T20:00:03Z"


def test_a_recording_heard_on_another_day_has_the_day_of_the_scan(early: ScanDay) -> None:
    day = replace(early, started_at="2026-11-25T09:00:00.000+00:00")
    assert ade_events(season(day), SETTINGS)[0]["eventDateTime"] == "2026-12-10T10:00:00Z"


def test_a_length_gives_the_age_that_it_tells_and_a_finding_alone_is_no_event() -> None:
    day = scan_day(SCANNED_ON, [Entry("4", Result.PREGNANT, crown_rump_mm=30), Entry("608", findings=("lame",))])
    (event,) = ade_events(season(day), SETTINGS)
    # Somnuk et al. 2017: 3.0 cm is 49.3 days.
    assert event["foetalAge"] == 49


# ---- iCalendar ---------------------------------------------------------------------------------


def entries(path: Path) -> dict[str, Any]:
    calendar = Calendar.from_ical(path.read_bytes())
    return {str(event["uid"]): event for event in calendar.walk("VEVENT")}


def of_cow(found: dict[str, Any], kind: str, cow: str) -> Any:
    (entry,) = (
        event
        for uid, event in found.items()
        if uid.startswith(f"{kind}-") and str(event["summary"]).startswith(f"Cow {cow}:")
    )
    return entry


def test_the_calendar_holds_rechecks_dry_offs_and_calvings_as_whole_days(tmp_path: Path, early: ScanDay) -> None:
    found = entries(written(tmp_path, "season.ics", season(early)))
    calving = of_cow(found, "calving", "417")
    assert calving["dtstart"].dt == date(2027, 7, 22) and type(calving["dtstart"].dt) is date
    # RFC 5545 section 3.6.1: a date without an end lasts one day.
    assert "dtend" not in calving and calving["transp"] == "TRANSPARENT"
    assert of_cow(found, "dry-off", "417")["dtstart"].dt == date(2027, 5, 23)
    assert of_cow(found, "recheck", "608")["dtstart"].dt == date(2027, 1, 8)
    assert "vet's judgement" in calving["description"]


def test_the_calendar_is_written_as_rfc_5545_asks(tmp_path: Path, early: ScanDay) -> None:
    """Sections 3.1 (CRLF, 75 octets), 3.3.11 (escapes), 3.6 (VERSION, PRODID), 3.6.1 (UID, DTSTAMP)."""
    data = written(tmp_path, "season.ics", season(early)).read_bytes()
    lines = data.split(b"\r\n")
    assert b"\n" not in data.replace(b"\r\n", b"") and max(map(len, lines)) <= 75
    assert b"VERSION:2.0" in lines and any(line.startswith(b"PRODID:") for line in lines)
    assert b"DTSTART;VALUE=DATE:20270722" in lines
    assert b"An estimate\\; the" in data.replace(b"\r\n ", b"")
    assert data.count(b"\r\nUID:") == data.count(b"\r\nDTSTAMP:") == data.count(b"BEGIN:VEVENT")


def test_a_second_import_moves_entries_and_cancels_what_no_longer_holds(tmp_path: Path, early: ScanDay) -> None:
    before = entries(written(tmp_path, "first.ics", season(early)))
    later = scan_day(date(2027, 2, 9), [empty("417"), in_calf("608", 70)])
    after = entries(written(tmp_path, "second.ics", season(early, later)))
    assert set(before) <= set(after)
    assert of_cow(after, "calving", "417")["status"] == "CANCELLED"
    assert of_cow(after, "recheck", "417")["status"] == "CONFIRMED"
    assert of_cow(after, "recheck", "608")["status"] == "CANCELLED"
    for uid in set(before) & set(after):
        assert after[uid]["sequence"] >= before[uid]["sequence"]


# ---- all of them -------------------------------------------------------------------------------


def test_a_fitting_service_gives_the_date_in_every_format(tmp_path: Path, early: ScanDay) -> None:
    matings = Matings((Service("417", date(2026, 10, 17), sire="Elder"),))
    found = season(early, matings=matings)
    row = rows(written(tmp_path, "season.csv", found))["417"]
    assert (row["conceived_on"], row["conceived_by"], row["conceived_by_scan"]) == (
        "2026-10-17",
        "service",
        "2026-10-15",
    )
    assert (row["sire"], row["sire_percent"]) == ("Elder", "97")
    assert of_cow(entries(written(tmp_path, "season.ics", found)), "calving", "417")["dtstart"].dt == date(
        2027, 7, 24
    )


@pytest.mark.parametrize("name", ["season.txt", "season", "season.pdf"])
def test_an_unknown_ending_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(RecordError, match=r"\.csv, \.xlsx, \.json, \.ics"):
        write_export(season(), SETTINGS, tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def test_what_cannot_be_written_leaves_the_older_file_whole(tmp_path: Path, early: ScanDay) -> None:
    with pytest.raises(RecordError, match="cannot be written"):
        write_export(season(early), SETTINGS, tmp_path / "nowhere" / "season.csv")
    (tmp_path / "season.csv").mkdir()
    with pytest.raises(RecordError, match="cannot be written"):
        write_export(season(early), SETTINGS, tmp_path / "season.csv")
    assert [path.name for path in tmp_path.iterdir()] == ["season.csv"]


def test_an_empty_day_exports(tmp_path: Path) -> None:
    for name in ("season.csv", "season.xlsx", "season.json", "season.ics"):
        assert write_export(Season((scan_day(SCANNED_ON, []),)), SETTINGS, tmp_path / name) == 0
