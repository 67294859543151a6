"""Plain lines: one for each decision, and none for sound that only moved on."""

from dataclasses import replace

import pytest

from voicecapture.day import Day, Event, EventKind
from voicecapture.decision import Decision, Outcome
from voicecapture.herd import Herd
from voicecapture.language.phrase import Entry, Result
from voicecapture.plain import log_line
from voicecapture.update import Update

ENTRY = Entry("417", Result.PREGNANT, 56)
TAKEN = Event(EventKind.ACCEPTED, 65.4, 1, ENTRY, "clearly heard", heard="four one seven pregnant fifty six days")


def line(outcome: Outcome, event: Event, said: str = "", day: Day | None = None) -> str:
    after = (day or Day(Herd())).after(event)
    shown = log_line(Update(after, Decision(outcome, event), event.at_s, -20.0, -45.0, False, said))
    assert shown is not None and "\n" not in shown
    return shown


def test_an_entry_is_told_with_time_count_words_and_read_back() -> None:
    shown = line(Outcome.ACCEPTED, TAKEN, "four one seven, in calf")
    assert shown.split()[:6] == ["1:05", "taken", "1", "scanned", "0", "open"]
    assert shown.endswith("four one seven pregnant fifty six days  -> four one seven, in calf")


def test_a_question_counts_as_open_and_not_as_scanned() -> None:
    shown = line(Outcome.QUESTION, Event(EventKind.QUESTION, 3661.0, 1, ENTRY, "not clearly heard"), "again?")
    assert shown.split()[:6] == ["61:01", "asked", "0", "scanned", "1", "open"]


def test_what_is_not_answered_aloud_is_told_with_its_reason() -> None:
    shown = line(Outcome.IGNORED, Event(EventKind.IGNORED, 5.0, 1, reason="not an entry: talk or noise"))
    assert "ignored" in shown and shown.endswith("(not an entry: talk or noise)")


@pytest.mark.parametrize(
    "event",
    [
        Event(EventKind.TAKEN_BACK, 70.0, 2, ENTRY, "taken back", replaces=1),
        Event(EventKind.COMMAND, 70.0, 2, ENTRY, "neither: say the entry again"),
    ],
)
def test_an_entry_taken_back_or_refused_is_not_called_taken(event: Event) -> None:
    shown = line(Outcome.ACCEPTED, event, "said", Day(Herd()).after(TAKEN))
    assert shown.split()[1] in ("undone", "command")


@pytest.mark.parametrize("kind", [kind for kind in EventKind if kind is not EventKind.ACCEPTED])
def test_every_kind_of_event_has_a_line(kind: EventKind) -> None:
    assert line(Outcome.ACCEPTED, Event(kind, 1.0, 1, reason="why")).endswith("(why)")


def test_sound_alone_gives_no_line() -> None:
    assert log_line(Update(Day(Herd()), None, 1.0, -20.0, -45.0, True, "")) is None


def test_what_needs_a_look_stands_at_the_end_of_the_line() -> None:
    update = Update(Day(Herd()).after(TAKEN), Decision(Outcome.ACCEPTED, TAKEN), 65.4, -20.0, -45.0, False, "said")
    shown = log_line(replace(update, alerts=("417 not in the herd list",), troubles=("disk low: 312 MB free",)))
    assert shown is not None and shown.endswith("-> said  ! 417 not in the herd list  ! disk low: 312 MB free")


def test_a_cow_that_was_read_is_told_with_her_number() -> None:
    read = Event(EventKind.NOTE, 65.0, None, Entry("417"), "417 at the gate", heard="reader: 982000000000417")
    assert line(Outcome.ACCEPTED, read).split()[1] == "read"
    assert line(Outcome.ACCEPTED, read).endswith("reader: 982000000000417  (417 at the gate)")
