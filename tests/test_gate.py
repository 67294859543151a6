"""Whose a result without a number is: the rules of `gate.py`, and whole days of a herd that walks past a reader."""

import random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.test_decision import GRAMMAR, Morning, hearing
from voicecapture.bars import DecisionSettings
from voicecapture.day import Day, Event, EventKind
from voicecapture.decision import Decision, Outcome
from voicecapture.gate import STEPS
from voicecapture.gate import Gate as GateState
from voicecapture.herd import Animal, Herd
from voicecapture.language.numbers import say_digits
from voicecapture.language.phrase import Entry, Result
from voicecapture.readback import sentence, tone
from voicecapture.reads import LOST, NOT_LISTED, decide_read, unmatched
from voicecapture.reasons import BY_READER, NOT_IN_STEP, NOT_SURE_WHO, TWO_READ
from voicecapture.typed import decide_typed

NUMBERS = ("415", "417", "419", "470", "608", "609")
HERD = Herd([*(Animal(cow, f"124000000000{cow}") for cow in NUMBERS), Animal("30")])
STRANGER = "124000000009999"


class Gate(Morning):
    """A morning with a reader, `steps` results before it is in step; the utterances of `says` take two seconds."""

    def __init__(self, herd: Herd = HERD, settings: DecisionSettings | None = None, steps: int = 0) -> None:
        super().__init__(replace(Day(herd), gate=GateState(steps=steps)), settings or DecisionSettings())
        self.events: list[Event] = []

    def reads(self, cow: str, after_s: float = 1.0) -> Event | None:
        return self.reads_line(f"124000000000{cow}", after_s)

    def reads_line(self, line: str, after_s: float = 1.0) -> Event | None:
        self.now_s += after_s
        event = decide_read(line, self.day, self.now_s, self.settings.reader_window_s)
        if event is not None:
            self.day = self.day.after(event)
            self.events.append(event)
        return event

    def says(self, words: str, probability: float = 0.999, after_s: float = 1.0) -> Decision:
        decision = super().says(words, probability, after_s)
        self.events.append(decision.event)
        return decision

    def entries(self) -> dict[str, Entry | None]:
        return {cow: event.entry for cow, (_, event) in self.day.results.items()}


@pytest.fixture
def gate() -> Gate:
    return Gate()


# ---- the cow at the gate --------------------------------------------------------------------------------


def test_a_result_alone_goes_to_the_cow_that_was_read(gate: Gate) -> None:
    gate.reads("417")
    decision = gate.says("pregnant fifty six days")
    assert decision.outcome is Outcome.ACCEPTED and decision.reason == BY_READER
    assert gate.entries() == {"417": Entry("417", Result.PREGNANT, 56)}
    assert sentence(decision, gate.day) == "four one seven, in calf fifty six days, five six"


def test_late_twins_are_hers_by_yes_though_the_next_cow_was_read(gate: Gate) -> None:
    gate.reads("417")
    gate.says("pregnant fifty six days")
    gate.reads("608")
    assert gate.says("twins").outcome is Outcome.QUESTION
    gate.says("yes")
    assert gate.entries() == {"417": Entry("417", Result.PREGNANT, 56, twins=True)}


def test_a_read_is_silent_and_one_read_serves_one_result(gate: Gate) -> None:
    event = gate.reads("417")
    assert event is not None and event.kind is EventKind.NOTE and event.reason == "417 at the gate"
    read = Decision(Outcome.ACCEPTED, event)
    assert tone(read) is None and sentence(read, gate.day) == ""
    gate.says("empty")
    assert gate.says("empty").reason == "a result without a cow number"


@pytest.mark.parametrize(("window_s", "after_s", "is_taken"), [(12, 11.9, True), (12, 12.1, False), (30, 29, True)])
def test_the_time_that_the_user_sets_ends_a_read(window_s: float, after_s: float, is_taken: bool) -> None:
    gate = Gate(settings=DecisionSettings(reader_window_s=window_s))
    gate.reads("417")
    decision = gate.says("empty", after_s=after_s)
    assert (decision.outcome is Outcome.ACCEPTED) == is_taken
    assert is_taken or decision.reason == "a result without a cow number"


def test_a_cow_that_is_read_while_words_are_said_is_not_theirs(gate: Gate) -> None:
    gate.reads("417")
    words = gate.now_s + 1.0
    gate.reads("419", after_s=2.0)
    gate.now_s = words - 3.0
    assert gate.says("empty", after_s=3.0).event.entry == Entry("417", Result.EMPTY)
    gate.now_s += 1.0
    assert [read.cow for read in gate.day.gate.open] == ["419"]


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        ("pregnant fifteen days", "15 days is not an age"),
        ("pregnant fifty six", "without days or weeks"),
        ("yes", "nothing was asked"),
    ],
)
def test_what_is_odd_is_asked_though_the_cow_was_read(gate: Gate, words: str, reason: str) -> None:
    gate.reads("417")
    assert reason in gate.says(words).reason
    assert not gate.day.results


def test_talk_that_sounds_like_a_result_is_asked_though_the_cow_was_read(gate: Gate) -> None:
    gate.reads("417")
    heard = hearing(("empty", 0.999))
    decision = gate.hears(replace(heard, certainty=replace(heard.certainty, entry=0.9)))
    assert decision.outcome is Outcome.QUESTION and sentence(decision, gate.day) == "four one seven: empty?"


def test_a_cow_with_a_result_is_asked_about_when_she_is_read_again(gate: Gate) -> None:
    gate.says("four one seven empty")
    gate.reads("417", after_s=60)
    assert gate.says("empty").reason == "417 has been scanned already"


def test_a_correction_is_of_the_last_entry_whoever_is_at_the_gate(gate: Gate) -> None:
    gate.says("six oh eight empty")
    gate.reads("417")
    gate.says("correction recheck")
    assert gate.entries() == {"608": Entry("608", Result.RECHECK)}
    assert gate.says("empty").event.entry == Entry("417", Result.EMPTY)


def test_a_note_and_a_lone_number_wait_though_a_cow_is_read(gate: Gate) -> None:
    gate.says("four one seven")
    gate.reads("417")
    assert gate.says("empty").event.entry == Entry("417", Result.EMPTY) and not gate.day.questions
    gate.says("make a note")
    gate.reads("419")
    assert gate.day.is_noting


# ---- a number as well -------------------------------------------------------------------------------------


def test_a_number_that_agrees_is_taken_and_closes_the_read(gate: Gate) -> None:
    gate.reads("417")
    assert gate.says("four one seven empty").reason == "clearly heard"
    assert not gate.day.gate.open


@pytest.mark.parametrize(("answer", "cow"), [("first", "417"), ("second", "470"), ("four seven zero", "470")])
def test_a_number_that_does_not_agree_is_asked(gate: Gate, answer: str, cow: str) -> None:
    gate.reads("417")
    decision = gate.says("four seven zero empty")
    assert decision.reason == "the reader says 417, heard 470" and not gate.day.results
    assert sentence(decision, gate.day) == "the reader says four one seven, heard four seven zero?"
    assert gate.says(answer).outcome is Outcome.ACCEPTED
    assert gate.entries() == {cow: Entry(cow, Result.EMPTY)} and not gate.day.questions


def test_a_third_number_in_answer_leaves_the_question_open_and_must_agree_too(gate: Gate) -> None:
    gate.reads("417")
    gate.says("four seven zero empty")
    assert gate.says("six oh eight").reason == "608 without a result"
    assert gate.says("empty").reason == "the reader says 417, heard 608"
    assert not gate.day.results and len(gate.day.questions) == 2


def test_yes_does_not_choose_between_reader_and_voice(gate: Gate) -> None:
    gate.reads("417")
    gate.says("four seven zero empty")
    assert gate.says("yes").outcome is Outcome.IGNORED and not gate.day.results


def test_a_number_said_before_its_result_must_agree_too(gate: Gate) -> None:
    gate.reads("417")
    gate.says("four seven zero")
    assert gate.says("empty").reason == "the reader says 417, heard 470"


def test_a_number_that_is_not_in_the_herd_list_is_asked_with_the_reader_s(gate: Gate) -> None:
    gate.reads("417")
    gate.says("four two seven empty")
    assert gate.says("first").event.entry == Entry("417", Result.EMPTY)


def test_an_age_in_doubt_is_asked_first_and_then_the_number(gate: Gate) -> None:
    gate.reads("417")
    gate.hears(hearing(("four seven zero pregnant fifty days", 0.6), ("four seven zero pregnant forty days", 0.39)))
    decision = gate.says("first")
    assert decision.reason == "the reader says 417, heard 470" and not gate.day.results
    assert gate.says("second").event.entry == Entry("470", Result.PREGNANT, 50)


def test_an_answer_is_not_compared_with_a_cow_that_came_after_the_question(gate: Gate) -> None:
    gate.hears(hearing(("four one seven pregnant fifty days", 0.6), ("four one seven pregnant forty days", 0.39)))
    gate.reads("419")
    assert gate.says("second").event.entry == Entry("417", Result.PREGNANT, 40)
    assert [read.cow for read in gate.day.gate.open] == ["419"]


def test_a_number_stands_by_itself_where_nobody_was_read_lately(gate: Gate) -> None:
    gate.reads("417")
    assert gate.says("four seven zero empty", after_s=60).outcome is Outcome.ACCEPTED
    assert not gate.day.gate.open


def test_a_cow_that_came_while_an_unread_one_was_called_is_still_at_the_gate(gate: Gate) -> None:
    gate.reads("419", after_s=2.0)
    gate.now_s -= 1.5
    assert gate.says("four one seven empty").outcome is Outcome.ACCEPTED
    assert [read.cow for read in gate.day.gate.open] == ["419"]
    decision = gate.says("empty")
    assert decision.reason == NOT_IN_STEP and [c.entry.cow for c in decision.event.candidates] == ["419"]


# ---- more than one ---------------------------------------------------------------------------------------


def test_between_two_cows_that_were_read_the_vet_is_asked(gate: Gate) -> None:
    gate.reads("417")
    gate.reads("419")
    decision = gate.says("pregnant fifty six days")
    assert decision.reason == TWO_READ
    assert sentence(decision, gate.day) == "four one seven, or four one nine?"
    gate.says("first")
    assert gate.entries() == {"417": Entry("417", Result.PREGNANT, 56)}
    assert [read.cow for read in gate.day.gate.open] == ["419"]


def test_the_number_answers_whose_it_is(gate: Gate) -> None:
    gate.reads("417")
    gate.reads("419")
    gate.says("empty")
    gate.says("four one nine")
    assert gate.entries() == {"419": Entry("419", Result.EMPTY)}
    assert not gate.day.gate.open, "417 went by before her"


def test_a_result_said_again_does_not_tell_whose_it_is(gate: Gate) -> None:
    gate.reads("417")
    gate.reads("419")
    gate.says("empty")
    assert gate.says("empty").outcome is Outcome.QUESTION and not gate.day.results


def test_a_choice_is_never_offered_where_one_of_the_two_has_been_scanned(gate: Gate) -> None:
    gate.says("four one seven empty")
    gate.reads("417", after_s=60)
    gate.reads("419")
    decision = gate.says("recheck")
    assert decision.reason == NOT_SURE_WHO and not decision.event.candidates


def test_among_three_the_number_is_asked_for(gate: Gate) -> None:
    for cow in ("417", "419", "608"):
        gate.reads(cow)
    assert gate.says("empty").reason == NOT_SURE_WHO
    gate.says("four one nine empty")
    assert [read.cow for read in gate.day.gate.open] == ["608"]


def test_a_result_after_an_unanswered_question_may_be_the_next_cow_s(gate: Gate) -> None:
    gate.reads("417")
    gate.hears(hearing(("pregnant fifty days", 0.6), ("pregnant forty days", 0.39)))
    gate.reads("419", after_s=5)
    assert gate.says("empty").reason == TWO_READ and not gate.day.results


def test_a_result_that_was_not_offered_never_answers_a_question_about_an_age(gate: Gate) -> None:
    """The next cow may not have been read."""
    gate.reads("417")
    gate.hears(hearing(("pregnant fifty days", 0.6), ("pregnant forty days", 0.39)))
    assert gate.says("empty", after_s=5).outcome is Outcome.QUESTION and not gate.day.results


def test_an_age_that_was_offered_answers(gate: Gate) -> None:
    gate.reads("417")
    gate.hears(hearing(("pregnant fifty days", 0.6), ("pregnant forty days", 0.39)))
    assert gate.says("pregnant forty days").event.entry == Entry("417", Result.PREGNANT, 40)


# ---- in step and out of it ---------------------------------------------------------------------------------


def test_at_the_start_of_a_day_the_reader_must_agree_first() -> None:
    assert Day(HERD).gate.steps == STEPS
    gate = Gate(steps=STEPS)
    gate.reads("415")
    decision = gate.says("empty")
    assert sentence(decision, gate.day) == "the reader is not yet in step. four one five, empty?"
    gate.says("yes")
    for cow in ("417", "419"):
        gate.reads(cow, after_s=5)
        gate.says(f"{say_digits(cow)} empty")
    gate.reads("608", after_s=5)
    assert gate.says("empty").outcome is Outcome.ACCEPTED


def test_after_a_missed_read_results_are_asked_with_the_cow_until_they_agree(gate: Gate) -> None:
    assert gate.says("empty").reason == "a result without a cow number"
    for cow in ("415", "417", "419"):
        gate.reads(cow, after_s=5)
        decision = gate.says("empty")
        assert decision.reason == NOT_IN_STEP
        assert sentence(decision, gate.day).endswith(f"{say_digits(cow)}, empty?")
        assert gate.says("yes").outcome is Outcome.ACCEPTED
    gate.reads("608", after_s=5)
    assert gate.says("empty").outcome is Outcome.ACCEPTED


def test_a_question_whether_a_read_was_missed_is_not_settled_by_a_result(gate: Gate) -> None:
    gate.says("empty")
    gate.reads("417")
    gate.says("empty")
    assert gate.says("empty").reason == NOT_IN_STEP and not gate.day.results


def test_a_number_held_against_the_reader_puts_it_out_of_step(gate: Gate) -> None:
    gate.reads("417")
    gate.says("four seven zero empty")
    gate.says("second")
    gate.reads("419", after_s=5)
    assert gate.says("empty").reason == NOT_IN_STEP


def test_a_reader_that_is_a_cow_ahead_is_never_believed_after_a_missed_read(gate: Gate) -> None:
    gate.reads("415")
    gate.reads("417")
    gate.says("four one five empty")  # 417 is ahead; then 419 passes and is missed
    gate.says("four one seven empty")
    gate.reads("608")
    assert gate.says("empty").outcome is Outcome.QUESTION  # it is 419's


def test_a_reader_behind_the_vet_never_gives_a_result_to_the_cow_before(gate: Gate) -> None:
    """Each cow is read after her result."""
    said = {}
    for cow, words in zip(NUMBERS, ("empty", "recheck") * 3, strict=True):
        decision = gate.says(words, after_s=5)
        if decision.outcome is Outcome.QUESTION:
            decision = gate.says(f"{' '.join(cow)} {words}".translate(_DIGITS))
        assert decision.event.entry is not None
        said[cow] = words
        gate.reads(cow)
    assert {cow: entry.result for cow, entry in gate.entries().items() if entry} == said


_DIGITS = str.maketrans({str(digit): say_digits(str(digit)) for digit in range(10)})


# ---- codes that tell no cow --------------------------------------------------------------------------------


def test_an_id_that_is_not_in_the_herd_list_is_asked_and_settled_by_a_number_without_one(gate: Gate) -> None:
    event = gate.reads_line(STRANGER)
    assert event is not None and event.kind is EventKind.QUESTION and event.reason == NOT_LISTED
    asked = Decision(Outcome.QUESTION, event)
    assert tone(asked) is not None and "not in the herd list" in sentence(asked, gate.day)
    assert gate.says("empty").reason == NOT_SURE_WHO
    gate.says("three oh empty")
    assert gate.entries() == {"30": Entry("30", Result.EMPTY)}
    assert STRANGER not in {question.heard[-15:] for question in gate.day.questions.values()}


def test_an_id_that_is_not_in_the_herd_list_does_not_agree_with_a_cow_that_has_another(gate: Gate) -> None:
    gate.reads_line(STRANGER)
    decision = gate.says("four one seven empty")
    assert decision.reason == "the reader says a cow that is not in the herd list, heard 417"
    assert gate.says("yes").event.entry == Entry("417", Result.EMPTY)
    assert len(gate.day.questions) == 1, "the ID stays open"


def test_an_id_that_is_not_in_the_herd_list_is_asked_once_and_leaves_other_questions_to_be_answered(
    gate: Gate,
) -> None:
    gate.hears(hearing(("four one five empty", 0.6), ("four one nine empty", 0.399)))
    gate.reads_line(STRANGER)
    gate.reads_line(STRANGER, after_s=60)
    gate.now_s = 10.0
    assert gate.says("second").event.entry == Entry("419", Result.EMPTY)
    assert [question.reason for question in gate.day.questions.values()] == [NOT_LISTED]


@pytest.mark.parametrize("line", ["982 0001234", "999000000000417", "READY", LOST])
def test_after_a_line_that_is_no_code_or_a_loss_a_result_needs_a_number(gate: Gate, line: str) -> None:
    gate.reads("417")
    event = gate.reads_line(line)
    assert event is not None and event.kind is EventKind.IGNORED
    assert gate.says("empty").reason == NOT_SURE_WHO
    assert gate.says("four one nine empty").outcome is Outcome.ACCEPTED, "she may have been the one"


# ---- one cow, many reads -----------------------------------------------------------------------------------


def test_a_cow_that_stands_there_counts_once_and_her_read_stays_fresh(gate: Gate) -> None:
    seen = [gate.reads("417", after_s=0.5) for _ in range(80)]
    assert sum(event is not None for event in seen) <= 8
    assert len(gate.day.gate.open) == 1
    assert gate.says("empty").event.entry == Entry("417", Result.EMPTY)
    for _ in range(80):
        gate.reads("417", after_s=0.5)
    assert not gate.day.gate.open
    gate.reads("419")
    assert gate.says("recheck").event.entry == Entry("419", Result.RECHECK)


def test_reads_without_result_and_results_without_read_are_listed(gate: Gate) -> None:
    gate.reads("417")
    gate.reads("419")
    gate.says("four one nine empty")
    gate.says("three oh empty")
    assert unmatched(gate.events, gate.day.results) == (["417"], ["30"])
    assert unmatched([e for e in gate.events if not e.is_read], gate.day.results) == ([], [])


# ---- typed lines -------------------------------------------------------------------------------------------


def test_a_typed_result_goes_to_the_cow_that_the_screen_showed(gate: Gate) -> None:
    gate.reads("417")
    decision = decide_typed("pregnant 58 days", gate.day, gate.day, 5.0, GRAMMAR, gate.settings)
    assert (
        decision.event.entry == Entry("417", Result.PREGNANT, 58)
        and decision.reason == "typed, the cow by the reader"
    )
    seen = gate.day
    gate.reads("419")
    late = decide_typed("pregnant 58 days", seen, gate.day, 6.0, GRAMMAR, gate.settings)
    assert late.outcome is Outcome.IGNORED and late.event.entry is None


def test_a_typed_entry_of_another_cow_leaves_the_gate_as_it_is(gate: Gate) -> None:
    gate.reads("417")
    typed = decide_typed("608 empty", gate.day, gate.day, 5.0, GRAMMAR, gate.settings)
    assert typed.outcome is Outcome.ACCEPTED
    gate.day = gate.day.after(typed.event)
    assert gate.says("empty").event.entry == Entry("417", Result.EMPTY)


# ---- whole days --------------------------------------------------------------------------------------------


def walk(rng: random.Random, missed: float, ahead: int, cows: int = 40) -> tuple[Gate, dict[str, str], int]:
    """A herd walks past reader and vet, who says results alone and answers what he is asked.

    Args:
        rng: Chance.
        missed: Share of the cows that the reader misses.
        ahead: By so many cows the reader is ahead of the vet.
        cows: Length of the race.

    Returns:
        The day, the true results, and the number of questions.
    """
    numbers = [str(number) for number in rng.sample(range(100, 999), cows)]
    gate = Gate(Herd(Animal(cow, f"124000000000{cow}") for cow in numbers), steps=STEPS)
    truth, questions = {cow: rng.choice(["empty", "recheck"]) for cow in numbers}, 0
    for place in range(-ahead, cows):
        if place + ahead < cows and rng.random() >= missed:
            gate.reads(numbers[place + ahead], after_s=2.0)
        if place < 0:
            continue
        cow = numbers[place]
        decision = gate.says(truth[cow], after_s=2.0)
        whole = f"{say_digits(cow)} {truth[cow]}"
        while decision.outcome is Outcome.QUESTION:
            questions += 1
            offered = [candidate.entry.cow for candidate in decision.event.candidates]
            answer = ("first", "second")[offered.index(cow)] if cow in offered else whole
            decision = gate.says(answer, after_s=1.0)
        assert decision.outcome is Outcome.ACCEPTED
    return gate, truth, questions


def wrong(gate: Gate, truth: dict[str, str]) -> list[str]:
    """Cows whose result is not theirs."""
    return [cow for cow, entry in gate.entries().items() if entry is None or entry.result != truth[cow]]


@pytest.mark.parametrize("seed", range(3))
def test_a_reader_that_misses_nobody_asks_nothing_once_it_is_in_step(seed: int) -> None:
    gate, truth, questions = walk(random.Random(seed), missed=0.0, ahead=0)
    assert questions == STEPS and not wrong(gate, truth) and len(gate.day.results) == len(truth)
    assert unmatched(gate.events, gate.day.results) == ([], [])


@settings(deadline=None, max_examples=30)
@given(st.randoms(use_true_random=False), st.floats(0, 0.3), st.integers(0, 3))
def test_a_reader_that_misses_cows_or_is_ahead_costs_questions_and_no_result(
    rng: random.Random, missed: float, ahead: int
) -> None:
    gate, truth, _ = walk(rng, missed, ahead, cows=25)
    assert set(gate.day.results) == set(truth)
    # More misses in a row than `STEPS` can look like being in step.
    assert missed > 0.1 or not wrong(gate, truth)
