"""The desk: its keys settle what needs a person, each change is one more event, and the sound is at hand."""

import asyncio
import html
import sqlite3
import subprocess
import sys
from collections.abc import Awaitable, Callable
from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from textual.app import App
from textual.command import CommandPalette
from textual.pilot import Pilot
from textual.widgets import Input, Static

from tests.seasons import empty, in_calf
from tests.test_cli import Run, run  # noqa: F401
from voicecapture.audio import Samples
from voicecapture.day import Candidate, Event, EventKind, ScanKind
from voicecapture.desk.app import DeskApp
from voicecapture.desk.detail import detail, share, wrapped
from voicecapture.desk.forms import EntryForm, Keys, Unseen
from voicecapture.desk.player import SLOWER
from voicecapture.desk.rows import Rows, cells
from voicecapture.desk.sitting import Desk, Sitting
from voicecapture.errors import AudioError, ScreenError
from voicecapture.herd import Animal, Herd
from voicecapture.language.phrase import Entry, Phrase
from voicecapture.reasons import TALK
from voicecapture.recogniser import Certainty, Hearing, Language, Reading
from voicecapture.segmenter import Utterance
from voicecapture.settings import Settings
from voicecapture.store.clips import read_before, read_clips
from voicecapture.store.record import Record
from voicecapture.store.season import amend, read_season

HERD = Herd([*(Animal(cow) for cow in ("4", "14", "40", "417", "419")), Animal("608", mated_on=date(2026, 12, 15))])
QUESTION = Event(
    *(EventKind.QUESTION, 9.0, 3, in_calf("40", 42), "it may have been another number", 0.8),
    (Candidate(in_calf("40", 42), 0.8), Candidate(in_calf("14", 42), 0.15)),
    heard="forty pregnant six weeks",
)
MORNING = (
    Event(EventKind.ACCEPTED, 3.0, 1, in_calf("417", 56), "clearly heard", 0.9999, heard="four one seven"),
    Event(EventKind.ACCEPTED, 6.0, 2, empty("4"), "clearly heard", 0.98, heard="four empty"),
    QUESTION,
    Event(EventKind.IGNORED, 12.0, 4, reason=TALK, heard="HH AA"),
    Event(EventKind.IGNORED, 15.0, 5, reason="there is no entry to take back", heard="take that back"),
    Event(EventKind.ACCEPTED, 18.0, None, empty("419"), "typed", 1.0, heard="typed: 419 empty"),
)
"""The third and the second and the fifth need a person, in this order."""


class Playing:
    """A `Player` that remembers."""

    def __init__(self, failure: str = "") -> None:
        self.failure, self.played, self.stops = failure, list[tuple[Samples, float]](), 0

    def play(self, samples: Samples, speed: float = 1.0) -> None:
        if self.failure:
            raise AudioError(self.failure)
        self.played.append((samples, speed))

    def stop(self) -> None:
        self.stops += 1


class Hears:
    """A recogniser that hears one entry in everything."""

    def __init__(self, entry: Entry) -> None:
        self.entry = entry

    def recognise(self, utterance: Utterance, language: Language) -> Hearing:
        return Hearing((Reading(Phrase(self.entry), "as said", 0.9999),), "S", 1.0, Certainty(*[0.9999] * 4))


def tone(number: int) -> Samples:
    """Two seconds of one level, so that each utterance is known by it."""
    return np.full(32_000, number / 100, np.float32)


def a_morning(path: Path, events: tuple[Event, ...] = MORNING) -> Path:
    """Utterances of 2 s that end with their event, so that 1 s is between each and the next."""
    record = Record.open(path)
    day_id = record.start_day(HERD, date(2027, 2, 9), ScanKind.AGED, "herd.csv", "microphone")
    for event in events:
        if event.utterance is None:
            record.append(day_id, event)
        else:
            sound = Utterance(tone(event.utterance), event.at_s - 2, event.at_s, 20.0)
            record.keep(day_id, event.utterance, sound, Hearing((), event.heard, 3.0), event)
    record.close()
    return path


Seen = Callable[[DeskApp, Pilot[None]], Awaitable[None]]


class AtDesk:
    """The desk over a day's file, while `seen` looks at it and presses keys."""

    def __init__(
        self,
        path: Path,
        seen: Seen,
        size: tuple[int, int] = (80, 24),
        player: Playing | None = None,
        hears: Entry = in_calf("40", 42),  # noqa: B008
    ) -> None:
        self.path, self.player = path, player or Playing()
        record = Record.open(path)

        def keep(day: str, events_before: int, events: tuple[Event, ...]) -> None:
            amend(record, day, *events, seen=events_before)

        read, clips = partial(read_season, record), partial(read_clips, record)
        self.sitting = Sitting(Desk("A Vet", Settings(), read, clips, keep, lambda: Hears(hears)))
        self.app = DeskApp(self.sitting, self.player)
        try:
            asyncio.run(self.go(seen, size))
        finally:
            record.close()

    async def go(self, seen: Seen, size: tuple[int, int]) -> None:
        async with self.app.run_test(size=size) as pilot:
            await settled(pilot)
            await seen(self.app, pilot)


async def settled(pilot: Pilot[None]) -> None:
    await pilot.app.workers.wait_for_complete()
    await pilot.pause()


def pressing(*keys: str) -> Seen:
    async def pressed(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press(*keys)
        await settled(pilot)

    return pressed


def told(app: App[None], id: str = "told") -> str:
    return str(app.screen.query_one(f"#{id}", Static).render())


def screen(app: App[None]) -> str:
    return html.unescape(app.export_screenshot()).replace("\xa0", " ")


def needs(desk: AtDesk) -> list[str]:
    return [f"{item.cow} {item.needs[0]}" for item in desk.sitting.items if item.needs]


def on_record(path: Path) -> list[tuple[str, str | None, str | None]]:
    """Cow, result and who amended it, of the results that count, from the file itself."""
    with sqlite3.connect(path) as connection:
        return list(connection.execute("select cow, result, by_whom from current_result order by cow"))


def added(path: Path) -> list[tuple[str, str]]:
    """Reason and person of what the desk added."""
    with sqlite3.connect(path) as connection:
        return list(connection.execute("select reason, by_whom from event where number > ?", [len(MORNING)]))


@pytest.fixture
def day(tmp_path: Path) -> Path:
    return a_morning(tmp_path / "day.db")


BEFORE = [("4", "empty", ""), ("417", "pregnant", ""), ("419", "empty", "")]


# ---- what is shown -------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [(80, 24), (200, 50)])
def test_it_opens_on_what_needs_a_person_with_everything_about_it(day: Path, size: tuple[int, int]) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        shown = screen(app)
        first, second, third, *_, last = [shown.index(text) for text in ("0:09", "0:06", "0:15", "0:03", "0:12")]
        assert first < second < third < last
        assert "3 to settle, 3 cows not seen" in told(app, "head") and "A Vet" in told(app, "head")
        assert "forty pregnant six weeks" in shown
        assert "1: 40 in calf 42 days, 80.0 %" in shown and "2: 14 in calf 42 days, 15.0 %" in shown
        assert "play" in shown and "leave" in shown

    AtDesk(day, seen, size)


def test_history_services_and_neighbours_of_the_cow_stand_beside_it(day: Path) -> None:
    desk = AtDesk(day, pressing())
    found = dict.fromkeys(text for _, text in detail(desk.sitting, desk.sitting.items[0]))
    assert "2027-02-09 in calf 56 days" in found and "no recorded mating" in found
    assert "0:06 4 empty" in found and "0:09 40 in calf 42 days" in found
    desk = AtDesk(day, pressing("m", *"608", "enter"))
    moved = next(item for item in desk.sitting.items if item.cow == "608")
    lines = [text for _, text in detail(desk.sitting, moved)]
    assert "served 2026-12-15 (56 days before)" in lines


@pytest.mark.parametrize("key", ["down", "pagedown", "end"])
def test_another_item_is_chosen_and_shown(day: Path, key: str) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press(key)
        await settled(pilot)
        rows = app.screen.query_one("#rows", Rows)
        assert rows.cursor == (1 if key == "down" else 5)
        assert ("four empty" if key == "down" else '"HH AA"') in screen(app)
        await pilot.press("up" if key == "down" else "home" if key == "end" else "pageup")
        assert rows.cursor == 0

    AtDesk(day, seen)


def test_more_about_an_item_is_reached_by_the_space_bar(day: Path) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        about = app.screen.query_one("#about", Rows)
        assert about.max_scroll_y > 0
        await pilot.press("space")
        await settled(pilot)
        assert about.scroll_y == about.max_scroll_y
        await pilot.press("space")
        await settled(pilot)
        assert about.scroll_y == 0

    AtDesk(day, seen)


def test_of_five_thousand_entries_only_what_is_on_the_screen_is_made(tmp_path: Path) -> None:
    made: list[int] = []

    def line(number: int, width: int) -> tuple[tuple[str, str], ...]:
        made.append(number)
        return ((f"entry {number}", ""),)

    class Long(App[None]):
        def compose(self) -> list[Rows]:
            return [Rows(line, "rows")]

    async def seen() -> None:
        async with Long().run_test(size=(80, 24)) as pilot:
            pilot.app.query_one(Rows).show(5000)
            pilot.app.query_one(Rows).focus()
            await pilot.press("end")
            await pilot.pause()
            assert "entry 4999" in screen(pilot.app)

    asyncio.run(seen())
    assert 4999 in made and len(set(made)) <= 48


def test_a_cell_that_is_too_long_says_so_and_a_bracket_is_no_markup(tmp_path: Path) -> None:
    assert cells(("in calf", "it may have been", "x"), (9, 8, 0)) == "in calf   it may …"
    odd = replace(QUESTION, heard="[/heard]", reason="[/why]")
    AtDesk(a_morning(tmp_path / "day.db", (MORNING[0], MORNING[1], odd)), pressing("n", "u"))
    assert wrapped([("heard", "one two three four")], 29) == [("heard", "one two three four")]
    assert wrapped([("heard", "one two three four five six")], 29) == [
        ("heard", "one two three four"),
        ("", "five six"),
    ]


@pytest.mark.parametrize(
    ("probability", "words"), [(0.99996, "99.9 %"), (1.0, "100 %"), (0.0001, "0.1 %"), (0.0, "0 %"), (0.5, "50.0 %")]
)
def test_a_posterior_is_never_rounded_to_certainty(probability: float, words: str) -> None:
    assert share(probability) == words


# ---- settling ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("key", "cow"), [("1", "40"), ("2", "14")])
def test_one_key_takes_an_alternative_and_the_next_item_is_chosen(day: Path, key: str, cow: str) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press(key)
        await settled(pilot)
        assert f"taken: {cow} pregnant 42 days" in told(app) and "2 to settle" in told(app, "head")
        assert "four empty" in screen(app)

    AtDesk(day, seen)
    assert on_record(day) == sorted([*BEFORE, (cow, "pregnant", "A Vet")])
    assert added(day) == [(f"amended: took {key} of what may be meant", "A Vet")]


def test_an_alternative_that_is_not_there_changes_nothing(day: Path) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press("3")
        assert told(app) == "there is no alternative 3"

    AtDesk(day, seen)
    assert added(day) == []


def test_not_an_entry(day: Path) -> None:
    desk = AtDesk(day, pressing("n", "n", "n"))
    assert on_record(day) == BEFORE[1:] and desk.sitting.left == 0
    assert added(day) == [("amended: not an entry", "A Vet")] * 3


def test_right_as_it_is_settles_a_result_and_never_a_question(day: Path) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press("r")
        await settled(pilot)
        assert "question 3: open" in told(app)
        await pilot.press("down", "r")
        await settled(pilot)
        assert "right as it is: 4 empty" in told(app)

    desk = AtDesk(day, seen)
    assert on_record(day) == BEFORE and added(day) == [("looked at: right as it is", "A Vet")]
    assert needs(desk) == ["40 open question", " not understood"]


def test_what_was_settled_stays_settled_when_the_desk_is_opened_again(day: Path) -> None:
    AtDesk(day, pressing("down", "r"))
    assert needs(AtDesk(day, pressing())) == ["40 open question", " not understood"]


@pytest.mark.parametrize("keys", [("1",), ("n",), ("down", "n"), ("down", "r"), ("1", "n", "n")])
def test_undo_restores_by_further_events(day: Path, keys: tuple[str, ...]) -> None:
    changes = [key for key in keys if key != "down"]
    desk = AtDesk(day, pressing(*keys, *["u"] * len(changes)))
    assert [(cow, result) for cow, result, _ in on_record(day)] == [(cow, result) for cow, result, _ in BEFORE]
    assert needs(desk) == ["4 not surely heard", "40 open question", " not understood"]
    assert len(added(day)) >= 2 * len(changes) and {by for _, by in added(day)} == {"A Vet"}


def test_there_may_be_nothing_to_undo(day: Path) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press("u")
        assert told(app) == "nothing to undo in this sitting"

    AtDesk(day, seen)
    assert added(day) == []


# ---- the form ------------------------------------------------------------------------------------


@pytest.mark.parametrize("key", ["e", "enter"])
def test_the_form_edits_every_field_and_keeps_why(day: Path, key: str) -> None:
    typed = ("home", *["delete"] * 20, *"recheck in 3 weeks".replace(" ", "_"), "tab", *"heard", "enter")
    desk = AtDesk(day, pressing(key, *("space" if k == "_" else k for k in typed)))
    assert ("40", "recheck", "A Vet") in on_record(day) and added(day) == [("amended: heard", "A Vet")]
    assert "40" in {cow for cow, _, _ in on_record(day)} and desk.sitting.left == 2


def test_what_is_typed_is_checked_at_every_letter_and_only_taken_if_it_is_right(day: Path) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press("e")
        await settled(pilot)
        assert told(app, "check-0") == "✓ 40 in calf 42 days"
        await pilot.press("x", "enter")
        await settled(pilot)
        assert isinstance(app.screen, EntryForm) and told(app, "check-0").startswith("✗ 'pregnant 42 daysx'")
        assert app.screen.query_one("#check-0").has_class("wrong")
        await pilot.press("escape")
        await settled(pilot)
        assert not isinstance(app.screen, EntryForm)

    AtDesk(day, seen)
    assert added(day) == []


@pytest.mark.parametrize(
    ("cow", "caution"),
    [
        ("417", "417 has a result, in calf 56 days: this takes its place"),
        ("999", "999 not in the herd list"),
        ("608", "608 42 days: no recorded mating explains that age"),
    ],
)
def test_the_form_cautions_before_it_is_put_on_record(day: Path, cow: str, caution: str) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press("m", *cow)
        await settled(pilot)
        assert told(app, "check-0").startswith("! ") and caution in told(app, "check-0")
        await pilot.press("escape")
        await settled(pilot)

    AtDesk(day, seen)
    assert added(day) == []


def test_an_entry_is_moved_to_another_cow(day: Path) -> None:
    AtDesk(day, pressing("down", "m", *"14", "enter"))
    assert on_record(day) == [("14", "empty", "A Vet"), *BEFORE[1:]]


def test_where_nothing_was_found_there_is_nothing_to_move(day: Path) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press("down", "down", "m")
        assert "nothing was found here" in told(app)

    AtDesk(day, seen)


def test_two_entries_are_made_of_one(day: Path) -> None:
    AtDesk(day, pressing("t", *"14", "tab", *"empty", "enter"))
    assert on_record(day) == sorted([*BEFORE, ("14", "empty", "A Vet"), ("40", "pregnant", "A Vet")])


def test_two_entries_of_one_cow_are_not_taken(day: Path) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press("t")
        await settled(pilot)
        assert told(app, "check-1") == "✗ her number, and what was found in her"
        await pilot.press(*"40", "tab", *"empty", "enter")
        await settled(pilot)
        assert isinstance(app.screen, EntryForm) and "named twice" in told(app, "check-1")
        await pilot.press("escape")

    AtDesk(day, seen)
    assert added(day) == []


def test_an_entry_is_made_of_what_was_passed_over(day: Path) -> None:
    typed = ("space" if letter == " " else letter for letter in "in calf 50 days")
    AtDesk(day, pressing("end", "e", *"608", "tab", *typed, "enter"))
    assert ("608", "pregnant", "A Vet") in on_record(day)


# ---- cows not seen -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "reason"),
    [
        ("a", "absent today"),
        ("s", "sold"),
        ("d", "died"),
        ("o", "dried off, not scanned"),
        ("x", "not for scanning"),
    ],
)
def test_one_key_tells_why_a_cow_was_not_seen(day: Path, key: str, reason: str) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press("c")
        await settled(pilot)
        assert isinstance(app.screen, Unseen)
        await pilot.press("down", key)
        await settled(pilot)
        assert told(app, "unseen-told") == f"40: {reason}" and app.screen.query_one(Rows).cursor == 2
        await pilot.press("escape")
        await settled(pilot)
        assert "2 cows not seen" in told(app, "head")

    desk = AtDesk(day, seen)
    assert desk.sitting.unseen == [("14", ""), ("40", reason), ("608", "")] and added(day) == [(reason, "A Vet")]


def test_a_reason_can_be_undone(day: Path) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press("c", "s", "up", "a", "u")
        await settled(pilot)
        assert desk_unseen(app) == "sold"
        await pilot.press("u", "u")
        await settled(pilot)
        assert told(app, "unseen-told") == "nothing to undo" and desk_unseen(app) == ""

    def desk_unseen(app: DeskApp) -> str:
        return dict(read_only(app))["14"]

    def read_only(app: DeskApp) -> list[tuple[str, str]]:
        assert isinstance(app.screen, Unseen)
        return app.screen._listed

    AtDesk(day, seen)


# ---- hearing -------------------------------------------------------------------------------------


def test_it_is_played_as_it_was_and_slower(day: Path) -> None:
    desk = AtDesk(day, pressing("p", "s"))
    (once, speed), (again, slower) = desk.player.played
    assert np.allclose(once, tone(3), atol=1e-4) and np.array_equal(once, again)
    assert (speed, slower) == (1.0, SLOWER)


def test_the_three_seconds_before_are_played_as_far_as_they_were_kept(day: Path) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press("b")
        assert "2.0 s of the 3 s before it were kept" in told(app)

    ((samples, _),) = AtDesk(day, seen).player.played
    # The second utterance, a second in which nobody spoke, the third.
    levels = samples.reshape(5, 16_000)
    assert np.allclose(levels, np.array([[0.02], [0.02], [0.0], [0.03], [0.03]]), atol=1e-4)


def test_before_the_first_utterance_nothing_was_kept(day: Path) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press("down", "down", "down", "b")
        assert "nothing was kept of the 3 s before it" in told(app)

    ((samples, _),) = AtDesk(day, seen).player.played
    assert len(samples) == 32_000


def test_of_an_utterance_that_overlaps_the_next_only_what_lies_before_is_played(tmp_path: Path) -> None:
    path = tmp_path / "day.db"
    record = Record.open(path)
    day_id = record.start_day(HERD, date(2027, 2, 9), ScanKind.AGED, "herd.csv", "microphone")
    for number, start_s in ((1, 0.0), (2, 1.5)):
        event = Event(EventKind.IGNORED, start_s + 2, number)
        sound = Utterance(tone(number), start_s, start_s + 2, 20.0)
        record.keep(day_id, number, sound, Hearing((), "", 0.0), event)
    clips = read_clips(record, read_season(record).days[0].name)
    record.close()
    samples, kept_s = read_before(clips, 2, 1.0)
    assert kept_s == 1.0 and np.allclose(samples, 0.01, atol=1e-4) and len(samples) == 16_000


def test_without_a_sound_card_it_says_so_and_everything_else_works(day: Path) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press("p")
        assert told(app) == "no sound card: nothing can be played"
        await pilot.press("1")
        await settled(pilot)

    AtDesk(day, seen, player=Playing("no sound card: nothing can be played"))
    assert len(on_record(day)) == 4


def test_sound_that_is_not_there_is_told(day: Path) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press("p")
        assert "day1_00003.flac: the sound of utterance 3 is not there" in told(app)
        await pilot.press("h")
        await settled(pilot)
        assert "1 could not be heard" in told(app)
        await pilot.press("down", "down", "down", "down", "p")
        assert told(app) == "there is no sound: it was typed"
        await pilot.press("h")
        assert told(app) == "there is no sound of what was said to hear again"

    (day.parent / "day_clips" / "day1_00003.flac").unlink()
    AtDesk(day, seen)


def test_hearing_again_shows_what_would_change_and_changes_nothing(day: Path) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press("h")
        await settled(pilot)
        shown = screen(app)
        assert "otherwise: taken, 608 empty" in shown and "3: 608 empty, 99.9 %" in shown
        assert "heard again 1 of 1: 1 otherwise, nothing was changed" in told(app)
        assert added(day) == []
        await pilot.press("3")
        await settled(pilot)

    AtDesk(day, seen, hears=empty("608"))
    assert ("608", "empty", "A Vet") in on_record(day)


def test_everything_that_is_shown_is_heard_again_and_what_changes_can_be_shown_alone(day: Path) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press("H")
        await settled(pilot)
        # The first says so now as it did then; what was typed has no sound.
        assert "heard again 5 of 5: 4 otherwise" in told(app)
        await pilot.press("f", "f", "f", "f")
        await settled(pilot)
        assert "4 shown: heard otherwise now" in told(app, "head") and "≠" in screen(app)

    AtDesk(day, seen, hears=in_calf("417", 56))
    assert added(day) == []


# ---- finding -------------------------------------------------------------------------------------


def test_search_goes_on_at_every_letter_and_ends_with_escape(day: Path) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press("slash", *"41")
        assert told(app, "head").split("   ")[1] == "2 shown: everything, by need"
        await pilot.press("enter", "down", "1")
        await settled(pilot)
        assert "taken: 419 empty" in told(app)
        await pilot.press("escape")
        await settled(pilot)
        assert app.screen.query_one("#search", Input).value == "" and "7 shown" in told(app, "head")

    AtDesk(day, seen)


def test_letters_are_letters_while_something_is_looked_for(day: Path) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press("slash", *"n1qruc")
        assert app.screen.query_one("#search", Input).value == "n1qruc" and "0 shown" in told(app, "head")
        await pilot.press("enter", *"1nrepbsmth")
        assert "nothing to show" in screen(app)

    AtDesk(day, seen)
    assert added(day) == []


def test_filter_and_order(day: Path) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press("f")
        assert "3 shown: to settle, by need" in told(app, "head")
        await pilot.press("f")
        assert "3 shown: results that count" in told(app, "head")
        await pilot.press("escape", "o")
        await settled(pilot)
        assert "by time" in told(app, "head")
        assert screen(app).index("0:03") < screen(app).index("0:06") < screen(app).index("0:09")
        # The cursor has stayed on its item.
        assert '"four empty"' in screen(app)

    AtDesk(day, seen)


# ---- the rest ------------------------------------------------------------------------------------


@pytest.mark.parametrize("opening", ["question_mark", "f1"])
@pytest.mark.parametrize("closing", ["escape", "q"])
def test_help_tells_every_key(day: Path, opening: str, closing: str) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        await pilot.press(opening)
        await settled(pilot)
        assert isinstance(app.screen, Keys) and "make two entries of it" in screen(app)
        await pilot.press(closing)
        await settled(pilot)
        assert not isinstance(app.screen, Keys)

    AtDesk(day, seen)


@pytest.mark.parametrize("key", ["q", "ctrl+q"])
def test_leaving_is_one_key(day: Path, key: str) -> None:
    desk = AtDesk(day, pressing(key))
    assert desk.app.return_code == 0


def test_light_and_dark_and_the_command_palette(day: Path) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        assert app.current_theme.dark
        await pilot.press("l")
        assert not app.current_theme.dark
        await pilot.press("ctrl+p")
        await pilot.pause()
        assert isinstance(app.screen, CommandPalette)
        await pilot.press("escape")

    AtDesk(day, seen)


def test_a_day_that_went_on_meanwhile_is_read_again_before_anything_is_changed(day: Path) -> None:
    async def seen(app: DeskApp, pilot: Pilot[None]) -> None:
        other = Record.open(day)
        other.append(1, Event(EventKind.ACCEPTED, 30.0, None, empty("608"), "typed", 1.0))
        other.close()
        await pilot.press("1")
        await settled(pilot)
        assert "the day went on meanwhile" in told(app) and "7 shown" in told(app, "head")
        await pilot.press("1")
        await settled(pilot)

    AtDesk(day, seen)
    assert {cow for cow, _, _ in on_record(day)} == {"4", "40", "417", "419", "608"}


def test_a_signed_day_can_still_be_settled_and_keeps_its_signature(day: Path) -> None:
    with sqlite3.connect(day) as connection:
        connection.execute("insert into signature values (1, 'A Vet', '2027-02-09T12:00:00.000+00:00', 6, 1, '0')")
    AtDesk(day, pressing("1"))
    assert ("40", "pregnant", "A Vet") in on_record(day)


def test_a_screen_that_breaks_is_one_sentence(
    day: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    record = Record.open(day)
    sitting = Sitting(
        Desk("A Vet", Settings(), partial(read_season, record), lambda _: {}, lambda *_: None, lambda: Hears(Entry()))
    )
    app = DeskApp(sitting, Playing())
    monkeypatch.setattr(app, "run", partial(app.run, headless=True))
    monkeypatch.setattr(sitting, "items", None)
    with pytest.raises(ScreenError, match="every change until then is kept"):
        app.sit()
    record.close()
    assert "Traceback" not in "".join(capfd.readouterr())


@pytest.mark.parametrize(
    ("arguments", "code", "reason"),
    [
        (("nowhere.db", "--by", "A Vet"), 1, "no such file"),
        (("day.db", "--by", " "), 2, "who sits at the desk"),
        (("day.db",), 2, "--by"),
        (("day.db", "--by", "A Vet", "--engine", "ears"), 1, "listener, vosk, whisper"),
    ],
)
def test_the_command_refuses_in_a_sentence(
    run: Run,  # noqa: F811
    day: Path,
    monkeypatch: pytest.MonkeyPatch,
    arguments: tuple[str, ...],
    code: int,
    reason: str,
) -> None:
    monkeypatch.chdir(day.parent)
    ended, _, errors = run("review", *arguments)
    assert ended == code and reason in errors and "Traceback" not in errors


def test_the_core_runs_without_the_screen() -> None:
    code = "import sys, voicecapture.desk.sitting, voicecapture.desk.detail, voicecapture.desk.player; " + (
        "sys.exit('textual' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
