"""What is said into the ear."""

import pytest

from voicecapture.day import Candidate, Day, Event, EventKind
from voicecapture.decision import Decision, Outcome
from voicecapture.herd import Herd
from voicecapture.language.phrase import Entry, Result
from voicecapture.readback import say_candidates, say_doubtful, say_entry, sentence
from voicecapture.reasons import OTHER

IN_CALF = Entry("417", Result.PREGNANT, 56, twins=True)
EMPTY = Entry("417", Result.EMPTY)


@pytest.mark.parametrize("short", range(13, 20))
def test_look_alike_ages_are_read_back_with_their_digits(short: int) -> None:
    """Fifteen and fifty: the digits tell them apart (hospital safety notices on look-alike numbers)."""
    digits = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
    spoken = say_entry(Entry("417", Result.PREGNANT, short * 7))
    assert spoken.endswith(" ".join(digits[int(d)] for d in str(short * 7)))


@pytest.mark.parametrize(
    ("entry", "reason", "question"),
    [
        (IN_CALF, f"{OTHER} number", "four one seven?"),
        (IN_CALF, f"{OTHER} age", "four one seven: fifty six days, five six?"),
        (IN_CALF, f"{OTHER} result", "four one seven: in calf fifty six days, five six, twins?"),
        (IN_CALF, OTHER, "four one seven: in calf fifty six days, five six, twins?"),
        # Whether there is an age at all is in doubt, so what is asked is what was found.
        (EMPTY, f"{OTHER} age", "four one seven: empty?"),
    ],
)
def test_of_one_entry_only_the_field_in_doubt_is_asked(entry: Entry, reason: str, question: str) -> None:
    assert say_doubtful(entry, reason) == question


@pytest.mark.parametrize(
    ("first", "second", "question"),
    [
        (EMPTY, Entry("419", Result.EMPTY), "four one seven, or four one nine?"),
        (EMPTY, Entry("419", Result.RECHECK), "four one seven, empty, or four one nine, recheck?"),
        (EMPTY, Entry("417", Result.RECHECK), "four one seven: empty, or recheck?"),
        (
            IN_CALF,
            Entry("417", Result.PREGNANT, 65, twins=True),
            "four one seven: fifty six days, five six, or sixty five days, six five?",
        ),
        (
            IN_CALF,
            Entry("417", Result.PREGNANT, 65),
            "four one seven: in calf fifty six days, five six, twins, or in calf sixty five days, six five?",
        ),
        (
            Entry("417", Result.PREGNANT, crown_rump_mm=30),
            Entry("417", Result.PREGNANT, crown_rump_mm=13),
            "four one seven: crown rump thirty millimetres, three zero, "
            "or crown rump thirteen millimetres, one three?",
        ),
        (EMPTY, Entry("417", Result.PREGNANT, 15), "four one seven: empty, or in calf fifteen days, one five?"),
    ],
)
def test_between_two_entries_only_what_differs_is_asked(first: Entry, second: Entry, question: str) -> None:
    assert say_candidates((Candidate(first, 0.6), Candidate(second, 0.3))) == question


@pytest.mark.parametrize(
    ("cow", "reason", "said"),
    [
        ("417", "417 is not in the herd list", "four one seven is not in the herd list"),
        ("50", "500 days is not an age that a scan finds", "five hundred days is not an age that a scan finds"),
        ("500", "500 days is not an age that a scan finds", "five hundred days is not an age that a scan finds"),
        ("34", "a crown-rump length of 340 millimetres tells no age",
         "a crown-rump length of three hundred and forty millimetres tells no age"),
    ],
)  # fmt: skip
def test_the_reason_of_a_question_has_cows_digit_by_digit_and_other_numbers_in_words(
    cow: str, reason: str, said: str
) -> None:
    entry = Entry(cow, Result.PREGNANT)
    event = Event(EventKind.QUESTION, 1.0, entry=entry, reason=reason, candidates=(Candidate(entry, 1.0),))
    assert sentence(Decision(Outcome.QUESTION, event), Day(Herd())).startswith(f"{said}. ")
