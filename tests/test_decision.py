"""Take it, ask, or let it pass."""

from functools import cache

import pytest

from voicecapture.bars import BROKEN, OVER_READ_BACK, DecisionSettings
from voicecapture.day import Day, EventKind, ScanKind
from voicecapture.decision import Decision, Outcome, decide
from voicecapture.herd import Animal, Herd
from voicecapture.language.grammar_file import load_grammar
from voicecapture.language.phrase import Command, Entry, Phrase, Result, interpret
from voicecapture.readback import sentence, tone
from voicecapture.recogniser import Certainty, Hearing, Reading, certainty_of
from voicecapture.speaker import Tone

GRAMMAR = load_grammar()
HERD = Herd(Animal(cow) for cow in ("4", "13", "30", "415", "417", "419", "608", "609", "1205"))
SETTINGS = DecisionSettings()


@cache
def phrase(words: str) -> Phrase:
    (meaning,) = {interpret(tokens) for tokens in GRAMMAR.meanings(words.split())}
    return meaning


def hearing(
    *said: tuple[str, float], strangeness: float = 0.0, chances: tuple[float, float, float] | None = None
) -> Hearing:
    """Readings with their probabilities; the chances of number, result and age are by these unless given."""
    readings = tuple(Reading(phrase(words), words, probability) for words, probability in said)
    certainty = Certainty(*chances, phrase=said[0][1]) if chances else certainty_of(readings)
    return Hearing(readings, said[0][0] if said else "", strangeness, certainty)


class Morning:
    """Speaks to one day, a few seconds between utterances."""

    def __init__(self, day: Day, settings: DecisionSettings = SETTINGS) -> None:
        self.day, self.settings, self.now_s, self.count = day, settings, 0.0, 0

    def hears(self, heard: Hearing, after_s: float = 3.0, distrusted: str = "") -> Decision:
        start_s = self.now_s + after_s
        self.now_s, self.count = start_s + 2.0, self.count + 1
        decision = decide(heard, self.day, self.count, start_s, self.now_s, self.settings, distrusted)
        self.day = self.day.after(decision.event)
        return decision

    def says(self, words: str, probability: float = 0.999, after_s: float = 3.0) -> Decision:
        return self.hears(hearing((words, probability)), after_s)


@pytest.fixture
def morning() -> Morning:
    return Morning(Day(HERD))


def test_a_clear_entry_of_a_herd_cow_is_taken(morning: Morning) -> None:
    decision = morning.says("four one seven pregnant fifty six days")
    assert decision.outcome is Outcome.ACCEPTED
    assert morning.day.results["417"][1].entry == Entry("417", Result.PREGNANT, 56)
    assert sentence(decision, morning.day) == "four one seven, in calf fifty six days, five six"


def test_two_close_numbers_ask_which(morning: Morning) -> None:
    decision = morning.hears(hearing(("four one five empty", 0.6), ("four one nine empty", 0.399)))
    assert decision.outcome is Outcome.QUESTION
    assert sentence(decision, morning.day) == "four one five, or four one nine?"
    assert not morning.day.results


def test_the_answer_second_takes_the_second(morning: Morning) -> None:
    morning.hears(hearing(("four one five empty", 0.6), ("four one nine empty", 0.399)))
    assert morning.says("second").outcome is Outcome.ACCEPTED
    assert morning.day.scanned == {"419"} and not morning.day.questions


def test_saying_the_number_again_settles_a_question(morning: Morning) -> None:
    morning.hears(hearing(("four one five empty", 0.6), ("four one nine empty", 0.399)))
    assert morning.says("four one nine").outcome is Outcome.ACCEPTED
    assert morning.day.results["419"][1].entry == Entry("419", Result.EMPTY)
    assert not morning.day.questions


def test_a_question_never_answered_stays_open(morning: Morning) -> None:
    morning.hears(hearing(("four one five empty", 0.6), ("four one nine empty", 0.399)))
    morning.says("six oh eight pregnant fifty days", after_s=30)
    assert len(morning.day.questions) == 1 and morning.day.scanned == {"608"}


def test_neither_keeps_the_question_open(morning: Morning) -> None:
    morning.hears(hearing(("four one five empty", 0.6), ("four one nine empty", 0.399)))
    morning.says("neither")
    assert not morning.day.results and len(morning.day.questions) == 1


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        ("four one eight empty", "not in the herd list"),
        ("four one seven pregnant nine days", "not an age"),
        ("four one seven two hundred and sixty days", "not an age"),
        ("four one seven pregnant fifty six", "without days or weeks"),
        # Somnuk et al. 2017: the formula holds from 4 to 55 mm.
        ("four one seven crown rump fifty six millimetres", "tells no age"),
        ("four one seven yes", "yes or no"),
        ("four one seven", "without a result"),
        ("pregnant fifty six days", "without a cow number"),
    ],
)
def test_what_is_odd_is_asked_however_clearly_it_was_heard(morning: Morning, words: str, reason: str) -> None:
    decision = morning.says(words, probability=1.0)
    assert decision.outcome is Outcome.QUESTION
    assert reason in decision.reason


def test_yes_is_a_result_in_a_yes_no_scan() -> None:
    morning = Morning(Day(HERD, ScanKind.YES_NO))
    assert morning.says("four one seven yes").outcome is Outcome.ACCEPTED


def test_a_cow_scanned_already_is_asked_even_with_the_same_result(morning: Morning) -> None:
    morning.says("four one seven empty")
    decision = morning.says("four one seven empty")
    assert decision.outcome is Outcome.QUESTION and "already" in decision.reason
    assert morning.says("yes").event.replaces == 1


def test_a_number_and_then_its_result_are_one_entry(morning: Morning) -> None:
    assert morning.says("four one seven").outcome is Outcome.QUESTION
    assert morning.says("pregnant fifty six days", after_s=4).outcome is Outcome.ACCEPTED
    assert morning.day.results["417"][1].entry == Entry("417", Result.PREGNANT, 56)
    assert not morning.day.questions


def test_a_result_long_after_a_number_is_not_joined_to_it(morning: Morning) -> None:
    morning.says("four one seven")
    assert morning.says("pregnant fifty six days", after_s=9).outcome is Outcome.QUESTION
    assert not morning.day.results and len(morning.day.questions) == 2


def test_talk_between_a_number_and_a_result_parts_them(morning: Morning) -> None:
    """The talk may have been the next cow's number, not understood."""
    morning.says("four one seven")
    morning.hears(Hearing((), "", 99.0), after_s=0.5)
    assert morning.says("pregnant fifty six days", after_s=0.5).outcome is Outcome.QUESTION
    assert not morning.day.results


def test_correction_replaces_the_last_entry(morning: Morning) -> None:
    morning.says("four one seven pregnant fifty six days")
    morning.says("correction pregnant sixty two days")
    assert morning.day.results["417"][1].entry == Entry("417", Result.PREGNANT, 62)
    morning.says("correction four one nine")
    assert morning.day.scanned == {"419"}
    assert morning.day.results["419"][1].entry == Entry("419", Result.PREGNANT, 62)


def test_correction_alone_makes_the_next_entry_replace_the_last(morning: Morning) -> None:
    morning.says("four one seven empty")
    morning.says("correction")
    morning.says("four one nine empty")
    assert morning.day.scanned == {"419"}


def test_take_that_back_removes_the_last_entry_once(morning: Morning) -> None:
    morning.says("six oh eight empty")
    morning.says("four one seven empty")
    assert morning.says("take that back").command is Command.TAKE_BACK
    assert morning.day.scanned == {"608"}
    assert morning.says("take that back").outcome is Outcome.IGNORED
    assert morning.day.scanned == {"608"}


def test_talk_is_ignored_in_silence(morning: Morning) -> None:
    decision = morning.hears(hearing(("four one seven empty", 0.9), strangeness=60.0))
    assert decision.outcome is Outcome.IGNORED and sentence(decision, morning.day) == ""


def test_half_an_entry_that_sounds_like_talk_is_not_passed_over_in_silence(morning: Morning) -> None:
    for spoilt in (BROKEN, OVER_READ_BACK):
        decision = morning.hears(hearing(("four one seven empty", 0.9), strangeness=60.0), distrusted=spoilt)
        assert decision.outcome is Outcome.IGNORED and tone(decision) is Tone.NOT_HEARD
        assert sentence(decision, morning.day) == "", "talk broken off again and again would be answered every time"


def test_what_fits_badly_is_asked(morning: Morning) -> None:
    decision = morning.hears(hearing(("four one seven empty", 1.0), strangeness=15.0))
    assert decision.outcome is Outcome.QUESTION


def test_an_answer_without_a_question_is_ignored(morning: Morning) -> None:
    assert morning.says("yes").outcome is Outcome.IGNORED


def test_an_entry_while_stopped_is_kept_as_a_question(morning: Morning) -> None:
    morning.says("stop listening")
    assert morning.says("four one seven empty").outcome is Outcome.QUESTION
    assert morning.says("yes").outcome is Outcome.IGNORED
    morning.says("go on")
    assert morning.says("six oh eight empty").outcome is Outcome.ACCEPTED


def test_after_note_talk_is_kept_and_an_entry_is_still_an_entry(morning: Morning) -> None:
    morning.says("make a note")
    assert morning.hears(Hearing((), "", 99.0)).event.kind is EventKind.NOTE
    morning.says("note")
    assert morning.says("four one seven empty").event.kind is EventKind.ACCEPTED


def test_counts_follow_the_events(morning: Morning) -> None:
    for words in ("four one seven pregnant fifty six days twins", "six oh eight empty", "six oh nine recheck"):
        morning.says(words)
    counts = morning.day.counts
    assert (counts.scanned, counts.left) == (3, len(HERD) - 3)
    assert (counts.in_calf, counts.empty, counts.recheck, counts.twins) == (1, 1, 1, 1)


def test_a_correction_after_a_question_never_touches_the_entry_before_it(morning: Morning) -> None:
    morning.says("six oh eight pregnant eighty days")
    morning.hears(hearing(("four one five empty", 0.6), ("four one nine empty", 0.399)))
    decision = morning.says("correction pregnant fifty days")
    assert decision.outcome is Outcome.QUESTION
    assert [c.entry.cow for c in decision.event.candidates] == ["415", "419"]
    assert morning.day.results["608"][1].entry == Entry("608", Result.PREGNANT, 80)
    assert morning.says("second").outcome is Outcome.ACCEPTED
    assert morning.day.results["419"][1].entry == Entry("419", Result.PREGNANT, 50)


def test_take_that_back_after_a_question_takes_back_what_was_asked(morning: Morning) -> None:
    morning.says("six oh eight pregnant eighty days")
    morning.hears(hearing(("four one five empty", 0.6), ("four one nine empty", 0.399)))
    morning.says("take that back")
    assert morning.day.scanned == {"608"} and not morning.day.questions
    morning.says("take that back")
    assert not morning.day.scanned


def test_tones_tell_taken_asked_and_not_heard_and_talk_has_none(morning: Morning) -> None:
    assert tone(morning.says("four one seven empty")) is Tone.SAVED
    assert tone(morning.says("four one seven empty")) is Tone.QUESTION
    assert tone(Morning(Day(HERD)).says("yes")) is Tone.NOT_HEARD
    assert tone(morning.hears(Hearing((), "", 99.0))) is None


def test_yes_never_chooses_between_two(morning: Morning) -> None:
    morning.hears(hearing(("four one five empty", 0.6), ("four one nine empty", 0.399)))
    assert morning.says("yes").outcome is Outcome.IGNORED
    assert not morning.day.results and len(morning.day.questions) == 1
    assert morning.says("first").outcome is Outcome.ACCEPTED
    assert morning.day.scanned == {"415"}


def test_second_never_chooses_what_was_not_offered(morning: Morning) -> None:
    morning.hears(hearing(("four one eight empty", 0.9), ("four one nine empty", 0.09)))
    morning.says("second")
    assert not morning.day.results and len(morning.day.questions) == 1


def test_a_result_does_not_settle_which_cow(morning: Morning) -> None:
    """It may be the next cow's."""
    morning.hears(hearing(("four one five empty", 0.6), ("four one nine empty", 0.399)))
    assert morning.says("pregnant fifty days").outcome is Outcome.QUESTION
    assert not morning.day.results


def test_a_number_does_not_settle_which_age(morning: Morning) -> None:
    morning.hears(hearing(("four one five thirty days", 0.6), ("four one five ninety days", 0.399)))
    assert morning.says("four one five").outcome is Outcome.QUESTION
    assert not morning.day.results


def test_an_age_said_again_settles_the_age(morning: Morning) -> None:
    morning.hears(hearing(("four one five pregnant thirty days", 0.6), ("four one five pregnant ninety days", 0.399)))
    assert morning.says("pregnant ninety days").outcome is Outcome.ACCEPTED
    assert morning.day.results["415"][1].entry == Entry("415", Result.PREGNANT, 90)


@pytest.mark.parametrize(("probability", "strangeness"), [(0.6, 0.0), (0.999, 15.0)])
def test_a_number_not_clearly_heard_is_not_joined_to_a_result(
    morning: Morning, probability: float, strangeness: float
) -> None:
    morning.hears(hearing(("four one seven", probability), strangeness=strangeness))
    assert morning.says("pregnant fifty six days").outcome is Outcome.QUESTION
    assert not morning.day.results


def test_a_scanned_cow_named_alone_is_not_overwritten_by_the_next_result(morning: Morning) -> None:
    morning.says("four one seven pregnant fifty six days")
    morning.says("four one seven")
    assert morning.says("empty").outcome is Outcome.QUESTION
    assert morning.day.results["417"][1].entry == Entry("417", Result.PREGNANT, 56)


@pytest.mark.parametrize("alone", [False, True])
def test_a_correction_that_had_to_be_asked_replaces_the_wrong_entry_once_answered(
    morning: Morning, alone: bool
) -> None:
    morning.says("four one seven empty")
    if alone:
        morning.says("correction")
    words = "four one nine empty" if alone else "correction four one nine"
    assert morning.hears(hearing((words, 0.9))).outcome is Outcome.QUESTION
    assert morning.day.scanned == {"417"}
    assert morning.says("yes").outcome is Outcome.ACCEPTED
    assert morning.day.scanned == {"419"}


def test_an_answer_not_clearly_heard_leaves_the_question_to_be_answered(morning: Morning) -> None:
    morning.hears(hearing(("four one five empty", 0.6), ("four one nine empty", 0.399)))
    assert morning.says("second", probability=0.5).outcome is Outcome.IGNORED
    assert morning.says("second").outcome is Outcome.ACCEPTED
    assert morning.day.scanned == {"419"}


TWINS = Entry("417", Result.PREGNANT, 56, twins=True)


@pytest.fixture
def taken(morning: Morning) -> Morning:
    assert morning.says("four one seven pregnant fifty six days").outcome is Outcome.ACCEPTED
    return morning


def test_twins_said_after_the_entry_are_asked_about_and_added_by_yes(taken: Morning) -> None:
    decision = taken.says("twins", after_s=0.4)
    assert decision.outcome is Outcome.QUESTION
    assert sentence(decision, taken.day) == "four one seven: in calf fifty six days, five six, twins?"
    assert taken.day.results["417"][1].entry == Entry("417", Result.PREGNANT, 56)
    taken.says("yes")
    assert taken.day.results["417"][1].entry == TWINS and not taken.day.questions
    assert taken.day.counts.scanned == 1


def test_a_finding_said_after_the_entry_is_asked_about_and_talk_between_changes_nothing(taken: Morning) -> None:
    taken.hears(hearing(strangeness=60.0), after_s=0.4)
    assert taken.hears(hearing(("lame", 0.999)), after_s=0.4).outcome is Outcome.QUESTION
    taken.says("yes")
    assert taken.day.results["417"][1].entry == Entry("417", Result.PREGNANT, 56, findings=("lame",))


def test_twins_said_after_the_entry_stay_an_open_question_when_the_next_cow_follows(taken: Morning) -> None:
    taken.says("twins", after_s=0.4)
    assert taken.says("six oh eight empty").outcome is Outcome.ACCEPTED
    (question,) = taken.day.questions.values()
    assert question.candidates[0].entry == TWINS
    assert taken.day.results["417"][1].entry == Entry("417", Result.PREGNANT, 56)
    assert not taken.day.results["608"][1].entry.twins  # type: ignore[union-attr]


def test_a_second_word_after_the_entry_asks_about_both(taken: Morning) -> None:
    taken.says("twins", after_s=0.4)
    assert taken.says("lame", after_s=0.4).outcome is Outcome.QUESTION
    taken.says("yes")
    assert taken.day.results["417"][1].entry == Entry("417", Result.PREGNANT, 56, twins=True, findings=("lame",))


def test_twins_said_again_because_they_were_heard_as_a_number_are_asked_about_with_the_entry(taken: Morning) -> None:
    taken.says("four", after_s=0.4)
    decision = taken.says("twins", after_s=1.0)
    assert decision.outcome is Outcome.QUESTION
    assert sentence(decision, taken.day) == "four one seven: in calf fifty six days, five six, twins?"
    taken.says("yes")
    assert taken.day.results["417"][1].entry == TWINS and taken.day.scanned == {"417"}
    # The number is still to be looked at.
    assert [question.entry for question in taken.day.questions.values()] == [Entry("4")]


def test_twins_of_the_next_cow_said_after_her_number_are_hers_once_she_is_named(taken: Morning) -> None:
    for words in ("four", "twins", "neither", "four twins"):
        taken.says(words, after_s=1.0)
    assert taken.day.results["417"][1].entry == Entry("417", Result.PREGNANT, 56)
    assert taken.day.results["4"][1].entry == Entry("4", Result.PREGNANT, twins=True)


@pytest.mark.parametrize(("before", "words"), [("twins", "twins"), ("", "early"), ("", "pregnant lame")])
def test_what_can_only_be_the_next_cows_is_hers(morning: Morning, before: str, words: str) -> None:
    morning.says(f"four one seven pregnant fifty six days {before}".strip())
    morning.says("four", after_s=0.4)
    assert morning.says(words, after_s=1.0).outcome is Outcome.ACCEPTED
    assert morning.day.scanned == {"417", "4"}


def test_twins_after_the_next_cows_number_are_hers_when_the_last_cow_is_long_gone(taken: Morning) -> None:
    taken.says("four", after_s=7.0)
    assert taken.says("twins", after_s=1.0).outcome is Outcome.ACCEPTED
    assert taken.day.results["4"][1].entry == Entry("4", Result.PREGNANT, twins=True)


@pytest.mark.parametrize(
    ("words", "after_s"),
    [("twins", 9.0), ("empty", 0.4), ("pregnant sixty days", 0.4), ("recheck", 0.4)],
)
def test_what_does_not_belong_to_the_entry_is_asked_about_without_a_cow(
    taken: Morning, words: str, after_s: float
) -> None:
    decision = taken.says(words, after_s=after_s)
    assert (decision.outcome, decision.reason) == (Outcome.QUESTION, "a result without a cow number")


def test_twins_said_to_a_question_about_an_age_leave_the_ages_and_the_question(morning: Morning) -> None:
    morning.hears(hearing(("four one nine pregnant forty days", 0.6), ("four one nine pregnant fourteen days", 0.39)))
    decision = morning.says("twins", after_s=0.4)
    assert decision.outcome is Outcome.QUESTION and not morning.day.results
    assert [c.entry for c in decision.event.candidates] == [
        Entry("419", Result.PREGNANT, days, twins=True) for days in (40, 14)
    ]


def test_sorry_after_the_entry_asks_whether_it_is_put_right(taken: Morning) -> None:
    decision = taken.says("sorry fifty eight days", after_s=0.4)
    assert decision.outcome is Outcome.QUESTION
    asked = "instead of the last result. four one seven, in calf fifty eight days, five eight?"
    assert sentence(decision, taken.day) == asked
    assert taken.day.results["417"][1].entry == Entry("417", Result.PREGNANT, 56)
    taken.says("yes")
    assert taken.day.results["417"][1].entry == Entry("417", Result.PREGNANT, 58) and not taken.day.questions


# ---- the next cow, and what is still open of the one before -----------------------------------------------


def test_the_next_cows_number_never_settles_a_question_about_another_cow(morning: Morning) -> None:
    morning.hears(hearing(("four one five empty", 0.6), ("four one nine empty", 0.399)))
    assert morning.says("six oh eight").reason == "608 without a result"
    assert morning.says("pregnant sixty days").event.entry == Entry("608", Result.PREGNANT, 60)
    assert morning.day.scanned == {"608"}
    (left,) = morning.day.questions.values()
    assert {candidate.entry.cow for candidate in left.candidates} == {"415", "419"}


def test_the_next_cow_with_a_result_of_her_own_settles_no_question_that_offered_her(morning: Morning) -> None:
    morning.hears(hearing(("four one five empty", 0.6), ("four one nine empty", 0.399)))
    assert morning.says("four one nine pregnant fifty days").outcome is Outcome.ACCEPTED
    assert morning.day.scanned == {"419"} and len(morning.day.questions) == 1


def test_what_completes_both_that_were_offered_alike_is_asked_about_once(morning: Morning) -> None:
    morning.hears(hearing(("six oh eight thirty days", 0.6), ("six oh eight ninety days", 0.399)))
    asked = morning.says("correction pregnant sixty days")
    assert sentence(asked, morning.day) == (
        "a correction of what was asked. six zero eight, in calf sixty days, six zero?"
    )
    assert morning.says("yes").event.entry == Entry("608", Result.PREGNANT, 60)


@pytest.mark.parametrize("asked", ["twins", "sorry fifty eight days"])
def test_the_next_cows_number_never_takes_the_place_of_an_entry_that_is_asked_about(
    taken: Morning, asked: str
) -> None:
    held = taken.day.results["417"][1].entry
    assert taken.says(asked, after_s=0.4).outcome is Outcome.QUESTION
    taken.says("six oh eight", after_s=8)
    taken.says("empty")
    assert taken.day.scanned == {"417", "608"}
    assert taken.day.results["417"][1].entry == held and len(taken.day.questions) == 1


def test_a_number_a_finding_and_then_the_result_are_one_entry(morning: Morning) -> None:
    for words in ("four one seven", "lame", "pregnant fifty six days"):
        decision = morning.says(words, after_s=1)
    assert decision.event.entry == Entry("417", Result.PREGNANT, 56, findings=("lame",))
    assert not morning.day.questions


# ---- corrections -------------------------------------------------------------------------------------------


def test_a_correction_that_names_another_cow_says_whose_result_is_gone(morning: Morning) -> None:
    morning.says("four one seven pregnant fifty six days")
    decision = morning.says("correction four one nine")
    assert (
        sentence(decision, morning.day)
        == "four one nine, in calf fifty six days, five six, instead of four one seven"
    )
    back = morning.says("take that back")
    assert sentence(back, morning.day) == "four one nine taken back. No result for four one seven"


def test_a_correction_within_the_cow_is_read_back_as_ever(morning: Morning) -> None:
    morning.says("four one seven pregnant fifty six days")
    decision = morning.says("correction pregnant sixty days")
    assert sentence(decision, morning.day) == "four one seven, in calf sixty days, six zero"
    assert sentence(morning.says("take that back"), morning.day) == "four one seven taken back"


@pytest.mark.parametrize("ended_by", ["take that back", "neither"])
def test_a_correction_ends_with_what_it_was_about(morning: Morning, ended_by: str) -> None:
    morning.says("four one seven pregnant fifty six days")
    morning.hears(hearing(("six oh eight empty", 0.6), ("six oh nine empty", 0.399)))
    morning.says("correction")
    morning.says(ended_by)
    morning.says("six oh eight empty")
    assert morning.day.scanned == {"417", "608"}


def test_a_correction_said_long_before_replaces_nothing(morning: Morning) -> None:
    morning.says("four one seven pregnant fifty six days")
    morning.says("correction")
    asked = morning.says("six oh eight empty", after_s=600)
    assert asked.outcome is Outcome.QUESTION and asked.event.replaces is None
    assert morning.says("yes").outcome is Outcome.ACCEPTED
    assert morning.day.scanned == {"417", "608"}


def test_a_correction_that_had_to_be_asked_ends_there(morning: Morning) -> None:
    morning.says("four one seven empty")
    morning.says("correction")
    assert morning.says("four one nine empty", probability=0.9).outcome is Outcome.QUESTION
    morning.says("six oh eight pregnant sixty days")
    assert morning.day.scanned == {"417", "608"} and len(morning.day.questions) == 1


@pytest.mark.parametrize(
    ("said", "correction", "corrected"),
    [
        ("pregnant fifty six days twins lame", "sixty days", Entry("417", Result.PREGNANT, 60, True, ("lame",))),
        ("pregnant fifty six days twins", "pregnant sixty days", Entry("417", Result.PREGNANT, 60, True)),
        ("pregnant fifty six days twins", "empty", Entry("417", Result.EMPTY)),
        ("empty lame", "pregnant sixty days", Entry("417", Result.PREGNANT, 60, findings=("lame",))),
        ("pregnant fifty six days twins lame", "four one seven empty", Entry("417", Result.EMPTY)),
    ],
)
def test_a_corrected_age_or_result_leaves_what_was_found_besides(
    morning: Morning, said: str, correction: str, corrected: Entry
) -> None:
    morning.says(f"four one seven {said}")
    assert morning.says(f"correction {correction}").outcome is Outcome.ACCEPTED
    assert morning.day.results["417"][1].entry == corrected


@pytest.mark.parametrize(
    ("said", "correction", "asked"),
    [
        ("pregnant twins", "pregnant", "in calf, or in calf, twins?"),
        ("empty lame", "empty", "empty, or empty, lame?"),
    ],
)
def test_a_correction_that_may_be_to_be_rid_of_what_was_found_besides_asks(
    morning: Morning, said: str, correction: str, asked: str
) -> None:
    morning.says(f"four one seven {said}")
    decision = morning.says(f"correction {correction}")
    assert sentence(decision, morning.day) == f"four one seven: {asked}"
    first, second = (candidate.entry for candidate in decision.event.candidates)
    assert (first.twins, first.findings) == (False, ()) and (second.twins or second.findings)
    morning.says("first")
    assert morning.day.results["417"][1].entry == first and not morning.day.questions


def test_an_answer_that_says_no_twins_where_they_were_in_question_settles_it(morning: Morning) -> None:
    said = "four one seven pregnant fifty six days"
    morning.hears(hearing((f"{said} twins", 0.6), (said, 0.39)))
    assert morning.says("pregnant fifty six days").outcome is Outcome.ACCEPTED
    assert morning.day.results["417"][1].entry == Entry("417", Result.PREGNANT, 56)


def test_the_answer_to_an_age_leaves_what_was_found_besides(morning: Morning) -> None:
    ages = "four one nine pregnant forty days twins lame", "four one nine pregnant fourteen days twins lame"
    morning.hears(hearing((ages[0], 0.6), (ages[1], 0.39)))
    assert morning.says("forty days").outcome is Outcome.ACCEPTED
    assert morning.day.results["419"][1].entry == Entry("419", Result.PREGNANT, 40, twins=True, findings=("lame",))


def test_correcting_to_twins_keeps_the_age(morning: Morning) -> None:
    morning.says("four one seven pregnant fifty six days")
    morning.says("correction twins")
    assert morning.day.results["417"][1].entry == Entry("417", Result.PREGNANT, 56, twins=True)


# ---- "take that back" --------------------------------------------------------------------------------------


@pytest.mark.parametrize(("probability", "distrusted"), [(0.7, ""), (0.999, OVER_READ_BACK)])
def test_take_that_back_said_again_because_it_was_not_heard_takes_back_the_entry(
    morning: Morning, probability: float, distrusted: str
) -> None:
    morning.says("four one seven empty")
    vain = morning.hears(hearing(("take that back", probability)), distrusted=distrusted)
    assert (sentence(vain, morning.day), tone(vain)) == ("say it again", Tone.NOT_HEARD)
    assert sentence(morning.says("take that back"), morning.day) == "four one seven taken back"
    assert not morning.day.scanned


def test_taking_back_a_question_says_what_stands(taken: Morning) -> None:
    taken.says("twins", after_s=0.4)
    back = taken.says("take that back")
    assert sentence(back, taken.day) == (
        "the question is taken back. Still four one seven, in calf fifty six days, five six"
    )
    assert taken.day.scanned == {"417"} and not taken.day.questions


def test_taking_back_words_without_a_cow_names_none(morning: Morning) -> None:
    morning.says("pregnant fifty six days")
    assert sentence(morning.says("take that back"), morning.day) == "the question is taken back"


def test_a_question_of_long_ago_is_not_what_is_taken_back(morning: Morning) -> None:
    morning.says("six oh eight empty")
    morning.says("four one seven")
    morning.says("take that back", after_s=60)
    assert not morning.day.scanned and len(morning.day.questions) == 1
