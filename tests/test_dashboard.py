"""The screen: told updates, it shows them; what breaks is told; it never calls a stage."""

import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import replace

import pytest
from textual.widgets import Sparkline

from tests.showing import CHOICE, MORNING, SHED, TAKEN, look, text, updates
from voicecapture.dashboard.app import Dashboard
from voicecapture.dashboard.letters import large
from voicecapture.dashboard.widgets import Alerts, LastEntry, Recent, SoundPanel, Tally, ToCome
from voicecapture.day import Candidate, Day, Event, EventKind
from voicecapture.errors import RecordError, ScreenError
from voicecapture.language.phrase import Entry, Result
from voicecapture.update import Update


def test_cow_result_and_age_of_the_last_entry_are_in_large_letters() -> None:
    def seen(app: Dashboard) -> None:
        assert text(app, "#large") == large("417  IN CALF  56")
        assert text(app, "#state") == "✓ TAKEN  417 in calf 56 days, twins"

    look(MORNING[:2], seen)


def test_on_a_large_screen_the_letters_are_twice_as_large() -> None:
    def seen(app: Dashboard) -> None:
        assert text(app, "#large") == large("✓  417  IN CALF  56", 2)
        assert text(app, "#said") == "read back: read back" and app.query_one("#said").display

    look(MORNING[:2], seen, (200, 50))


def test_words_so_far_stand_where_the_read_back_was_until_they_are_decided_on() -> None:
    speaking = replace(MORNING[1], decision=None, words="six oh eight")

    def speaks(app: Dashboard) -> None:
        assert text(app, "#said") == "so far: six oh eight ..."
        assert text(app, "#state") == "✓ TAKEN  417 in calf 56 days, twins"

    look([*MORNING[:2], speaking], speaks, (200, 50))
    look([*MORNING[:2], speaking, replace(speaking, words="")], check_said, (200, 50))


def check_said(app: Dashboard) -> None:
    assert text(app, "#said") == "read back: read back"


def test_a_question_is_shown_with_its_two_answers() -> None:
    def seen(app: Dashboard) -> None:
        assert text(app, "#state") == "? ASKED  419 it may have been another age"
        assert text(app, "#large") == large("419 45/50")
        assert text(app, "#answers").splitlines() == [
            "first: in calf 45 days",
            "second: in calf 50 days",
            "neither: say it again",
        ]
        assert app.query_one(LastEntry).has_class("asking")

    look(MORNING, seen)


@pytest.mark.parametrize(
    ("candidates", "enlarged", "answers"),
    [
        ((Entry("417", Result.EMPTY), Entry("419", Result.EMPTY)), "417/419", "first: 417 empty"),
        ((Entry("417", Result.EMPTY), Entry("417", Result.RECHECK)), "417", "first: empty"),
        ((Entry("417", Result.EMPTY),), "417", "first: yes, 417 empty"),
        ((), "419", "say what was found in her"),
    ],
)
def test_what_is_in_doubt_is_in_large_letters(candidates: tuple[Entry, ...], enlarged: str, answers: str) -> None:
    question = replace(CHOICE, entry=Entry("419"), candidates=tuple(Candidate(entry, 0.4) for entry in candidates))

    def seen(app: Dashboard) -> None:
        assert text(app, "#large") == large(enlarged)
        assert text(app, "#answers").splitlines()[0] == answers

    look(updates(question), seen)


def test_counts_and_the_share_in_calf_are_those_of_the_day() -> None:
    def seen(app: Dashboard) -> None:
        lines = str(app.query_one(Tally).render()).splitlines()
        # Wilson's interval of 1 of 2, 95 %: 9 to 91.
        assert lines == [
            "scanned 2 of 3",
            "left 1",
            "in calf 1     empty 1",
            "recheck 0     twins 1",
            "50 % in calf, 9 to 91",
            "open questions 1",
        ]

    look(MORNING, seen)


def test_pace_and_the_work_since_the_last_break_are_shown() -> None:
    cows = [Event(EventKind.ACCEPTED, 10.0 * i, i, Entry(str(i), Result.EMPTY)) for i in range(1, 31)]

    def seen(app: Dashboard) -> None:
        assert text(app, "#an-hour") == "360 an hour, day 360"
        assert text(app, "#finish").splitlines() == ["to finish 30 s", "longest pause 10 s"]
        assert text(app, "#stint").splitlines() == ["without a 5 min break:", " 30 cows, 5 min"]
        assert sum(app.query_one(Sparkline).data or ()) > 0
        assert not app.query_one("#stint").has_class("due")

    look(updates(*cows), seen)


def test_a_break_is_reminded_of_after_the_time_that_was_set() -> None:
    cows = [Event(EventKind.ACCEPTED, 60.0 * i, i, Entry(str(i), Result.EMPTY)) for i in range(1, 32)]

    def seen(app: Dashboard) -> None:
        assert text(app, "#stint").splitlines() == ["a break is due:", " 31 cows, 30 min"]
        assert app.query_one("#stint").has_class("due")

    look(updates(*cows), seen)


def test_the_sound_is_told_in_words() -> None:
    def seen(app: Dashboard) -> None:
        assert text(app, "#listening") == "hearing a voice" and text(app, "#source") == "barn headset"
        assert text(app, "#trust").splitlines() == ["shed: too loud to trust", "noise -45 dB, voice +2"]
        assert text(app, "#level").startswith("overdriven")
        assert app.query_one(SoundPanel).has_class("wrong")

    look([replace(MORNING[1], snr_db=2.0, is_clipped=True)], seen)


def test_alerts_stand_until_the_entry_is_gone_and_troubles_come_first() -> None:
    first, second = MORNING[:2]
    told = [
        replace(first, alerts=("608 looks odd",)),
        replace(second, alerts=("417 looks odd",), troubles=("disk low",)),
    ]

    def both(app: Dashboard) -> None:
        assert str(app.query_one(Alerts).render()).splitlines() == ["! disk low", "! 417 looks odd  (and 1 more)"]

    look(told, both)
    gone = updates(first.decision.event, TAKEN, Event(EventKind.TAKEN_BACK, 30.0, 3, TAKEN.entry, replaces=2))[-1]  # type: ignore[union-attr]

    def one(app: Dashboard) -> None:
        assert str(app.query_one(Alerts).render()) == "! 608 looks odd"

    look([*told, gone], one)


def test_few_cows_still_to_come_are_named() -> None:
    def seen(app: Dashboard) -> None:
        assert str(app.query_one(ToCome).render()) == "still to come: 419"

    look(MORNING, seen)


def test_talk_leaves_no_line_and_what_was_typed_says_so() -> None:
    typed = Event(EventKind.ACCEPTED, 50.0, None, Entry("419", Result.EMPTY), "typed")

    def seen(app: Dashboard) -> None:
        lines = text(app, "#lines").splitlines()
        assert len(lines) == 3 and "another age" in lines[1] and lines[0].endswith("empty  typed")

    look(updates(TAKEN, CHOICE, Event(EventKind.IGNORED, 40.0, 4), typed), seen)


def test_the_last_twenty_are_kept_and_seen_on_a_large_screen() -> None:
    cows = [Event(EventKind.ACCEPTED, 10.0 * i, i, Entry(str(i), Result.EMPTY)) for i in range(1, 31)]

    def seen(app: Dashboard) -> None:
        assert len(text(app, "#lines").splitlines()) == 20
        assert app.query_one(Recent).content_size.height >= 20

    look(updates(*cows), seen, (200, 50))


@pytest.mark.parametrize(
    ("event", "sign"),
    [
        (Event(EventKind.TAKEN_BACK, 30.0, 3, Entry("417", Result.EMPTY), "taken back", replaces=2), "✗ taken back"),
        (Event(EventKind.COMMAND, 30.0, 3, Entry("419", Result.EMPTY), "neither: say the entry again"), "> command"),
    ],
)
def test_an_entry_taken_back_or_refused_is_not_shown_as_taken(event: Event, sign: str) -> None:
    def seen(app: Dashboard) -> None:
        assert sign.upper() in text(app, "#state") and sign in text(app, "#lines").splitlines()[0]
        assert app.query_one(LastEntry).has_class("undone")

    look(updates(TAKEN, event), seen)


def test_a_command_leaves_the_last_entry_standing() -> None:
    def seen(app: Dashboard) -> None:
        assert "417" in text(app, "#state") and "> command" in text(app, "#lines")

    look(updates(TAKEN, Event(EventKind.COMMAND, 30.0, 3, reason="so_far")), seen)


def test_a_bracket_in_a_reason_is_shown_as_it_is() -> None:
    odd = Entry("419", Result.EMPTY, findings=("[/left]",))
    event = Event(EventKind.QUESTION, 30.0, 1, odd, "[/why]", 0.5, (Candidate(odd, 0.5),))
    update = replace(updates(event)[0], said="[/said]", alerts=("[/alert]",), troubles=("[/trouble]",))

    def seen(app: Dashboard) -> None:
        assert "[/left]  ([/why])" in text(app, "#lines") and "[/left]" in text(app, "#answers")
        assert "[/said]" in text(app, "#said")
        assert str(app.query_one(Alerts).render()) == "! [/trouble]\n! [/alert]"

    look([update], seen)


def test_a_session_that_breaks_is_told_to_the_caller() -> None:
    def session(show: Callable[[Update], None]) -> Day:
        raise RecordError("the disk is full")

    with pytest.raises(RecordError, match="the disk is full"):
        Dashboard(session, lambda line, day: None, threading.Event(), SHED).run_day(headless=True)


def test_a_screen_that_breaks_ends_the_listening_in_order_and_is_told(capfd: pytest.CaptureFixture[str]) -> None:
    stop, kept = threading.Event(), list[bool]()

    def session(show: Callable[[Update], None]) -> Day:
        show(replace(MORNING[0], day=None))  # type: ignore[arg-type]
        stop.wait(10)
        kept.append(True)
        return MORNING[0].day

    with pytest.raises(ScreenError, match=r"day\.db: the day was cut short"):
        Dashboard(session, lambda line, day: None, stop, SHED).run_day(headless=True)
    assert kept == [True]
    assert "Traceback" not in "".join(capfd.readouterr())


def test_the_core_runs_without_the_screen() -> None:
    code = "import sys, voicecapture.session, voicecapture.hear; sys.exit('textual' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_who_stands_at_the_gate_is_shown_until_her_result() -> None:
    def read(cow: str, at_s: float) -> Event:
        return Event(EventKind.NOTE, at_s, None, Entry(cow), f"{cow} at the gate", heard=f"reader: 982000000000{cow}")

    def seen(app: Dashboard) -> None:
        assert text(app, "AtGate") == "at the gate: 419"
        assert "417" in text(app, "#state"), "a read leaves the last entry on the screen"
        assert "> at the gate   419" in text(app, "#lines")

    look(updates(read("417", 15.0), TAKEN, read("419", 25.0)), seen)
