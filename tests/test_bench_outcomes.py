"""What became of a trial."""

from dataclasses import replace

import pytest

from tests.bench_trials import EMPTY, PREGNANT, heard, recording, trial
from voicecapture.bars import DecisionSettings
from voicecapture.bench.manifest import Recording
from voicecapture.bench.outcomes import Became, Outcome, judge, number_type, result_type
from voicecapture.bench.trial import Trial
from voicecapture.herd import Animal, Herd
from voicecapture.language.phrase import Command, Entry, Result

HERD = Herd([Animal("417"), Animal("608")])
TALK = recording("shut that gate", None, "talk")


def judged(of: Trial, wrong_costs: float = 100.0) -> Outcome:
    return judge(of, HERD, DecisionSettings(wrong_costs=wrong_costs))


def test_what_was_said_and_taken_is_right() -> None:
    outcome = judged(trial(recording(), heard(PREGNANT)))
    assert (outcome.became, outcome.is_right, outcome.is_taken_wrong) == (Became.TAKEN, True, False)


def test_what_was_taken_and_not_said_is_taken_wrong() -> None:
    outcome = judged(trial(recording(), heard(replace(PREGNANT, days=66))))
    assert (outcome.became, outcome.is_right, outcome.is_taken_wrong) == (Became.TAKEN, False, True)


def test_a_question_is_right_by_what_it_asks_first() -> None:
    right = judged(trial(recording(), heard(PREGNANT, 0.9)))
    wrong = judged(trial(recording(), heard(EMPTY, 0.9)))
    assert (right.became, right.is_right) == (Became.ASKED, True)
    assert (wrong.became, wrong.is_right, wrong.is_taken_wrong) == (Became.ASKED, False, False)


def test_another_bar_decides_anew_on_what_was_heard_once() -> None:
    doubtful = trial(recording(), heard(PREGNANT, 0.97))
    assert judged(doubtful, 20).became is Became.TAKEN
    assert judged(doubtful, 100).became is Became.ASKED


def test_an_entry_that_nothing_was_heard_of_is_lost_and_not_right() -> None:
    for silent in (trial(recording()), trial(recording(), heard(None))):
        outcome = judged(silent)
        assert (outcome.became, outcome.is_right) == (Became.LOST, False)


def test_an_entry_passed_over_for_talk_is_lost_and_not_right_however_well_it_was_read() -> None:
    outcome = judged(trial(recording(), heard(PREGNANT, strangeness=30.0)))
    assert (outcome.became, outcome.is_right) == (Became.LOST, False)


def test_talk_is_right_only_if_it_is_passed_over() -> None:
    assert judged(trial(TALK, heard(None))).is_right
    asked = judged(trial(TALK, heard(PREGNANT, 0.9)))
    assert (asked.is_right, asked.is_taken_wrong, asked.entries) == (False, False, 0)
    taken = judged(trial(TALK, heard(PREGNANT)))
    assert (taken.is_right, taken.is_taken_wrong, taken.entries) == (False, True, 1)


def test_a_command_followed_because_of_talk_is_taken_wrong_and_no_entry() -> None:
    outcome = judged(trial(TALK, heard(Command.STOP)))
    assert (outcome.is_taken_wrong, outcome.entries) == (True, 0)


def test_a_command_is_right_by_its_meaning_even_if_there_is_nothing_to_take_back() -> None:
    said = recording("take that back", Command.TAKE_BACK, "command")
    assert judged(trial(said, heard(Command.TAKE_BACK))).is_right
    assert judged(trial(said, heard(Command.STOP))).is_taken_wrong


def test_a_number_and_then_its_result_are_one_entry() -> None:
    outcome = judged(trial(recording(), heard(Entry("417")), heard(Entry(None, Result.PREGNANT, 56), start_s=5.0)))
    assert (outcome.became, outcome.is_right) == (Became.TAKEN, True)


def test_of_several_entries_taken_a_wrong_one_counts() -> None:
    wrong_first = trial(recording(), heard(Entry("608", Result.EMPTY)), heard(PREGNANT, start_s=5.0))
    outcome = judged(wrong_first)
    assert (outcome.is_taken_wrong, outcome.entries) == (True, 2)


def test_an_entry_whose_finding_came_late_was_asked_about() -> None:
    lame = replace(PREGNANT, findings=("lame",))
    late = judged(trial(recording(said=lame), heard(PREGNANT), heard(Entry(findings=("lame",)), start_s=5.0)))
    assert (late.became, late.is_right) == (Became.ASKED, True)
    unheard = judged(trial(recording(said=lame), heard(PREGNANT)))
    assert (unheard.became, unheard.is_taken_wrong) == (Became.TAKEN, True)


@pytest.mark.parametrize(
    ("said", "taken"),
    [
        (recording(), replace(PREGNANT, days=66)),
        (recording(), Entry("608", Result.PREGNANT, 56)),
        (TALK, PREGNANT),
    ],
)
def test_a_wrong_entry_stands_whatever_is_asked_about_with_it(said: Recording, taken: Entry) -> None:
    outcome = judged(trial(said, heard(taken), heard(Entry(findings=("lame",)), start_s=5.0)))
    assert (outcome.became, outcome.is_taken_wrong) == (Became.TAKEN, True)


@pytest.mark.parametrize("weeks", [3, None])
def test_a_recheck_is_wrong_in_weeks_that_were_not_said(weeks: int | None) -> None:
    said = Entry("417", Result.RECHECK, recheck_weeks=2)
    words = "four one seven recheck in two weeks"
    outcome = judged(trial(recording(words, said), heard(replace(said, recheck_weeks=weeks))))
    assert outcome.is_taken_wrong


def test_a_number_alone_is_wrong_with_a_result_that_nobody_said() -> None:
    number = recording("four one seven", Entry("417"), "number")
    assert judged(trial(number, heard(Entry("417")))).is_right
    assert judged(trial(number, heard(EMPTY))).is_taken_wrong


def test_a_cow_outside_the_herd_taken_as_one_of_it_is_told_apart() -> None:
    unlisted = recording("four one six empty", Entry("416", Result.EMPTY), "unlisted")
    foreign = judged(trial(unlisted, heard(EMPTY)))
    assert (foreign.is_listed, foreign.is_foreign_taken) == (False, True)
    asked = judged(trial(unlisted, heard(Entry("416", Result.EMPTY))))
    assert (asked.became, asked.is_right, asked.is_foreign_taken) == (Became.ASKED, True, False)
    assert judged(trial(recording(), heard(PREGNANT))).is_listed


def test_nothing_is_taken_out_of_sound_that_is_not_trusted() -> None:
    clear = heard(PREGNANT)
    clipped = replace(clear, utterance=replace(clear.utterance, is_clipped=True))
    assert judged(trial(recording(), clipped)).became is Became.ASKED


@pytest.mark.parametrize(
    ("words", "entry", "number", "result"),
    [
        ("four one seven pregnant eight weeks", PREGNANT, "3 digits", "weeks"),
        ("seven pregnant fifty six days", replace(PREGNANT, cow="7"), "1 digit", "days"),
        ("four one seven eight weeks twins", replace(PREGNANT, twins=True), "3 digits", "twins"),
        ("four one seven empty", EMPTY, "3 digits", "empty"),
        ("twelve oh five in calf", Entry("1205", Result.PREGNANT), "4 digits", "pregnant"),
        ("nine crown rump thirty", Entry("9", Result.PREGNANT, crown_rump_mm=30), "1 digit", "length"),
    ],
)
def test_phrases_are_told_apart_by_their_number_and_their_result(
    words: str, entry: Entry, number: str, result: str
) -> None:
    outcome = judged(trial(recording(words, entry)))
    assert (number_type(outcome), result_type(outcome)) == (number, result)
