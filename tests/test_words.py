"""Readings for engines that give words only."""

import pytest

from voicecapture.herd import Animal, Herd
from voicecapture.language.grammar_file import load_grammar
from voicecapture.language.phrase import Entry, Phrase, Result
from voicecapture.recogniser import Language
from voicecapture.recogniser.words import readings_of, sounds_like

GRAMMAR = load_grammar()
HERD = Herd(Animal(cow) for cow in ("415", "419", "50", "60", "333", "1205"))
LANGUAGE = Language(GRAMMAR, HERD)


@pytest.mark.parametrize(
    ("heard", "meant"),
    [
        # Pairs that are confused in noise: five/nine (aviation training article), fifteen/fifty and sixteen/sixty
        # (hospital safety notices; ISMP newsletter 2001-01-24: fifteen taken for fifty).
        ("415", "419"),
        ("15", "50"),
        ("16", "60"),
    ],
)
def test_numbers_that_are_confused_sound_alike(heard: str, meant: str) -> None:
    assert meant in [cow for cow, _ in sounds_like(heard, HERD, GRAMMAR)]


def test_numbers_that_differ_do_not_sound_alike() -> None:
    assert not sounds_like("782", HERD, GRAMMAR)


def test_a_number_outside_the_herd_brings_in_the_cow_it_may_have_been() -> None:
    readings = readings_of([(["fifteen", "empty"], 0.0)], LANGUAGE)
    assert {reading.phrase.entry.cow for reading in readings if reading.phrase.entry} >= {"15", "50"}
    assert sum(reading.probability for reading in readings) == pytest.approx(1.0)


def test_digits_may_stand_for_words() -> None:
    (reading,) = readings_of([(["415", "pregnant", "56", "days"], 0.0)], LANGUAGE)
    assert reading.phrase.entry == Entry("415", Result.PREGNANT, 56)


def test_the_likelier_words_come_first() -> None:
    readings = readings_of([(["415", "empty"], -0.1), (["419", "empty"], -2.0)], LANGUAGE)
    assert [reading.phrase.entry.cow for reading in readings if reading.phrase.entry] == ["415", "419"]


def test_words_that_are_no_entry_give_no_reading() -> None:
    assert readings_of([(["good", "morning"], 0.0)], LANGUAGE) == ()


def test_talk_full_of_numbers_is_not_tried_in_every_way() -> None:
    assert readings_of([(["12"] * 40, 0.0)], LANGUAGE) == ()


def test_a_fifth_digit_and_a_zero_before_the_number_are_expected_least_unless_others_of_the_herd_have_them() -> None:
    def expected(cow: str, *herd: str) -> float:
        return Language(GRAMMAR, Herd(map(Animal, herd))).log_prior(Phrase(entry=Entry(cow=cow)))

    unlisted = expected("417", "415", "470")
    assert expected("415", "415", "470") > unlisted
    for odd in ("0415", "41505"):
        assert unlisted > expected(odd, "415", "470")
    for of_a_cow_bought_in in ("7", "1299"):
        assert expected(of_a_cow_bought_in, "415", "470") == unlisted
    assert expected("0417", "0415") == expected("41705", "41505") == unlisted
    assert expected("0417") == expected("417") == 0.0
