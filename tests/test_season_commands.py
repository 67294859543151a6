"""The commands on what was scanned, as a user types them."""

import csv
import re
import shutil
import sqlite3
from datetime import date
from pathlib import Path

import pytest

from tests.seasons import empty, in_calf, needs_pango, recheck
from tests.test_cli import Run, run, sentence
from tests.test_season_store import a_day, season_in
from voicecapture.herd import Animal, Herd
from voicecapture.lists.herd import read_herd

__all__ = ["run"]
HERD = Herd([Animal("417"), Animal("608"), Animal("609"), Animal("4")])


@pytest.fixture
def day(tmp_path: Path) -> Path:
    return a_day(tmp_path / "day.db", in_calf("417", 56), empty("608"), recheck("609", 4), vet="A Vet", herd=HERD)


def asked(path: Path) -> None:
    """Leave a question open in a day."""
    with sqlite3.connect(path) as connection:
        connection.execute(
            "insert into event (day_id, number, kind, at_s, cow, twins, findings, reason, candidates, heard,"
            " recorded_at) values"
            " (1, 4, 'question', 75.0, '9', 0, '[]', '9 is not in the herd list', '[]', 'nine empty',"
            " '2027-02-09T08:00:00.000+00:00')"
        )


def test_the_sheet_is_a_page_beside_the_day(run: Run, day: Path) -> None:
    code, out, _ = run("report", day)
    page = day.with_suffix(".html")
    assert code == 0 and str(page) in out
    assert "417" in page.read_text("utf-8")


def test_the_sheet_is_shown_as_text(run: Run, day: Path) -> None:
    code, out, _ = run("report", day, "--text")
    assert code == 0 and "scanned" in out and "3 of 4, 75 %" in out and not day.with_suffix(".html").exists()


@needs_pango
def test_the_sheet_is_printed_to_pdf(run: Run, day: Path, tmp_path: Path) -> None:
    pdf = tmp_path / "sheet.pdf"
    assert run("report", day, "--pdf", pdf)[0] == 0
    assert pdf.read_bytes().startswith(b"%PDF-")


@pytest.mark.parametrize(
    "arguments",
    [
        ("report", "nowhere.db"),
        ("export", "nowhere.db", "out.csv"),
        ("sign", "nowhere.db", "--vet", "A"),
        ("amend", "nowhere.db", "417", "empty", "--by", "A"),
        ("verify", "nowhere.db"),
        ("season", "add", "nowhere.db"),
        ("season", "outcomes", "nowhere.db"),
    ],
)
def test_a_file_that_is_not_there_is_named_and_not_made(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...]
) -> None:
    monkeypatch.chdir(tmp_path)
    code, _, errors = run(*arguments)
    assert code == 1 and "nowhere.db" in sentence(errors)
    assert not Path("nowhere.db").exists()


def test_a_day_with_open_questions_is_signed_only_if_they_are_listed(run: Run, day: Path) -> None:
    asked(day)
    code, _, errors = run("sign", day, "--vet", "A Vet")
    assert code == 1 and "4: at 1:15 heard 'nine empty'" in errors
    code, out, _ = run("sign", day, "--vet", "A Vet", "--list-open")
    assert code == 0 and "signed by A Vet, 3 cows" in out
    assert "nine empty" in run("report", day, "--text")[1]


def test_a_question_is_settled_at_the_desk(run: Run, day: Path) -> None:
    asked(day)
    assert run("amend", day, "4", "empty", "--by", "A Vet", "--answers", "4")[0] == 0
    code, out, _ = run("sign", day, "--vet", "A Vet")
    assert code == 0 and "4 cows" in out


def test_a_signed_day_verifies_until_it_is_tampered_with(run: Run, day: Path) -> None:
    digest = run("sign", day, "--vet", "A Vet")[1].split()[-1]
    assert re.fullmatch("[0-9a-f]{64}", digest)
    code, out, _ = run("verify", day)
    assert code == 0 and digest in out and "as signed" in out
    code, out, _ = run("amend", day, "417", "pregnant 58 days", "--by", "A Vet", "--why", "heard again")
    assert code == 0 and "417 in calf 58 days, by A Vet" in out
    code, out, _ = run("verify", day)
    assert code == 0 and "as signed, 1 change since the signature" in out
    sheet = run("report", day, "--text")[1]
    assert "417: in calf 56 days -> in calf 58 days: heard again" in sheet and "; 1 change since" in sheet
    with sqlite3.connect(day) as connection:
        connection.execute("drop trigger event_no_update")
        connection.execute("update event set cow = '4' where cow = '417'")
    code, out, _ = run("verify", day)
    assert code == 1 and "CHANGED since" in out


def test_what_was_changed_before_the_signature_is_no_change_since(run: Run, day: Path) -> None:
    assert run("amend", day, "417", "empty", "--by", "A Vet")[0] == 0
    assert run("sign", day, "--vet", "A Vet")[0] == 0
    assert run("verify", day)[1].rstrip().endswith("as signed")
    assert "change since" not in run("report", day, "--text")[1]


def test_two_copies_that_differ_are_told(run: Run, day: Path, tmp_path: Path) -> None:
    season = tmp_path / "season.db"
    assert run("season", "add", day, "--season", season)[0] == 0
    assert run("verify", day, season)[0] == 0
    assert run("amend", day, "417", "--take-back", "--by", "A Vet")[0] == 0
    code, _, errors = run("verify", day, season)
    assert code == 1 and "2027-02-09 A Vet differs between" in errors


def test_the_record_is_never_written_over(run: Run, day: Path) -> None:
    before = day.read_bytes()
    for option in ("--out", "--pdf"):
        code, _, errors = run("report", day, option, day)
        assert code == 1 and str(day) in sentence(errors)
    assert day.read_bytes() == before


@pytest.mark.parametrize(
    "arguments",
    [
        ("amend", "²", "empty", "--by", "A Vet"),
        ("sign", "--vet", " "),
    ],
)
def test_names_and_numbers_that_are_none_are_refused(run: Run, day: Path, arguments: tuple[str, ...]) -> None:
    assert run(arguments[0], day, *arguments[1:])[0] == 2
    assert "not signed" in run("verify", day)[1] and "²" not in run("report", day, "--text")[1]


def test_an_amendment_needs_a_name_and_a_day_if_there_are_several(run: Run, day: Path, tmp_path: Path) -> None:
    assert run("amend", day, "417", "empty")[0] == 2
    season = tmp_path / "season.db"
    later = a_day(tmp_path / "later.db", empty("609"), on=date(2027, 3, 23), herd=HERD)
    run("season", "add", day, later, "--season", season)
    code, _, errors = run("amend", season, "417", "empty", "--by", "A Vet")
    assert code == 1 and re.search(r"2027-02-09 A Vet \(\w{8}\), 2027-03-23 \(\w{8}\)", sentence(errors))
    assert run("amend", season, "417", "empty", "--by", "A Vet", "--day", "2027-02-09")[0] == 0


def test_adding_the_same_day_twice_changes_nothing(run: Run, day: Path, tmp_path: Path) -> None:
    season = tmp_path / "season.db"
    assert "1 new days, 3 new events" in run("season", "add", day, "--season", season)[1]
    assert "0 new days, 0 new events" in run("season", "add", day, "--season", season)[1]


def test_two_copies_that_were_amended_differently_are_told_and_stand_on_the_sheet(
    run: Run, day: Path, tmp_path: Path
) -> None:
    season, copy = tmp_path / "season.db", tmp_path / "copy.db"
    shutil.copy(day, copy)
    run("amend", day, "417", "empty", "--by", "Ann")
    run("amend", copy, "417", "pregnant 60 days", "--by", "Ben")
    out = run("season", "add", day, copy, "--season", season)[1]
    assert "Amended differently in both copies: cows 417." in out
    sheet = run("report", season, "--text")[1]
    assert "cow 417 was amended in two copies: empty by Ann; pregnant 60 days by Ben" in sheet
    assert "417: in calf 60 days -> recheck: amended in two copies" in sheet


def test_a_mating_list_that_another_replaces_is_told(run: Run, day: Path, tmp_path: Path) -> None:
    other, matings = a_day(tmp_path / "other.db", empty("4"), on=date(2027, 3, 23), herd=HERD), tmp_path / "m.csv"
    for path, start in ((day, "2026-11-09"), (other, "2026-12-09")):
        matings.write_text(f"cow,served on\n417,{start}\n")
        run("season", "records", "--matings", matings, "--mating-start", start, "--season", path)
    out = run("season", "add", day, other, "--season", tmp_path / "season.db")[1]
    assert "1 new lists, 1 new start of mating" in out
    assert "Now counts: the mating list of " in out
    assert "Now counts: mating from 2026-12-09 instead of mating from 2026-11-09." in out


def test_the_farms_lists_reach_the_sheet(run: Run, day: Path, tmp_path: Path) -> None:
    season, matings, herd = tmp_path / "season.db", tmp_path / "matings.csv", tmp_path / "herd.csv"
    matings.write_text("cow,served on,sire\n417,2026-12-16,Elder\n")
    herd.write_text("cow,breed\n417,Jersey\n1206,Jersey\n")
    run("season", "add", day, "--season", season)
    lists = ("season", "records", "--herd", herd, "--matings", matings, "--season", season)
    assert run(*lists, "--mating-start", "2026-11-09")[0] == 0
    assert run(*lists)[1].count("kept already") == 2
    out = run("report", season, "--text")[1]
    assert "2026-12-16 by the service (scan 2026-12-15)" in out and "Elder 97 %" in out
    assert "six-week in-calf rate" in out and "1206" in out


def test_a_list_with_a_fault_changes_no_season(run: Run, day: Path, tmp_path: Path) -> None:
    season, matings = tmp_path / "season.db", tmp_path / "matings.csv"
    matings.write_text("cow,served on\n417,soon\n")
    run("season", "add", day, "--season", season)
    code, _, errors = run("season", "records", "--matings", matings, "--season", season)
    assert code == 1 and "line 2" in errors
    assert season_in(season).matings.services == ()


def test_outcomes_compare_scans_with_calvings(run: Run, day: Path, tmp_path: Path) -> None:
    calvings = tmp_path / "calvings.csv"
    # Scanned 56 days on 9 February: conceived 15 December, due 282 days later on 23 September 2027.
    calvings.write_text("cow,calved on,outcome\n417,2027-09-20,\n608,,did not calve\n609,,sold\n")
    code, out, _ = run("season", "outcomes", calvings, "--season", day)
    assert code == 0
    assert re.search(r"all ages +1 +\+3\.0", out)
    assert "empty, and was in calf: 0 of 1" in out
    assert "tell nothing (sold, died, not in the list, rechecks): 1" in out
    assert "8444 of 10487" in out


def test_a_visit_list_serves_as_the_herd_list_of_the_visit(run: Run, day: Path, tmp_path: Path) -> None:
    herd, matings, visit = tmp_path / "herd.csv", tmp_path / "matings.csv", tmp_path / "visit.csv"
    herd.write_text("cow,breed\n417,Jersey\n608,Jersey\n4,Jersey\n1206,Jersey\n")
    matings.write_text("cow,served on\n417,2026-12-16\n608,2027-02-20\n4,2027-02-20\n1206,2027-04-01\n")
    arguments = ("visit", herd, visit, "--matings", matings, "--season", day, "--on", "2027-04-10")
    code, out, _ = run(*arguments)
    # 417 is known in calf, 1206 was served 9 days ago.
    assert code == 0 and "2 cows to scan" in out
    assert [line.split(",")[0] for line in visit.read_text().splitlines()] == ["cow", "4", "608"]
    assert run("herd", "check", visit)[0] == 0


def test_the_day_a_bull_came_is_no_service_in_a_visit_list(run: Run, tmp_path: Path) -> None:
    herd, matings, visit = tmp_path / "herd.csv", tmp_path / "matings.csv", tmp_path / "visit.csv"
    herd.write_text("cow\n1\n2\n")
    matings.write_text("cow,served on,bull in,bull out\n2,2026-10-20,,\n,,2026-11-01,2026-12-20\n")
    assert run("visit", herd, visit, "--matings", matings, "--on", "2027-01-20")[0] == 0
    assert {row["cow"]: row["with_bull_since"] for row in csv.DictReader(visit.open())} == {
        "1": "2026-11-01",
        "2": "2026-11-01",
    }
    mated = {cow: animal.mated_on for cow, animal in read_herd(visit).animals.items()}
    assert mated == {"1": None, "2": date(2026, 10, 20)}


def test_a_mating_list_is_checked_against_the_herd(run: Run, tmp_path: Path) -> None:
    herd, matings = tmp_path / "herd.csv", tmp_path / "matings.csv"
    herd.write_text("cow\n417\n")
    matings.write_text("cow,served on,bull in\n417,2026-12-16,\n999,2026-12-16,\n,,2026-12-20\n")
    code, out, _ = run("herd", "check", herd, "--matings", matings)
    assert code == 0 and "2 services, 1 bull periods" in out and "not in the herd list: 999" in out


def test_settings_reach_the_reckoning(run: Run, day: Path, tmp_path: Path) -> None:
    settings = tmp_path / "settings.toml"
    settings.write_text("[reckoning]\ngestation_days = { other = 290 }\n")
    out = run("report", day, "--text", "--settings", settings)[1]
    # Conceived 15 December 2026, 290 days later.
    assert "2027-10-01" in out


@pytest.mark.parametrize(
    "line",
    [
        "dry_off_days = 151",
        "dry_off_days = true",
        "gestation_days = { jersey = 100 }",
        "ageing_sd_days = { early = 4 }",
        "colour = 1",
    ],
)
def test_settings_that_make_no_sense_are_refused(run: Run, day: Path, tmp_path: Path, line: str) -> None:
    settings = tmp_path / "settings.toml"
    settings.write_text(f"[reckoning]\n{line}\n")
    code, _, errors = run("report", day, "--settings", settings)
    assert code == 1 and str(settings) in sentence(errors)


def test_a_finding_alone_is_added_to_what_she_has(run: Run, day: Path) -> None:
    code, out, _ = run("amend", day, "417", "lame", "--by", "A Vet")
    assert code == 0 and "417 in calf 56 days, lame, by A Vet; before: in calf 56 days." in out
    code, out, _ = run("amend", day, "417", "cystic", "--by", "A Vet")
    assert "417 in calf 56 days, lame, cystic" in out


def test_a_question_that_was_no_entry_leaves_her_result(run: Run, day: Path) -> None:
    asked(day)
    code, out, _ = run("amend", day, "417", "--by", "A Vet", "--answers", "4")
    assert code == 0 and "question 4 was no entry" in out
    assert season_in(day).days[0].day.results["417"][1].entry == in_calf("417", 56)
    assert run("sign", day, "--vet", "A Vet")[0] == 0


@pytest.mark.parametrize("arguments", [(), ("empty", "--take-back"), ("--take-back", "--answers", "4")])
def test_an_amendment_says_one_thing(run: Run, day: Path, arguments: tuple[str, ...]) -> None:
    assert run("amend", day, "417", *arguments, "--by", "A Vet")[0] == 2
    assert season_in(day).days[0].day.results["417"][1].entry == in_calf("417", 56)


def test_a_cow_that_no_list_names_is_amended_only_if_she_is_meant(run: Run, day: Path) -> None:
    code, _, errors = run("amend", day, "471", "empty", "--by", "A Vet")
    assert code == 1 and "471 is in no herd list" in sentence(errors)
    assert run("amend", day, "471", "empty", "--by", "A Vet", "--unlisted")[0] == 0
    assert re.search(r"471 +not in the herd list", run("report", day, "--text")[1])


def test_an_answer_for_a_cow_that_no_list_names_needs_to_be_meant_too(run: Run, day: Path) -> None:
    asked(day)
    code, _, errors = run("amend", day, "471", "empty", "--by", "A Vet", "--answers", "4")
    assert code == 1 and "471 is in no herd list" in sentence(errors)
    # What was no entry needs no cow of the list.
    assert run("amend", day, "9", "--by", "A Vet", "--answers", "4")[0] == 0


def test_an_amendment_tells_what_speaks_against_it(run: Run, day: Path) -> None:
    asked(day)
    assert (
        "417 5 days: not an age that a scan finds" in run("amend", day, "417", "pregnant 5 days", "--by", "A Vet")[1]
    )
    assert "Look at it" not in run("amend", day, "417", "pregnant 56 days twins", "--by", "A Vet")[1]
    out = run("amend", day, "417", "pregnant", "--by", "A Vet")[1]
    assert "no longer held: twins, an age" in out
    out = run("amend", day, "4", "empty", "--by", "A Vet", "--answers", "4")[1]
    assert "question 4 was about cow 9" in out


def test_mating_cannot_begin_after_the_last_scan(run: Run, day: Path, tmp_path: Path) -> None:
    matings = tmp_path / "matings.csv"
    matings.write_text("cow,served on\n417,2026-12-16\n")
    records = ("season", "records", "--season", day, "--matings", matings, "--mating-start")
    code, _, errors = run(*records, "2027-11-09")
    assert code == 1 and "the last scan was on 2027-02-09" in sentence(errors)
    assert season_in(day).matings.services == ()
    run("season", "add", a_day(tmp_path / "later.db", empty("4"), on=date(2027, 3, 23), herd=HERD), "--season", day)
    code, out, _ = run(*records, "2027-03-01")
    assert code == 0 and "scanned before that, on 2027-02-09" in out


def test_two_days_of_one_date_are_chosen_by_their_names(run: Run, day: Path, tmp_path: Path) -> None:
    season = tmp_path / "season.db"
    run("season", "add", day, a_day(tmp_path / "b.db", empty("4"), vet="B Vet", herd=HERD), "--season", season)
    code, _, errors = run("sign", season, "--vet", "B Vet", "--day", "2027-02-09")
    assert code == 1
    named = re.search(r"B Vet \((\w{8})\)", errors)
    assert named and run("sign", season, "--vet", "B Vet", "--day", named[1])[0] == 0
    assert [bool(d.signature) for d in season_in(season).days if d.vet == "B Vet"] == [True]


def test_a_day_that_one_file_lacks_is_named(run: Run, day: Path, tmp_path: Path) -> None:
    other = a_day(tmp_path / "other.db", empty("4"), on=date(2027, 3, 23))
    code, _, errors = run("verify", day, other)
    assert code == 1 and f"2027-02-09 A Vet is not in {other}" in errors and f"2027-03-23 is not in {day}" in errors


def test_the_sheet_tells_a_day_that_was_changed_since_it_was_signed(run: Run, day: Path, tmp_path: Path) -> None:
    run("sign", day, "--vet", "A Vet")
    assert "CHANGED" not in run("report", day, "--text")[1]
    with sqlite3.connect(day) as connection:
        connection.execute("drop trigger event_no_update")
        connection.execute("update event set result = 'empty', days = null where cow = '417'")
    assert "CHANGED since" in run("report", day, "--text")[1]
    assert (
        "CHANGED since they were signed: the days 2027-02-09"
        in run("season", "add", day, "--season", tmp_path / "season.db")[1]
    )


def test_a_text_sheet_writes_no_file(run: Run, day: Path, tmp_path: Path) -> None:
    assert run("report", day, "--text", "--pdf", tmp_path / "sheet.pdf")[0] == 2


def test_a_visit_list_is_not_written_over_the_lists_that_it_is_made_from(run: Run, tmp_path: Path) -> None:
    herd = tmp_path / "herd.csv"
    herd.write_text("cow,mated on\n417,2026-12-16\n")
    for file in (herd, tmp_path / "season.db"):
        code, _, errors = run("visit", herd, file, "--on", "2027-04-10")
        assert code == 1 and str(file) in sentence(errors)
    assert herd.read_text() == "cow,mated on\n417,2026-12-16\n"
