"""What is in doubt is asked: the bar, sound that is not to be trusted, talk, and which field is asked about."""

from dataclasses import replace

import numpy as np
import pytest

from tests.test_decision import HERD, SETTINGS, Morning, hearing, phrase
from voicecapture.bars import BROKEN, OVERDRIVEN, TOO_LOUD, DecisionSettings, distrust, is_talk
from voicecapture.day import Day
from voicecapture.decision import Outcome
from voicecapture.readback import sentence
from voicecapture.reasons import OTHER
from voicecapture.segmenter import Utterance


@pytest.fixture
def morning() -> Morning:
    return Morning(Day(HERD))


# ---- the bar ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("wrong_costs", "bar"), [(20.0, 0.95), (250.0, 0.996), (10_000.0, 0.9999)])
def test_the_bar_is_where_a_wrong_entry_costs_as_much_as_a_question(wrong_costs: float, bar: float) -> None:
    """Chow 1970, "On optimum recognition error and reject tradeoff": reject where the risk is above its cost."""
    settings = DecisionSettings(wrong_costs=wrong_costs)
    assert settings.accept_probability == pytest.approx(bar)
    for probability, outcome in ((bar + 1e-6, Outcome.ACCEPTED), (bar - 1e-6, Outcome.QUESTION)):
        assert Morning(Day(HERD), settings).says("four one seven empty", probability).outcome is outcome


# ---- sound that is not to be trusted ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fault", "reason"),
    [
        ({}, ""),
        ({"snr_db": SETTINGS.least_snr_db}, ""),
        ({"snr_db": SETTINGS.least_snr_db - 0.1}, TOO_LOUD),
        ({"is_clipped": True}, OVERDRIVEN),
        ({"has_gap": True}, BROKEN),
        ({"snr_db": 0.0, "is_clipped": True, "has_gap": True}, BROKEN),
    ],
)
def test_sound_is_distrusted_when_too_loud_clipped_or_broken(fault: dict[str, float], reason: str) -> None:
    sound = Utterance(np.zeros(16_000, np.float32), start_s=0.0, end_s=1.0, snr_db=15.0)
    assert distrust(replace(sound, **fault), SETTINGS) == reason  # type: ignore[arg-type]


@pytest.mark.parametrize("fault", [TOO_LOUD, OVERDRIVEN, BROKEN])
def test_an_entry_in_distrusted_sound_is_asked_however_clear_and_a_yes_settles_it(
    morning: Morning, fault: str
) -> None:
    decision = morning.hears(hearing(("four one seven empty", 1.0)), distrusted=fault)
    assert decision.outcome is Outcome.QUESTION and decision.reason == fault
    assert sentence(decision, morning.day) == f"{fault}. four one seven, empty?"
    assert not morning.day.results
    assert morning.says("yes").outcome is Outcome.ACCEPTED and morning.day.scanned == {"417"}


@pytest.mark.parametrize(
    "words",
    [
        *(
            "four one nine empty",
            "four one five",
            "pregnant fifty days",
            "correction four one nine",
            "first",
            "second",
        ),
        *("yes", "neither", "take that back", "correction", "stop listening", "make a note"),
    ],
)
@pytest.mark.parametrize("asked", [False, True])
def test_nothing_said_in_distrusted_sound_is_taken(morning: Morning, words: str, asked: bool) -> None:
    morning.says("six oh eight empty")
    if asked:
        morning.hears(hearing(("four one five empty", 0.6), ("four one nine empty", 0.399)))
    before = morning.day
    assert morning.hears(hearing((words, 1.0)), distrusted=OVERDRIVEN).outcome is not Outcome.ACCEPTED
    assert morning.day.results == before.results and len(morning.day.questions) >= len(before.questions)
    assert not morning.day.is_stopped and not morning.day.is_noting and morning.day.correcting_s is None


@pytest.mark.parametrize("faults", [(TOO_LOUD, ""), ("", TOO_LOUD)])
def test_a_number_and_its_result_are_joined_only_if_both_were_trusted(
    morning: Morning, faults: tuple[str, str]
) -> None:
    morning.hears(hearing(("four one seven", 1.0)), distrusted=faults[0])
    assert morning.hears(hearing(("empty", 1.0)), distrusted=faults[1]).outcome is Outcome.QUESTION
    assert not morning.day.results


# ---- talk ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("chance", "outcome"),
    [(SETTINGS.entry_chance / 2, Outcome.IGNORED), (SETTINGS.entry_chance * 2, Outcome.QUESTION)],
)
def test_what_was_hardly_meant_for_the_listener_is_passed_over(
    morning: Morning, chance: float, outcome: Outcome
) -> None:
    said = hearing(("four one seven empty", 0.9))
    said = replace(said, certainty=replace(said.certainty, entry=chance))
    assert is_talk(said, SETTINGS) == (outcome is Outcome.IGNORED)
    assert morning.hears(said).outcome is outcome


# ---- only the field in doubt is asked -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("field", "chances", "words", "question"),
    [
        (
            "number",
            (0.7, 0.999, 0.999),
            ("four one five empty", "four one five recheck", "four one nine empty", "six oh eight empty"),
            "four one five, or four one nine?",
        ),
        (
            "result",
            (0.999, 0.7, 0.999),
            ("four one five empty", "four one nine empty", "four one five recheck", "four one five empty lame"),
            "four one five: empty, or recheck?",
        ),
        (
            "age",
            (0.999, 0.999, 0.7),
            (
                "four one five thirty days",
                "four one nine thirty days",
                "four one five nine weeks",
                "four one five sixty days",
            ),
            "four one five: thirty days, three zero, or sixty three days, six three?",
        ),
    ],
)
def test_a_doubt_in_one_field_offers_the_best_reading_that_differs_in_it_alone(
    morning: Morning, field: str, chances: tuple[float, float, float], words: tuple[str, ...], question: str
) -> None:
    decision = morning.hears(hearing(*zip(words, (0.6, 0.3, 0.08, 0.01), strict=True), chances=chances))
    assert decision.outcome is Outcome.QUESTION and decision.reason == f"{OTHER} {field}"
    assert [candidate.probability for candidate in decision.event.candidates] == [0.6, 0.08]
    assert sentence(decision, morning.day) == question
    assert morning.says("second").event.entry == phrase(words[2]).entry


@pytest.mark.parametrize(
    ("chances", "question"),
    [
        ((0.9, 0.999, 0.999), "four one five?"),
        ((0.999, 0.9, 0.999), "four one five: in calf thirty days, three zero, twins?"),
        ((0.999, 0.999, 0.9), "four one five: thirty days, three zero?"),
    ],
)
def test_where_there_is_no_second_reading_only_the_field_in_doubt_is_asked(
    morning: Morning, chances: tuple[float, float, float], question: str
) -> None:
    decision = morning.hears(hearing(("four one five pregnant thirty days twins", 0.9), chances=chances))
    assert decision.outcome is Outcome.QUESTION and sentence(decision, morning.day) == question


@pytest.mark.parametrize("chances", [(0.7, 0.7, 0.999), (0.999, 0.999, 0.999)])
def test_a_doubt_in_several_fields_or_in_none_by_itself_offers_the_likeliest(
    morning: Morning, chances: tuple[float, float, float]
) -> None:
    said = (("four one five empty", 0.6), ("four one nine recheck", 0.3), ("four one nine empty", 0.09))
    decision = morning.hears(hearing(*said, chances=chances))
    assert decision.reason == OTHER
    assert sentence(decision, morning.day) == "four one five, empty, or four one nine, recheck?"


def test_repeating_the_clear_half_never_settles_the_doubtful_half(morning: Morning) -> None:
    morning.hears(hearing(("four one five pregnant thirty days", 0.6), ("four one five pregnant ninety days", 0.399)))
    for _ in range(5):
        assert morning.says("four one five").outcome is Outcome.QUESTION
    assert not morning.day.results
    assert morning.says("pregnant ninety days").outcome is Outcome.ACCEPTED
