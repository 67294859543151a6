"""The voice that reads back pronounces as its dictionaries would, without loading them."""

import json
from collections.abc import Iterator
from itertools import product

import pytest
from hibari.g2p import G2P

from voicecapture.language.numbers import say_digits
from voicecapture.language.phrase import Entry, Result, Stage
from voicecapture.readback import say_entry
from voicecapture.synthesis.readback_phrases import phrases
from voicecapture.voice import PHRASES, Phonemes


@pytest.fixture(scope="module")
def dictionary() -> G2P:
    """The reference: the dictionaries of hibari-tts with all their rules."""
    return G2P()


def sentences() -> Iterator[str]:
    """Read-backs of every kind."""
    for number, days in enumerate(range(20, 290, 3), 1):
        yield say_entry(Entry(str(number * 13), Result.PREGNANT, days=days, twins=number % 5 == 0))
    for result, finding in product(Result, ("lame", "dead_calf", "infection", "cystic")):
        yield say_entry(Entry("417", result, findings=(finding,)))
    for weeks in range(1, 60):
        yield say_entry(Entry("56", Result.RECHECK, recheck_weeks=weeks))
    for stage in Stage:
        yield say_entry(Entry("8", Result.PREGNANT, stage=stage))
    yield say_entry(Entry("1200", Result.PREGNANT, crown_rump_mm=34))
    yield f"{say_digits('417')} is not in the herd list?"
    yield f"{say_digits('60')} has been scanned already. {say_entry(Entry('60', Result.EMPTY))}?"
    yield f"not clearly heard: say it again. {say_entry(Entry('60', Result.EMPTY))}?"
    yield "too loud to trust?"
    yield f"{say_digits('417')} without a result?"
    yield "a result without a cow number?"
    yield "five hundred days is not an age that a scan finds?"
    yield "an electronic ID that is not in the herd list: say her number?"
    yield "three hundred and sixty one so far"


def test_sentences_of_known_phrases_sound_as_the_dictionaries_have_them(dictionary: G2P) -> None:
    pronounce = Phonemes()
    for sentence in sentences():
        assert pronounce(sentence) == dictionary(sentence), sentence


def test_no_read_back_of_a_day_needs_the_dictionaries(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise AssertionError("loaded")

    monkeypatch.setattr(G2P, "__init__", refuse)
    pronounce = Phonemes()
    assert all(pronounce(sentence) for sentence in sentences())
    with pytest.raises(AssertionError):
        pronounce("dermatitis")


def test_other_words_are_looked_up(dictionary: G2P) -> None:
    assert Phonemes()("four one seven, dermatitis") == dictionary("four one seven, dermatitis")


def test_a_phrase_inside_a_longer_word_is_left_alone(dictionary: G2P) -> None:
    assert Phonemes()("late, lately") == dictionary("late, lately")


def test_the_phrases_are_those_of_the_modules_that_speak() -> None:
    # If this fails, run `python -m voicecapture.synthesis.readback_phrases`.
    assert set(json.loads(PHRASES.read_text(encoding="utf-8"))) == phrases()
