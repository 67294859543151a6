"""The keys of the screen: each is an intention that it hands on."""

import threading
from collections.abc import Callable
from dataclasses import replace

import pytest
from textual.command import CommandPalette
from textual.pilot import Pilot
from textual.widgets import Input

from tests.showing import CHOICE, MORNING, TAKEN, Showing, settled, text, updates
from voicecapture.dashboard.app import Dashboard
from voicecapture.dashboard.sayings import Sayings
from voicecapture.dashboard.widgets import Recent
from voicecapture.day import Day, Event, EventKind
from voicecapture.language.phrase import Entry, Result
from voicecapture.typed import NOT_UNDERSTOOD
from voicecapture.update import Update


@pytest.mark.parametrize("key", ["q", "ctrl+q"])
def test_however_the_screen_is_left_the_session_is_stopped(key: str) -> None:
    async def nothing(_app: Dashboard, _pilot: Pilot[None]) -> None: ...

    Showing(MORNING, nothing, key=key)


def test_an_entry_can_be_typed() -> None:
    async def seen(app: Dashboard, pilot: Pilot[None]) -> None:
        await pilot.press("e", *"417", "space", *"empty", "enter")
        assert not app.query_one("#typing").has_class("open")

    showing = Showing(MORNING, seen)
    assert showing.typed == [("417 empty", MORNING[-1].day)]


def test_keys_mean_letters_while_something_is_typed() -> None:
    async def seen(app: Dashboard, pilot: Pilot[None]) -> None:
        await pilot.press("e", "1", "q", "e", "l", "n")
        assert app.query_one("#typing", Input).value == "1qeln"
        await pilot.press("escape")

    assert Showing(MORNING, seen).typed == []


@pytest.mark.parametrize("key", ["escape", "enter"])
def test_an_empty_line_is_no_entry(key: str) -> None:
    async def seen(app: Dashboard, pilot: Pilot[None]) -> None:
        await pilot.press("e", key)
        assert not app.query_one("#typing").has_class("open")

    assert Showing(MORNING, seen).typed == []


def test_what_was_not_understood_is_given_back_to_be_put_right() -> None:
    vain = Event(EventKind.IGNORED, 50.0, None, reason=NOT_UNDERSTOOD, heard="typed: 417 enpty")

    async def seen(app: Dashboard, pilot: Pilot[None]) -> None:
        assert app.query_one("#typing", Input).value == "417 enpty"
        await pilot.press("escape")

    Showing(updates(TAKEN, vain), seen)


@pytest.mark.parametrize(("key", "answer"), [("1", "first"), ("2", "second"), ("n", "neither")])
def test_a_question_is_answered_by_keys(key: str, answer: str) -> None:
    async def seen(_app: Dashboard, pilot: Pilot[None]) -> None:
        await pilot.press(key)

    assert Showing(MORNING, seen).typed == [(answer, MORNING[-1].day)]


@pytest.mark.parametrize(
    ("events", "keys", "typed"),
    [
        ((TAKEN,), ("1", "2", "n"), []),
        ((replace(CHOICE, candidates=()),), ("1", "2", "n"), []),
        ((replace(CHOICE, candidates=CHOICE.candidates[:1]),), ("2", "1"), ["first"]),
    ],
)
def test_answers_that_answer_nothing_are_not_handed_on(
    events: tuple[Event, ...], keys: tuple[str, ...], typed: list[str]
) -> None:
    async def seen(_app: Dashboard, pilot: Pilot[None]) -> None:
        for key in keys:
            await pilot.press(key)
            await pilot.pause(0.3)  # as a person presses them

    assert [line for line, _ in Showing(updates(*events), seen).typed] == typed


@pytest.mark.parametrize("opening", ["question_mark", "f1"])
@pytest.mark.parametrize("closing", ["escape", "question_mark", "q"])
def test_what_can_be_said_opens_and_closes_and_the_day_goes_on(opening: str, closing: str) -> None:
    async def seen(app: Dashboard, pilot: Pilot[None]) -> None:
        await pilot.press(opening)
        assert isinstance(app.screen, Sayings)
        assert "[cow / number] NUMBER" in app.export_screenshot().replace("&#160;", " ")
        await pilot.press(closing)
        assert not isinstance(app.screen, Sayings)

    Showing(MORNING, seen)


def test_updates_are_shown_under_the_help() -> None:
    gone_on = threading.Event()

    async def seen(app: Dashboard, pilot: Pilot[None]) -> None:
        await pilot.press("f1")
        gone_on.set()
        await settled(pilot)
        await pilot.press("escape")
        assert "417" in text(app, "#state")

    class Later(Showing):
        def session(self, show: Callable[[Update], None]) -> Day:
            gone_on.wait(10)
            return super().session(show)

    Later(MORNING[:2], seen)


def test_light_and_dark() -> None:
    async def seen(app: Dashboard, pilot: Pilot[None]) -> None:
        assert app.current_theme.dark
        await pilot.press("l")
        assert not app.current_theme.dark
        await pilot.press("l")
        assert app.current_theme.dark

    Showing(MORNING, seen)


def test_the_command_palette_offers_what_the_keys_do() -> None:
    async def seen(app: Dashboard, pilot: Pilot[None]) -> None:
        await pilot.press("ctrl+p")
        assert isinstance(app.screen, CommandPalette)
        await pilot.press(*"Type", "space", *"an")
        await settled(pilot)
        await pilot.press("enter")
        await settled(pilot)
        assert app.query_one("#typing").has_class("open")
        await pilot.press("escape")

    Showing(MORNING, seen)


def test_older_entries_are_reached_by_the_arrow_keys() -> None:
    cows = [Event(EventKind.ACCEPTED, 10.0 * i, i, Entry(str(i), Result.EMPTY)) for i in range(1, 31)]

    async def seen(app: Dashboard, pilot: Pilot[None]) -> None:
        await pilot.press("end")
        await settled(pilot)
        recent = app.query_one(Recent)
        assert recent.scroll_offset.y == recent.max_scroll_y > 0

    Showing(updates(*cows), seen)


@pytest.mark.parametrize("is_open", [False, True])
def test_a_reader_that_is_a_keyboard_answers_nothing_and_is_handed_on_as_a_line(is_open: bool) -> None:
    """Its code begins with 1 and 2, which are keys that answer."""

    async def seen(app: Dashboard, pilot: Pilot[None]) -> None:
        await pilot.press(*(["e"] if is_open else []), *"124000000000417", "enter", *"124000000000608", "enter")
        assert not app.query_one("#typing").has_class("open")

    assert [line for line, _ in Showing(MORNING, seen).typed] == ["124000000000417", "124000000000608"]
