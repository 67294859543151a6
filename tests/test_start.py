"""What a day begins with: what is chosen, how it was understood, what is missing."""

import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from voicecapture.day import ScanKind
from voicecapture.start import Field, Remark, Sign, Start, about, filled, lists_near, remark

TODAY = date(2027, 2, 9)
HERD = "Cow No;Breed;Last Service;Colour\n417;Friesian;3/12/2026;red\n608;;;black\n"
MATINGS = "cow,served_on,kind,bull_in\n417,2026-12-03,AI,\n999,2026-12-04,AI,\n,,,2026-12-20\n"


@pytest.fixture
def herd(tmp_path: Path) -> str:
    path = tmp_path / "herd.csv"
    path.write_text(HERD)
    return str(path)


@pytest.fixture
def matings(tmp_path: Path) -> str:
    path = tmp_path / "matings.csv"
    path.write_text(MATINGS)
    return str(path)


def chosen(**typed: str) -> Start:
    start = Start()
    for name, text in typed.items():
        start = filled(start, Field[name], text)
    return start


def test_a_day_needs_herd_vet_and_date_and_nothing_else(herd: str) -> None:
    assert Start().missing == (Field.HERD, Field.VET, Field.SCANNED_ON)
    start = chosen(HERD=herd, VET=" A Vet ", SCANNED_ON="9/2/2027")
    assert start.missing == ()
    assert (start.vet, start.scanned_on, start.scan) == ("A Vet", TODAY, ScanKind.AGED)


def test_a_herd_list_is_shown_as_it_was_understood(herd: str) -> None:
    start = chosen(HERD=herd)
    assert remark(start, Field.HERD, TODAY) == Remark(Sign.GOOD, "2 cows")
    assert about(start, Field.HERD).splitlines() == [
        "2 cows; left out: Colour",
        "columns, each with the heading that was taken for it:",
        "cow       breed     mated on",
        '"Cow No"  "Breed"   "Last Service"',
        "417       Friesian  2026-12-03",
        "608",
    ]


def test_every_wrong_line_of_a_list_is_told(tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.csv"
    wrong.write_text("cow\n417\nred\n417\n")
    start = chosen(HERD=str(wrong))
    assert start.herd is None and Field.HERD in start.missing
    assert remark(start, Field.HERD, TODAY) == Remark(Sign.WRONG, "wrong lines: 2")
    assert [line.split(":")[0].strip() for line in about(start, Field.HERD).splitlines()[1:]] == ["line 3", "line 4"]


def test_a_list_that_is_not_there_is_refused_and_may_be_put_right(herd: str) -> None:
    start = chosen(HERD=herd + "x")
    assert remark(start, Field.HERD, TODAY).sign is Sign.WRONG and "herd.csvx" in start.faults[Field.HERD]
    start = filled(start, Field.HERD, herd)
    assert start.faults == {} and start.herd is not None


def test_what_was_refused_takes_the_place_of_what_was_good(herd: str) -> None:
    assert filled(chosen(HERD=herd), Field.HERD, "no such file").herd is None


def test_served_cows_that_the_herd_list_lacks_are_named(herd: str, matings: str) -> None:
    start = chosen(HERD=herd, MATINGS=matings)
    assert remark(start, Field.MATINGS, TODAY) == Remark(Sign.ODD, "1 not in the herd")
    lines = about(start, Field.MATINGS).splitlines()
    assert lines[0] == "2 services, 1 bull periods"
    assert lines[-1] == "served and not in the herd list: 999"
    assert start.missing == (Field.VET, Field.SCANNED_ON)


def test_the_start_of_mating_may_come_from_the_list(matings: str) -> None:
    assert remark(chosen(MATINGS=matings), Field.MATING_START, TODAY).words == "2026-12-03 by the list"


@pytest.mark.parametrize("day", ["2027-02-09", "2027-03-01"])
@pytest.mark.parametrize("order", [("SCANNED_ON", "MATING_START"), ("MATING_START", "SCANNED_ON")])
def test_mating_begins_before_the_scan_in_whatever_order_they_are_typed(day: str, order: tuple[str, str]) -> None:
    typed = {"SCANNED_ON": "2027-02-09", "MATING_START": day}
    start = chosen(**{name: typed[name] for name in order})
    assert set(start.faults) == {Field.MATING_START} and Field.MATING_START in start.missing
    assert filled(start, Field.SCANNED_ON, "2027-06-01").faults == {}


@pytest.mark.parametrize(
    ("typed", "sign", "words"),
    [
        ("2027-02-09", Sign.GOOD, "today"),
        ("2027-02-01", Sign.ODD, "8 days ago"),
        ("2027-03-01", Sign.ODD, "in 20 days"),
        ("", Sign.NEEDED, "needed"),
        ("31/2/2027", Sign.WRONG, "cannot be taken"),
        ("2207-02-09", Sign.WRONG, "cannot be taken"),
    ],
)
def test_another_day_than_today_is_odd_and_no_day_is_wrong(typed: str, sign: Sign, words: str) -> None:
    assert remark(chosen(SCANNED_ON=typed), Field.SCANNED_ON, TODAY) == Remark(sign, words)


@pytest.mark.parametrize(("typed", "sign"), [("2026-11-15", Sign.GOOD), ("2026-01-01", Sign.ODD)])
def test_a_mating_season_longer_ago_than_a_gestation_is_odd(typed: str, sign: Sign) -> None:
    assert remark(chosen(SCANNED_ON="2027-02-09", MATING_START=typed), Field.MATING_START, TODAY).sign is sign


def test_an_unknown_kind_of_scan_is_refused() -> None:
    assert chosen(SCAN="yes_no").scan is ScanKind.YES_NO
    assert chosen(SCAN="weekly").faults[Field.SCAN] == "scan 'weekly'; expected aged or yes_no."


def test_every_field_says_what_it_is_for() -> None:
    assert all(about(Start(), field) and remark(Start(), field, TODAY).words for field in Field)


def test_names_of_lists_are_gone_on_with(tmp_path: Path, herd: str, matings: str) -> None:
    (tmp_path / "herds").mkdir()
    (tmp_path / "herd.txt").write_text("")
    (tmp_path / ".hidden").mkdir()
    start = str(tmp_path / "he")
    assert lists_near(start) == [herd, str(tmp_path / "herds" / "_")[:-1]]
    assert lists_near(str(tmp_path / "x")) == lists_near(str(tmp_path / "no folder" / "x")) == []
    assert [Path(name).name for name in lists_near(str(tmp_path / "_")[:-1])] == ["herd.csv", "matings.csv", "herds"]


def test_nothing_of_it_needs_a_screen() -> None:
    code = (
        "import sys, voicecapture.start, voicecapture.rehearsal, voicecapture.voice_check, voicecapture.cli;"
        "sys.exit('textual' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code]).returncode == 0
