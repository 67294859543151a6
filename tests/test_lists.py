"""The farm's lists are read whole or not at all."""

from datetime import date, timedelta
from pathlib import Path

import pytest

from voicecapture.errors import HerdError
from voicecapture.herd import Animal, BullPeriod, Matings, Service, ServiceKind
from voicecapture.lists import table
from voicecapture.lists.calvings import Calving, Fate, read_calvings
from voicecapture.lists.herd import read_herd
from voicecapture.lists.matings import parse_matings, read_matings


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "alder_bank.csv"


def animals(file: Path, text: str, encoding: str = "utf-8") -> list[Animal]:
    file.write_bytes(text.encode(encoding))
    return list(read_herd(file).animals.values())


def refusal(file: Path, data: str | bytes) -> str:
    file.write_bytes(data.encode() if isinstance(data, str) else data)
    with pytest.raises(HerdError) as refused:
        read_herd(file)
    assert str(file) in str(refused.value)
    return str(refused.value)


def test_a_full_line_is_read(file: Path) -> None:
    text = "cow,electronic_id,breed,mated_on\n417,826000000000104,Friesian,2025-11-02\n"
    assert animals(file, text) == [Animal("417", "826000000000104", "Friesian", date(2025, 11, 2))]


def test_only_the_cow_is_required_and_empty_cells_are_unknown(file: Path) -> None:
    assert animals(file, "cow\n417\n") == [Animal("417")]
    assert animals(file, "cow,eid,breed,mated on\n417,,,\n") == [Animal("417")]


def test_leading_zeros_and_order_are_kept(file: Path) -> None:
    assert [animal.cow for animal in animals(file, "cow\n0417\n417\n3\n")] == ["0417", "417", "3"]


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_delimiters_and_line_endings(file: Path, delimiter: str, ending: str) -> None:
    text = ending.join(["breed;pen;cow", "Jersey;north, far end;417", ""]).replace(";", delimiter)
    if delimiter == ",":
        text = text.replace("north, far end", '"north, far end"')
    assert animals(file, text) == [Animal("417", breed="Jersey")]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings(file: Path, encoding: str) -> None:
    assert animals(file, "cow,breed\n417,Normande croisée\n", encoding) == [Animal("417", breed="Normande croisée")]


@pytest.mark.parametrize("heading", ["Cow", "cow number", "Cow_Number", "NUMBER", "Tag", "Management Number", "ID"])
def test_headings_for_the_cow(file: Path, heading: str) -> None:
    assert animals(file, f"pen,{heading}\n2,417\n") == [Animal("417")]


@pytest.mark.parametrize("heading", ["Electronic ID", "EID", "RFID", "electronic_id"])
def test_headings_for_the_electronic_id(file: Path, heading: str) -> None:
    assert animals(file, f"{heading},cow\n826000000000104,417\n") == [Animal("417", "826000000000104")]


@pytest.mark.parametrize("heading", ["Mated on", "Mating date", "Service Date", "mated_on"])
def test_headings_and_forms_of_the_mating_date(file: Path, heading: str) -> None:
    text = f"cow,{heading}\n417,2025-11-02\n418,02/11/2025\n419,2/11/2025\n"
    assert {animal.mated_on for animal in animals(file, text)} == {date(2025, 11, 2)}


def test_its_own_name_wins_over_a_synonym(file: Path) -> None:
    assert animals(file, "id,cow\n9001,417\n") == [Animal("417")]


def test_two_columns_that_may_be_the_cow_are_refused(file: Path) -> None:
    message = refusal(file, "id,tag\n9001,417\n")
    assert "'id', 'tag'" in message


# Print form of ISO 11784 codes, 3 and 12 digits; dots as ICAR prints them, 900.215.010.999.999
# (icar.org, RFID misuse page).
@pytest.mark.parametrize(
    ("written", "digits"),
    [
        ("554123456789012", "554123456789012"),
        ("554 123456789012", "554123456789012"),
        ("900.215.010.999.999", "900215010999999"),
        # The last national id of 38 bits (ISO 11784: bits 27-64), 274,877,906,943.
        ("554274877906943", "554274877906943"),
    ],
)
def test_electronic_ids(file: Path, written: str, digits: str) -> None:
    assert animals(file, f"cow,eid\n417,{written}\n") == [Animal("417", digits)]


@pytest.mark.parametrize(
    "written",
    [
        "554274877906944",  # one beyond 38 bits (ISO 11784)
        "000123456789012",  # country code 000 is invalid (icar.org, RFID misuse page)
        "999123456789012",  # 999 is for tests and on no animal (icar.org, RFID misuse page)
        "210123456789012",  # no country of ISO 3166-1
        "99912345678901",
        "9991234567890123",
        "9.99123E+14",
        "999.123456789012",
        "99912345678901x",
        "٩٩٩١٢٣٤٥٦٧٨٩٠١٢",
    ],
)
def test_wrong_electronic_ids(file: Path, written: str) -> None:
    message = refusal(file, f"cow,eid\n417,{written}\n")
    assert "line 2" in message and written in message


@pytest.mark.parametrize("cow", ["", "123456", "41a", "-4", "4 17", "4.0", "٤١٧"])
def test_wrong_cow_numbers(file: Path, cow: str) -> None:
    assert "line 3" in refusal(file, f"cow,breed\n417,Jersey\n{cow},Jersey\n")


@pytest.mark.parametrize("day", ["2025-02-30", "31/02/2025", "11/13/2025", "2.11.2025", "yesterday", "02/11/25"])
def test_wrong_dates(file: Path, day: str) -> None:
    message = refusal(file, f"cow,mated on\n417,{day}\n")
    assert "line 2" in message and day in message


def test_every_wrong_line_is_named_with_its_number_in_the_file(file: Path) -> None:
    message = refusal(file, "cow,eid,mated on\n417,,\n\n41x,,\n418,1,soon\n419,\n417,,\n420,,\n")
    assert [line.split(":")[0].strip() for line in message.splitlines()[1:]] == [
        "line 4",
        "line 5",
        "line 5",
        "line 6",
        "line 7",
    ]
    assert "417 is on line 2 already" in message


def test_an_electronic_id_on_two_cows_names_both_lines(file: Path) -> None:
    message = refusal(file, "cow,eid\n417,826000000000104\n418,826 000000000104\n")
    assert "line 3" in message and "line 2 already" in message


def test_a_row_over_two_lines_does_not_shift_the_numbers(file: Path) -> None:
    assert "line 4" in refusal(file, 'cow,breed\n417,"Friesian\nx Jersey"\n41x,Jersey\n')


@pytest.mark.parametrize(
    ("data", "fault"),
    [
        (b"", "empty"),
        (b"\xef\xbb\xbf\r\n", "empty"),
        (b"cow,breed\n", "no cows"),
        (b"417\n418\n", "no column of cow numbers"),
        (b"pen,breed\n2,Jersey\n", "no column of cow numbers"),
        (b"PK\x03\x04\x14\x00\x00\x00", "not a text file"),
        ("cow\n417\n".encode("utf-16-le"), "not a text file"),
        (b"cow,breed\n417,\x81\x8d\x8f\n", "letters that cannot be read"),
        (b"\xff\xfec", "letters that cannot be read"),
        (b'cow,breed\n417,"Jersey\n418,Jersey\n', "line 2: not CSV"),
    ],
)
def test_files_that_are_no_herd_list(file: Path, data: bytes, fault: str) -> None:
    assert fault in refusal(file, data)


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(HerdError, match="cannot be read"):
        read_herd(tmp_path / "none.csv")


def test_a_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(HerdError, match="cannot be read"):
        read_herd(tmp_path)


def test_birth_calving_and_eligibility(file: Path) -> None:
    text = "cow,born on,last calving date,eligible\n417,2022-08-20,20/08/2026,yes\n418,2024-09-01,,No\n"
    cow, heifer = animals(file, text)
    assert cow == Animal("417", born_on=date(2022, 8, 20), calved_on=date(2026, 8, 20), eligible=True)
    assert heifer == Animal("418", born_on=date(2024, 9, 1), eligible=False)
    assert heifer.is_heifer and not cow.is_heifer


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("cow,calved\n417,soon\n", "calving date 'soon'"),
        ("cow,eligible\n417,perhaps\n", "'perhaps'; expected yes or no"),
        ("cow,born,calved\n417,2026-08-20,2022-08-20\n", "expected the birth first"),
    ],
)
def test_wrong_birth_calving_and_eligibility(file: Path, text: str, fault: str) -> None:
    message = refusal(file, text)
    assert "line 2: " in message and fault in message


def test_services_and_bull_periods(file: Path) -> None:
    file.write_text(
        "cow,service date,type,sire,bull in,bull out\n"
        "417,2026-11-20,AI,Elder,,\n"
        "417,11/11/2026,natural,,,\n"
        ",,,Rowan,2026-12-01,2027-01-12\n"
        "608,,,Hazel,2026-12-20,\n"
    )
    matings = read_matings(file)
    assert matings.services_of("417") == (
        Service("417", date(2026, 11, 11), ServiceKind.NATURAL),
        Service("417", date(2026, 11, 20), ServiceKind.INSEMINATION, "Elder"),
    )
    everywhere = BullPeriod(date(2026, 12, 1), date(2027, 1, 12), "Rowan")
    assert matings.bulls_of("417") == (everywhere,)
    assert matings.bulls_of("608") == (everywhere, BullPeriod(date(2026, 12, 20), None, "Hazel", "608"))
    assert matings.began_on(date(2027, 2, 9)) == date(2026, 11, 11)
    assert matings.began_on(date(2030, 1, 1)) is Matings().began_on(date(2027, 2, 9)) is None


def test_equal_lines_of_a_mating_list_are_one_mating() -> None:
    services = "417,2026-11-20,Elder,\n417,20/11/2026,Elder,\n417,2026-11-20,Rowan,\n"
    text = f"cow,served on,sire,bull in\n{services},,,2026-12-01\n,,,2026-12-01\n"
    matings = parse_matings(text, "matings.csv")
    assert [service.sire for service in matings.services] == ["Elder", "Rowan"]
    assert len(matings.bulls) == 1


SCANNED_ON = date(2027, 1, 20)


def first_day(*on: date, bulls: tuple[BullPeriod, ...] = ()) -> date | None:
    return Matings(tuple(Service(str(n), day) for n, day in enumerate(on)), bulls).began_on(SCANNED_ON)


def test_mating_began_after_the_last_long_pause() -> None:
    this, tail = date(2026, 11, 1), date(2026, 1, 30)
    assert first_day(*[this] * 10, *[tail] * 3) == this
    # 61 days are a pause, 60 are not.
    assert first_day(date(2026, 9, 1), this) == this
    assert first_day(date(2026, 9, 2), this) == date(2026, 9, 2)


def test_a_straggler_begins_no_season() -> None:
    assert first_day(*[date(2026, 8, 1)] * 10, date(2027, 1, 2)) == date(2026, 8, 1)


def test_a_bull_with_the_herd_bridges_a_pause_and_begins_a_season() -> None:
    many = [date(2026, 5, 1)] * 10
    bull = BullPeriod(date(2026, 11, 1), None)
    assert first_day(*many, bulls=(bull,)) == date(2026, 11, 1)
    bridge = BullPeriod(date(2026, 5, 20), date(2026, 9, 30))
    assert first_day(*many, date(2026, 10, 5), bulls=(bridge,)) == date(2026, 5, 1)


def test_where_cows_are_mated_all_the_year_the_year_before_the_scan_counts() -> None:
    every_month = [SCANNED_ON - timedelta(days=30 * month) for month in range(24)]
    assert first_day(*every_month) == SCANNED_ON - timedelta(days=360)


def test_a_mating_after_the_scan_begins_nothing() -> None:
    assert first_day(date(2027, 1, 21)) is None


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        ("417,,,", "no service date and no bull-in date"),
        ("417,2026-11-20,2026-12-01,", "expected one or the other"),
        (",2026-11-20,,", "no cow number"),
        ("417,,2026-12-02,2026-12-01", "expected the bull in first"),
        ("417,2026-11-31,,", "service date '2026-11-31'"),
        ("417,,,2026-12-01", "expected one or the other"),
    ],
)
def test_wrong_matings(file: Path, line: str, fault: str) -> None:
    file.write_text(f"cow,served on,bull in,bull out\n{line}\n")
    with pytest.raises(HerdError, match=rf"1 fault.*\n  line 2: .*{fault}"):
        read_matings(file)


def test_calvings_and_other_fates(file: Path) -> None:
    file.write_text("cow,calving date,outcome\n417,2027-08-14,\n418,,did not calve\n419,,sold\n420,,slipped\n")
    assert read_calvings(file) == [
        Calving("417", Fate.CALVED, date(2027, 8, 14)),
        Calving("418", Fate.DID_NOT_CALVE),
        Calving("419", Fate.SOLD),
        Calving("420", Fate.ABORTED),
    ]


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        ("417,,", "no calving date"),
        ("417,,went away", "outcome 'went away'"),
        ("417,2027-08-14,sold", "expected one or the other"),
    ],
)
def test_wrong_calvings(file: Path, line: str, fault: str) -> None:
    file.write_text(f"cow,date,outcome\n{line}\n")
    with pytest.raises(HerdError, match=rf"1 fault.*\n  line 2: .*{fault}"):
        read_calvings(file)


def test_of_many_faults_a_hundred_are_told(file: Path) -> None:
    found = refusal(file, b"cow\n" + b"x\n" * 5000)
    assert "100 faults and perhaps more" in found and len(found.splitlines()) == 101


def test_a_file_far_larger_than_any_list_is_refused_before_it_is_read(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(table, "_LARGEST_BYTES", 1024**2)
    assert "over 1 MB; expected a herd list" in refusal(file, b"cow\n" + b"417\n" * 300_000)


def test_what_was_found_is_shown_short(file: Path) -> None:
    assert len(refusal(file, b"cow,breed\n" + b"4" * 100_000 + b",Jersey\n")) < 400
    assert len(refusal(file, b"pen," * 20_000 + b"breed\n1\n")) < 800


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31", "1979-12-31", "31/12/2101"])
def test_days_not_of_our_time_are_refused(file: Path, day: str) -> None:
    assert f"'{day}'; expected a day" in refusal(file, f"cow,mated_on\n417,{day}\n".encode())
