"""The screen: told events, it shows them; it never calls a stage."""

import asyncio
import subprocess
import sys
import threading
from collections.abc import Callable

import pytest
from textual.widgets import Digits, Static

from voicecapture.dashboard import Dashboard
from voicecapture.dashboard.widgets import CountsPanel, LastEntry, Recent
from voicecapture.day import Day, Event, EventKind
from voicecapture.decision import Decision, Outcome
from voicecapture.herd import Animal, Herd
from voicecapture.language.phrase import Entry, Result
from voicecapture.update import Update


def updates() -> list[Update]:
    day = Day(Herd(Animal(cow) for cow in ("417", "419", "608")))
    shown = []
    for outcome, event in (
        (Outcome.ACCEPTED, Event(EventKind.ACCEPTED, 10.0, 1, Entry("608", Result.EMPTY))),
        (Outcome.ACCEPTED, Event(EventKind.ACCEPTED, 20.0, 2, Entry("417", Result.PREGNANT, 56, True))),
        (Outcome.QUESTION, Event(EventKind.QUESTION, 30.0, 3, Entry("419", Result.EMPTY), "not clearly heard")),
        (Outcome.IGNORED, Event(EventKind.IGNORED, 40.0, 4, reason="not an entry: talk or noise")),
    ):
        day = day.after(event)
        shown.append(Update(day, Decision(outcome, event), event.at_s, -20.0, -45.0, True, "read back"))
    return shown


def look(shown: list[Update], seen: Callable[[Dashboard], None], key: str = "q") -> Dashboard:
    """Run the screen over some updates and look at it before it closes."""
    stop, told = threading.Event(), threading.Event()
    was_stopped: list[bool] = []

    def run_session(show: Callable[[Update], None]) -> Day:
        for update in shown:
            show(update)
        told.set()
        was_stopped.append(stop.wait(5))
        return shown[-1].day

    async def run() -> Dashboard:
        app = Dashboard(run_session, stop)
        async with app.run_test(size=(80, 24)) as pilot:
            while not told.is_set():
                await pilot.pause(0.01)
            await pilot.pause()
            seen(app)
            await pilot.press(key)
            await pilot.pause()
        return app

    app = asyncio.run(run())
    assert was_stopped == [True]
    return app


def text(widget: Static) -> str:
    return str(widget.render())


def test_the_question_is_shown_in_large_type_and_with_a_word() -> None:
    def seen(app: Dashboard) -> None:
        assert app.query_one("#cow", Digits).value == "419"
        assert "asked" in text(app.query_one("#outcome", Static))
        assert app.query_one(LastEntry).has_class("asking")

    look(updates(), seen)


def test_age_and_outcome_of_the_last_cow_are_shown() -> None:
    def seen(app: Dashboard) -> None:
        assert app.query_one("#cow", Digits).value == "417"
        assert app.query_one("#age", Digits).value == "56"
        assert "in calf 56 days, twins" in text(app.query_one("#outcome", Static))

    look(updates()[:2], seen)


def test_counts_are_those_of_the_day() -> None:
    def seen(app: Dashboard) -> None:
        shown = text(app.query_one(CountsPanel)).split()
        assert shown[shown.index("scanned") + 1] == "2"
        assert shown[shown.index("left") + 1] == "1"
        assert shown[shown.index("questions") + 1] == "1"

    look(updates(), seen)


def test_talk_leaves_no_line() -> None:
    def seen(app: Dashboard) -> None:
        lines = text(app.query_one(Recent)).splitlines()
        assert len(lines) == 3 and "not clearly heard" in lines[0] and "608" in lines[2]

    look(updates(), seen)


@pytest.mark.parametrize(
    ("event", "sign"),
    [
        (Event(EventKind.TAKEN_BACK, 30.0, 3, Entry("417", Result.EMPTY), "taken back", replaces=2), "✗ taken back"),
        (Event(EventKind.COMMAND, 30.0, 3, Entry("419", Result.EMPTY), "neither: say the entry again"), "> command"),
    ],
)
def test_an_entry_taken_back_or_refused_is_not_shown_as_taken(event: Event, sign: str) -> None:
    day = updates()[1].day.after(event)

    def seen(app: Dashboard) -> None:
        for shown in (text(app.query_one("#outcome", Static)), text(app.query_one(Recent))):
            assert sign in shown and "✓" not in shown

    look([Update(day, Decision(Outcome.ACCEPTED, event), 30.0, -20.0, -45.0, False, "said")], seen)


def test_a_bracket_in_a_reason_is_shown_as_it_is() -> None:
    event = Event(EventKind.QUESTION, 30.0, 1, Entry("419", Result.EMPTY, findings=("[/left]",)), "[/why]")
    update = Update(Day(Herd()).after(event), Decision(Outcome.QUESTION, event), 30.0, -20.0, -45.0, True, "[/said]")

    def seen(app: Dashboard) -> None:
        assert "[/left]  ([/why])" in text(app.query_one(Recent))
        assert text(app.query_one("#said", Static)) == "[/said]"

    look([update], seen)


def test_however_the_screen_is_left_the_session_is_stopped() -> None:
    look(updates(), lambda app: None, key="ctrl+q")


def test_ten_entries_and_a_long_question_fit_a_small_terminal() -> None:
    def seen(app: Dashboard) -> None:
        assert app.query_one(Recent).content_size.height >= 10
        assert app.query_one("#said").content_size.height == 3

    look(updates(), seen)


def test_a_session_that_breaks_is_told_to_the_caller() -> None:
    def run_session(show: Callable[[Update], None]) -> Day:
        raise OSError("the disk is full")

    async def run() -> Dashboard:
        app = Dashboard(run_session, threading.Event())
        async with app.run_test() as pilot:
            await pilot.pause(0.2)
        return app

    assert isinstance(asyncio.run(run()).failure, OSError)


def test_the_core_runs_without_the_screen() -> None:
    code = "import sys, voicecapture.session, voicecapture.hear; sys.exit('textual' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
