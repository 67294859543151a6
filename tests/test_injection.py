"""Names that would be code somewhere: in a page, a spreadsheet, a calendar, a terminal, a path."""

import csv
import io
import json
import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import openpyxl
import pytest
from icalendar import Calendar

from tests.mutations import HOSTILE, STEERING, is_plain
from tests.seasons import empty, in_calf
from tests.test_cli import Run, run  # noqa: F401
from tests.test_season_store import a_day, joined
from voicecapture.day import Event, EventKind, ScanKind
from voicecapture.desk.detail import detail, row
from voicecapture.desk.sitting import Desk, Sitting
from voicecapture.errors import HerdError, RecordError, VoiceCaptureError
from voicecapture.exports.ade import ade_json
from voicecapture.exports.calendar_file import calendar_bytes
from voicecapture.exports.csv_file import csv_bytes
from voicecapture.exports.xlsx import xlsx_bytes
from voicecapture.herd import Animal, Herd
from voicecapture.language.phrase import Entry, Result
from voicecapture.lists.herd import parse_herd
from voicecapture.lists.matings import parse_matings
from voicecapture.reckoning.season import Season
from voicecapture.reckoning.settings import ReckoningSettings
from voicecapture.recogniser import Recogniser
from voicecapture.report.content import make_report
from voicecapture.report.page import html_page
from voicecapture.report.text import text_report
from voicecapture.settings import Settings
from voicecapture.store.clips import read_clips, read_utterance
from voicecapture.store.record import Record
from voicecapture.store.season import add_list, read_season, set_mating_start, sign
from voicecapture.whole_file import write_whole

OTHERS = ["=1+1", "+1", "-1", "\uff1d1+1", "[red]x[/red]", "\u200f417", "{{7*7}}", "&amp;", "</title><b>"]
EVERYTHING = "".join([*HOSTILE, *OTHERS])
NAMES = ["<script>alert(1)</script>", "=1+1", "@SUM(1)", "\uff1d1+1", "\x1b[2J", "a\nb", "\u202e714", "[red]x[/red]"]
"""One of each kind."""


def hostile_day(path: Path, name: str) -> Path:
    """A day in which everything that may be named is named so, whatever list or person gave it."""
    record = Record.open(path)
    herd = Herd([Animal("417", breed=name), Animal("608", breed=name)])
    day_id = record.start_day(herd, date(2027, 2, 9), ScanKind.AGED, name, name, name)
    pregnant = Entry("417", Result.PREGNANT, 56, findings=(name, "lame"))
    record.append(day_id, Event(EventKind.ACCEPTED, 3.0, None, pregnant, name, 0.99, heard=name, by=name))
    record.append(day_id, Event(EventKind.QUESTION, 6.0, None, empty("608"), name, 0.5, heard=name))
    sire = name if is_plain(name) else "Elder"
    quoted = '"' + sire.replace('"', '""') + '"'
    add_list(record, "matings", name, f"cow,served_on,sire\n417,2026-12-15,{quoted}\n")
    set_mating_start(record, date(2026, 11, 9))
    sign(record, read_season(record).days[0].name, name)
    record.close()
    return path


def season_of(path: Path) -> Season:
    with Record.reading(path) as record:
        return read_season(record)


@pytest.fixture(params=NAMES, ids=ascii)
def name(request: pytest.FixtureRequest) -> str:
    text: str = request.param
    return text


@pytest.fixture
def season(tmp_path: Path, name: str) -> Season:
    return season_of(hostile_day(tmp_path / "day.db", name))


class _Tags(HTMLParser):
    """What a browser would find in a page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags, self.attributes, self.text = set[str](), set[str](), list[str]()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes |= {attribute for attribute, _ in attrs}

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def tags(season: Season) -> _Tags:
    parser = _Tags()
    parser.feed(html_page(make_report(season, ReckoningSettings())))
    return parser


def test_a_name_is_no_part_of_the_page(tmp_path: Path) -> None:
    plain = tags(season_of(hostile_day(tmp_path / "plain.db", "Elder")))
    found = tags(season_of(hostile_day(tmp_path / "day.db", EVERYTHING.replace("\n", ""))))
    assert (found.tags, found.attributes) == (plain.tags, plain.attributes)
    assert any("<script>alert(1)</script>" in text for text in found.text)


def test_no_name_is_run_by_a_spreadsheet(season: Season) -> None:
    text = csv_bytes(season, ReckoningSettings())[0].decode()
    rows = list(csv.reader(io.StringIO(text, newline="")))
    assert {len(cells) for cells in rows} == {len(rows[0])} and len(rows) == 3
    assert not any(
        cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d")) for cells in rows for cell in cells
    )


def test_no_name_is_a_formula_or_a_link_in_the_workbook(season: Season) -> None:
    workbook = openpyxl.load_workbook(io.BytesIO(xlsx_bytes(season, ReckoningSettings())[0]))
    cells = [cell for sheet in workbook for line in sheet.iter_rows() for cell in line]
    assert not any(cell.data_type == "f" or cell.hyperlink for cell in cells)


def test_a_name_is_a_value_in_json_and_no_line_of_the_calendar(season: Season, name: str) -> None:
    (event,) = json.loads(ade_json(season, ReckoningSettings())[0])
    assert is_plain(event["responsible"]) and (event["responsible"] == name) == is_plain(name)
    calendar = Calendar.from_ical(calendar_bytes(season, ReckoningSettings())[0])
    assert {key for entry in calendar.walk("VEVENT") for key in entry} == {
        *("UID", "DTSTAMP", "SEQUENCE", "DTSTART", "SUMMARY", "DESCRIPTION", "TRANSP", "STATUS")
    }


def test_no_name_steers_a_terminal(tmp_path: Path, season: Season) -> None:
    assert all(map(is_plain, text_report(make_report(season, ReckoningSettings()))))
    with Record.reading(tmp_path / "day.db") as record:
        desk = Desk("me", Settings(), lambda: season, lambda day: read_clips(record, day), _keep, _load)
        sitting = Sitting(desk)
    for item in sitting.items:
        assert all(map(is_plain, row(item, False)))
        assert all(is_plain(label) and is_plain(text) for label, text in detail(sitting, item))


def _keep(_day: str, _seen: int, _events: tuple[Event, ...]) -> None: ...


def _load() -> Recogniser:
    raise NotImplementedError


@pytest.mark.parametrize("command", ["report --text", "verify", "export", "sign"])
def test_no_command_lets_a_name_steer_the_terminal(run: Run, tmp_path: Path, command: str) -> None:  # noqa: F811
    path = hostile_day(tmp_path / "day.db", EVERYTHING)
    words = command.split()
    rest = {"export": (str(tmp_path / "out.csv"),), "sign": ("--vet", "x")}.get(words[0], ())
    _, out, errors = run(words[0], path, *words[1:], *rest)
    assert all(map(is_plain, (out + errors).split("\n")))


@pytest.mark.parametrize("text", STEERING, ids=ascii)
@pytest.mark.parametrize(
    ("parse", "heading", "line"),
    [
        (parse_herd, "cow,breed", '417,"Jer{}sey"'),
        (parse_herd, "cow,breed", '"4{}17",Jersey'),
        (parse_matings, "cow,served_on,sire", '417,2026-12-01,"El{}der"'),
    ],
)
def test_a_list_with_what_is_no_text_is_refused_by_its_line(
    parse: Callable[[str, str], object], heading: str, line: str, text: str
) -> None:
    with pytest.raises(HerdError, match="line 2: ") as refused:
        parse(f"{heading}\n{line.format(text)}\n", "list.csv")
    assert all(map(is_plain, str(refused.value).split("\n")))


def test_a_remark_of_several_lines_in_another_column_is_no_matter() -> None:
    assert len(parse_herd('cow,remark\n417,"kicks,\nwalk round her"\n', "herd.csv")) == 1


def test_a_message_never_steers_the_terminal() -> None:
    assert str(VoiceCaptureError("day\x1b[2J.db: \u202etxet\n  line 2")) == "day\ufffd[2J.db: \ufffdtxet\n  line 2"


def test_a_visit_list_runs_no_breed(run: Run, tmp_path: Path) -> None:  # noqa: F811
    herd, visit = tmp_path / "herd.csv", tmp_path / "visit.csv"
    herd.write_text("cow,breed,mated_on\n417,=1+1,2026-12-01\n")
    assert run("visit", herd, visit, "--on", "2027-02-09")[0] == 0
    ((breed,),) = [[line["breed"]] for line in csv.DictReader(visit.open())]
    assert breed == "'=1+1"


# ---- paths ---------------------------------------------------------------------------------------


def tampered(path: Path, clip: str) -> Path:
    """A day of which one sound is named so."""
    a_day(path, in_calf("417", 56), empty("608"))
    with closing(sqlite3.connect(path)) as db:
        (rule,) = db.execute("select sql from sqlite_master where name = 'utterance_no_update'").fetchone()
        db.execute("drop trigger utterance_no_update")
        db.execute("update utterance set clip = ? where number = 1", [clip])
        db.execute(rule)
        db.commit()
    return path


@pytest.mark.parametrize(
    "clip",
    [
        *("/etc/passwd", "../../etc/passwd", "../secret_clips/x.flac", "day_clips/../../secret.flac", "secret.flac"),
        *("day_clips\\..\\x.flac", "C:\\x_clips\\x.flac", "C:x_clips/x.flac", "day_clips/x.flac/../../secret", ""),
        *("day_clips/secret", "a_clips/b_clips/x.flac", "_clips/x.flac", "day_clips/.flac", "day_clips/x\n.flac"),
    ],
)
def test_a_sound_is_never_sought_outside_the_folder_of_sounds(tmp_path: Path, clip: str) -> None:
    other = tmp_path / "other"
    other.mkdir()
    path = tampered(other / "day.db", clip)
    with Record.reading(path) as record, pytest.raises(RecordError, match=r"day\.db: names"):
        read_clips(record, read_season(record).days[0].name)
    with pytest.raises(RecordError, match=r"day\.db: names"):
        joined(tmp_path / "season.db", path)
    assert not (tmp_path / "season_clips").exists()


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_a_link_among_the_sounds_leads_nowhere(tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    path = a_day(other / "day.db", in_calf("417", 56))
    (sound,) = (other / "day_clips").iterdir()
    secret = shutil.move(sound, tmp_path / "secret.flac")
    sound.symlink_to(secret)
    with Record.reading(path) as record:
        (clip,) = read_clips(record, read_season(record).days[0].name).values()
        with pytest.raises(VoiceCaptureError, match="is not there"):
            read_utterance(clip)
    (added,) = joined(tmp_path / "season.db", path)
    assert added.sounds_missing == 1 and not list((tmp_path / "season_clips").glob("*"))


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_nothing_is_written_through_a_link(tmp_path: Path) -> None:
    victim = tmp_path / "victim"
    victim.write_text("as it was")
    (tmp_path / ".sheet.html.part").symlink_to(victim)
    write_whole(tmp_path / "sheet.html", b"new")
    assert victim.read_text() == "as it was" and (tmp_path / "sheet.html").read_bytes() == b"new"
