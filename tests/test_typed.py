"""Typed lines: the same checks as speech, and nothing taken for what somebody else was doing."""

import pytest

from voicecapture.bars import DecisionSettings
from voicecapture.day import Candidate, Day, Event, EventKind
from voicecapture.decision import Decision, Outcome
from voicecapture.herd import Animal, Herd
from voicecapture.language.grammar_file import load_grammar
from voicecapture.language.phrase import Entry, Result
from voicecapture.typed import CHANGED, NOT_UNDERSTOOD, decide_typed

GRAMMAR = load_grammar()
HERD = Herd(Animal(cow) for cow in ("25", "205", "415", "417", "419", "1205"))
EMPTY_DAY = Day(HERD)
TAKEN = Event(EventKind.ACCEPTED, 10.0, 1, Entry("415", Result.EMPTY), "clearly heard")
FIFTEEN, FIFTY = Entry("419", Result.PREGNANT, 45), Entry("419", Result.PREGNANT, 50)
QUESTION = Event(
    EventKind.QUESTION,
    20.0,
    2,
    FIFTEEN,
    "it may have been another age",
    0.6,
    (Candidate(FIFTEEN, 0.6), Candidate(FIFTY, 0.4)),
)


def typed(line: str, day: Day = EMPTY_DAY, seen: Day | None = None, at_s: float = 5000.0) -> Decision:
    return decide_typed(line, seen or day, day, at_s, GRAMMAR, DecisionSettings())


@pytest.mark.parametrize(
    ("line", "entry"),
    [
        ("417 pregnant 58 days", Entry("417", Result.PREGNANT, 58)),
        ("417 58 days", Entry("417", Result.PREGNANT, 58)),
        ("Four one seven, empty.", Entry("417", Result.EMPTY)),
        ("1205 in calf 8 weeks twins", Entry("1205", Result.PREGNANT, 56, True)),
        ("417 recheck in 3 weeks", Entry("417", Result.RECHECK, recheck_weeks=3)),
    ],
)
def test_what_is_typed_as_it_is_said_is_taken_and_recorded_as_typed(line: str, entry: Entry) -> None:
    decision = typed(line)
    event = decision.event
    assert decision.outcome is Outcome.ACCEPTED and event.entry == entry
    assert (event.reason, event.utterance, event.heard) == ("typed", None, f"typed: {line}")


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("772 empty", "772 is not in the herd list"),
        ("415 empty", "415 has been scanned already"),
        ("417 pregnant 15 days", "15 days is not an age that a scan finds"),
        ("417 pregnant 58", "the age was said without days or weeks"),
        ("417 yes", "yes or no as a result"),
        ("417", "417 without a result"),
        ("20 5 empty", "it may have been another number"),
    ],
)
def test_what_speech_is_asked_about_is_asked_about(line: str, reason: str) -> None:
    decision = typed(line, EMPTY_DAY.after(TAKEN))
    assert decision.outcome is Outcome.QUESTION and decision.event.reason == reason


def test_what_cannot_be_said_changes_nothing_and_is_told() -> None:
    decision = typed("417 enpty")
    assert decision.outcome is Outcome.IGNORED and decision.event.reason == NOT_UNDERSTOOD


@pytest.mark.parametrize(("answer", "entry"), [("first", FIFTEEN), ("second", FIFTY)])
def test_the_question_on_the_screen_is_answered_however_long_ago_it_was_asked(answer: str, entry: Entry) -> None:
    day = EMPTY_DAY.after(QUESTION)
    after = day.after(typed(answer, day).event)
    assert after.results["419"][1].entry == entry and not after.questions
    assert after.results["419"][1].reason == f"typed, answered: {answer}"


@pytest.mark.parametrize("line", ["first", "pregnant 58 days", "correction recheck", "take that back"])
def test_what_leans_on_what_is_no_longer_on_the_screen_is_not_taken(line: str) -> None:
    seen = EMPTY_DAY.after(TAKEN)
    decision = typed(line, seen.after(QUESTION), seen)
    assert decision.outcome is Outcome.IGNORED and decision.event.reason == CHANGED
    assert decision.event.entry is None and decision.event.replaces is None and decision.event.answers is None


def test_a_whole_entry_is_taken_whatever_happened_meanwhile() -> None:
    decision = typed("417 empty", EMPTY_DAY.after(TAKEN), EMPTY_DAY)
    assert decision.outcome is Outcome.ACCEPTED and decision.event.replaces is None


def test_a_correction_that_the_vet_has_begun_is_not_finished_by_another_cow_typed() -> None:
    day = EMPTY_DAY.after(TAKEN, Event(EventKind.COMMAND, 12.0, 2, reason="correct"))
    after = day.after(typed("417 empty", day).event)
    assert set(after.results) == {"415", "417"}


def test_talk_meanwhile_does_not_hinder_a_correction() -> None:
    seen = EMPTY_DAY.after(TAKEN)
    day = seen.after(Event(EventKind.IGNORED, 15.0, 2))
    after = day.after(typed("correction recheck", day, seen).event)
    assert after.results["415"][1].entry == Entry("415", Result.RECHECK)


def test_typing_works_while_listening_is_stopped() -> None:
    day = EMPTY_DAY.after(Event(EventKind.COMMAND, 1.0, 1, reason="stop"))
    decision = typed("417 empty", day)
    assert decision.outcome is Outcome.ACCEPTED and day.after(decision.event).is_stopped
