"""The sheet: what stands on it, as text, as a page and as PDF."""

import html.parser
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.seasons import empty, in_calf, needs_pango, recheck, scan_day
from voicecapture.day import Event, EventKind
from voicecapture.herd import Animal, Herd, Matings, Service
from voicecapture.language.phrase import Entry, Result
from voicecapture.reckoning.season import Amendment, ScanDay, Season, Signature
from voicecapture.reckoning.settings import ReckoningSettings
from voicecapture.report.charts import charts
from voicecapture.report.content import Report, make_report
from voicecapture.report.page import html_page, pdf_page
from voicecapture.report.text import text_report
from voicecapture.report.wording import written_outcome

SCANNED_ON = date(2027, 2, 9)
COWS = ("4", "417", "608", "609", "384", "0042", "1206")


def a_day() -> ScanDay:
    question = Event(
        EventKind.QUESTION, 75.0, 3, Entry("9", Result.EMPTY), "9 is not in the herd list", heard="nine empty"
    )
    change = Event(
        EventKind.ACCEPTED, 3.0, None, in_calf("384", 44), "amended: listened again", replaces=1, by="A Vet"
    )
    day = scan_day(
        SCANNED_ON,
        [
            empty("384"),
            in_calf("417", 56, twins=True),
            question,
            replace(empty("608"), findings=("dead_calf",)),
            recheck("609", 3),
            in_calf("1206", 80),
            change,
        ],
        COWS,
        vet="A Vet",
    )
    return replace(
        day,
        signature=Signature("A Vet", "2027-02-09T13:00:00.000+00:00", 6, "ab" * 32),
        amendments=(Amendment("2027-02-10T09:30:00.000+00:00", "A Vet", change),),
    )


@pytest.fixture
def report() -> Report:
    matings = Matings((Service("417", date(2026, 12, 16), sire="Elder"), Service("384", date(2026, 12, 10))))
    season = Season((a_day(),), Herd(map(Animal, COWS)), matings, date(2026, 11, 9))
    return make_report(season, ReckoningSettings())


def table(report: Report, title: str) -> list[tuple[str, ...]]:
    (found,) = (t for t in report.tables if t.title == title)
    return list(found.rows)


def text(report: Report) -> str:
    return "\n".join(text_report(report))


def test_every_percentage_stands_beside_its_count_denominator_and_interval(report: Report) -> None:
    figures = {figure.name: figure.text for figure in report.figures}
    assert figures["scanned"].startswith("5 of 7, 71 % (")
    assert figures["in calf"].startswith("3 of 5, 60 % (")
    # Not in calf counts what is not known in calf: 1 empty, and 1 recheck and 2 unseen that may be.
    assert figures["not in calf, of the eligible"].startswith("1 to 4 of 7, 14 to 57 % (")


def test_published_figures_stand_beside_the_herds_with_their_source(report: Report) -> None:
    (six_weeks,) = (figure for figure in report.figures if figure.name == "six-week in-calf rate")
    assert {benchmark.source for benchmark in six_weeks.benchmarks} == {
        "Farming Connect, Business Wales",
        "Brownlie et al. 2014, N Z Vet J 62(2):77-86",
    }
    assert "elsewhere: target 78 %" in text(report)


def test_a_fitting_service_gives_the_date_and_the_scans_own_stays_beside_it(report: Report) -> None:
    rows = {row[0]: row for row in table(report, "Every cow")}
    # Scanned 56 days on 9 February: 15 December; served the day after.
    assert rows["417"][4] == "2026-12-16 by the service (scan 2026-12-15)"
    assert rows["417"][5] == "Elder 97 %"
    assert rows["1206"][4] == "2026-11-21 by the scan"


def test_a_service_that_does_not_fit_is_told_and_changes_nothing(report: Report) -> None:
    rows = {row[0]: row for row in table(report, "Every cow")}
    assert rows["384"][4] == "2026-12-27 by the scan"
    assert ("384", "no recorded mating fits the age", "2027-02-09 in calf 44 days") in table(
        report, "For the vet to look at"
    )


def test_lists_of_empties_rechecks_twins_and_cows_not_seen(report: Report) -> None:
    assert [row[0] for row in table(report, "Empty")] == ["608"]
    (row,) = table(report, "Recheck")
    assert row == ("609", "2027-02-09", "2027-03-02", "2027-02-09 recheck, in 3 weeks")
    assert [row[0] for row in table(report, "Twins")] == ["417"]
    assert table(report, "Not seen") == [("4 0042",)]


def test_a_cow_that_calved_since_her_scan_is_told_apart() -> None:
    herd = Herd([Animal("4", calved_on=date(2027, 9, 20)), Animal("9"), Animal("12")])
    season = Season((scan_day(SCANNED_ON, [in_calf("4", 60), in_calf("9", 60)]),), herd)
    report = make_report(season, ReckoningSettings())
    title = "Calved since the scan, not scanned again"
    assert table(report, title) == [("4", "2027-09-20", "2027-02-09 in calf 60 days")]
    assert [row[0] for row in table(report, "Every cow")] == ["9"]
    assert table(report, "Not seen") == [("12",)]
    assert {figure.name: figure.text for figure in report.figures}["in calf"].startswith("1 of 1,")


def test_questions_signature_and_what_was_changed_after_the_day(report: Report) -> None:
    assert table(report, "Questions still open") == [("2027-02-09 1:15", "nine empty", "9 is not in the herd list")]
    assert table(report, "Scan days")[0][3] == "by A Vet, 2027-02-09; 1 change since"
    assert table(report, "Changed after the day") == [
        ("2027-02-09", "2027-02-10 09:30 UTC", "A Vet", "384: empty -> in calf 44 days: listened again")
    ]


def test_calvers_are_drafted_by_the_weeks_of_mating(report: Report) -> None:
    assert table(report, "Early calvers") == [("1206",)]
    assert table(report, "Middle calvers") == [("417",)]
    assert table(report, "Late calvers") == [("384",)]


def test_cows_in_calf_without_a_date_are_listed_beside_the_calvers(report: Report) -> None:
    season = Season((scan_day(SCANNED_ON, [in_calf("4"), in_calf("9", 60), in_calf("12"), empty("13")]),))
    assert table(make_report(season, ReckoningSettings()), "In calf, no date") == [("4 12",)]
    undated = Season((scan_day(SCANNED_ON, [in_calf("4")]),))
    assert table(make_report(undated, ReckoningSettings()), "In calf, no date") == [("4",)]
    assert "In calf, no date" not in {table.title for table in report.tables}


def test_what_any_scan_found_is_told_with_its_day() -> None:
    first = scan_day(SCANNED_ON, [in_calf("1", 60), replace(empty("3"), findings=("infection",))])
    second = scan_day(
        date(2027, 3, 9),
        [
            Entry("1", findings=("dead_calf",)),
            replace(recheck("3"), findings=("lame",)),
            Entry("5", findings=("lame",)),
        ],
    )
    report = make_report(Season((first, second)), ReckoningSettings())
    rows = {row[0]: row for row in table(report, "Every cow")}
    assert rows["1"][9] == "dead calf on 2027-03-09, in calf, and a dead calf found"
    assert rows["3"][9] == "lame, infection on 2027-02-09"
    # Nothing was said of a calf: no result, but what was found is told.
    assert (rows["5"][1], rows["5"][9]) == ("", "lame")
    assert table(report, "Not seen") == [("5",)]


def test_without_a_start_of_mating_calvers_are_drafted_by_thirds() -> None:
    season = Season((scan_day(SCANNED_ON, [in_calf(str(cow), 40 + cow) for cow in range(1, 8)]),))
    report = make_report(season, ReckoningSettings())
    # The longest in calf calve first.
    assert table(report, "Early calvers") == [("7 6 5",)]
    assert table(report, "Late calvers") == [("1",)]


def test_cautions_are_on_every_form_of_the_sheet(report: Report) -> None:
    for form in (text(report), html_page(report)):
        assert "Do not cull on one early empty result" in form and "limited by law" in form and "local rules" in form


def test_a_season_without_any_result_has_a_sheet() -> None:
    report = make_report(Season((scan_day(SCANNED_ON, []),)), ReckoningSettings())
    assert "0 of 0" in text(report) and "<h1>" in html_page(report)


class _Page(html.parser.HTMLParser):
    """What a page refers to, and whether its tags are closed in order."""

    _VOID = frozenset({"meta", "link", "br", "img", "hr", "path", "use", "rect"})

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.outside: list[str] = []
        self.labels: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in self._VOID:
            self.open.append(tag)
        for name, value in attrs:
            if name in ("src", "href", "xlink:href") and value and not value.startswith("#"):
                self.outside.append(value)
            if name == "aria-label" and value:
                self.labels.append(value)

    def handle_endtag(self, tag: str) -> None:
        if tag not in self._VOID:
            assert self.open.pop() == tag


def test_the_page_needs_nothing_else_and_tells_its_charts_in_words(report: Report) -> None:
    page = _Page()
    page.feed(html_page(report))
    assert page.open == [] and page.outside == []
    told = " ".join(page.labels)
    assert "Of 5 cows scanned: in calf 3, recheck 1, empty 1." in told
    assert "week 2 from 2026-11-16: 1" in told
    assert "with the 80 % band" in told


def test_the_same_season_gives_the_same_page(report: Report) -> None:
    assert html_page(report) == html_page(report)


def test_what_was_heard_cannot_become_part_of_the_page() -> None:
    day = scan_day(SCANNED_ON, [Event(EventKind.QUESTION, 1.0, heard="<script>alert(1)</script>", reason="&")])
    page = html_page(make_report(Season((day,)), ReckoningSettings()))
    assert "<script>" not in page and "&lt;script&gt;" in page


def test_there_is_a_chart_only_where_there_are_figures() -> None:
    report = make_report(Season((scan_day(SCANNED_ON, [empty("4")]),)), ReckoningSettings())
    assert [chart.title for chart in charts(report.herd, None)] == ["Results"]


@needs_pango
def test_the_sheet_prints_to_pdf(report: Report, tmp_path: Path) -> None:
    (tmp_path / "sheet.pdf").write_bytes(pdf_page(html_page(report)))
    pages = PdfReader(tmp_path / "sheet.pdf").pages
    # A4 is 595 by 842 points (ISO 216).
    assert (round(float(pages[0].mediabox.width)), round(float(pages[0].mediabox.height))) == (595, 842)
    assert "417" in "".join(page.extract_text() for page in pages)


@pytest.mark.parametrize(
    ("entry", "written"),
    [
        (in_calf("417", 56, twins=True), "in calf 56 days, twins"),
        (recheck("609", 1), "recheck, in 1 week"),
        (Entry("4", Result.PREGNANT, crown_rump_mm=30), "in calf 30 mm crown-rump"),
        (Entry("4", findings=("dead_calf",)), "dead calf"),
    ],
)
def test_what_was_found_in_words(entry: Entry, written: str) -> None:
    assert written_outcome(entry) == written
