"""The voice check."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from typer.testing import CliRunner

from tests.fakes import ScriptedRecogniser, in_chunks, with_pauses
from voicecapture.bench.mixing import through_8_khz
from voicecapture.cli import app
from voicecapture.language.grammar import Grammar
from voicecapture.language.grammar_file import load_grammar
from voicecapture.language.phrase import Result
from voicecapture.recogniser.listener import Listener
from voicecapture.settings import Settings
from voicecapture.verdict import LINES, Said
from voicecapture.voice_check import PHRASES, check, meaning

NUMBER_WORDS = {
    *(
        "zero",
        "oh",
        "one",
        "two",
        "three",
        "four",
        "five",
        "six",
        "seven",
        "eight",
        "nine",
        "ten",
        "eleven",
        "twelve",
    ),
    *("thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen", "twenty", "thirty", "forty"),
    *("fifty", "sixty", "seventy", "eighty", "ninety", "hundred", "thousand", "double"),
}


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return load_grammar()


def test_the_phrases_hold_every_number_word_and_every_result(grammar: Grammar) -> None:
    words = {word for phrase in PHRASES for word in phrase.replace(",", "").split()}
    assert words >= NUMBER_WORDS
    assert {meaning(phrase, grammar).result for phrase in PHRASES} == set(Result)
    assert len(PHRASES) == LINES == 20


def test_every_phrase_is_a_whole_entry_in_the_grammar(grammar: Grammar) -> None:
    assert all(meaning(phrase, grammar).is_whole for phrase in PHRASES)


def test_a_spoken_check_is_compared_phrase_by_phrase(grammar: Grammar) -> None:
    sound = with_pauses(*(part for phrase in PHRASES[:3] for part in (1.5, phrase, 1.5)))
    prompts: list[int] = []
    said = list(check(in_chunks(sound), grammar, Listener(), Settings(), lambda n, _: prompts.append(n)))
    assert [s.phrase for s in said] == list(PHRASES[:3])
    assert all(s.is_right for s in said)
    assert prompts == [1, 2, 3, 4]


def test_a_line_that_came_through_a_headset_of_8_khz_is_known(grammar: Grammar) -> None:
    sound = with_pauses(1.5, PHRASES[0], 1.5)
    hissing = sound + 1e-3 * np.random.default_rng(1).standard_normal(len(sound)).astype(np.float32)
    for heard, is_narrow in ((hissing, False), (through_8_khz(hissing), True)):
        (said,) = check(in_chunks(heard), grammar, Listener(), Settings(), lambda *_: None)
        assert said.is_narrow == is_narrow


def _checked(grammar: Grammar, *words: str) -> tuple[list[Said], list[int]]:
    sound = with_pauses(1.0, *(part for _ in words for part in ("five.", 1.5)))
    prompts: list[int] = []
    hears = ScriptedRecogniser([None if w == "talk" else meaning(w, grammar) for w in words])
    return list(check(in_chunks(sound), grammar, hears, Settings(), lambda n, _: prompts.append(n))), prompts


def test_a_line_that_is_passed_over_is_asked_for_again(grammar: Grammar) -> None:
    said, prompts = _checked(grammar, "talk", "talk", PHRASES[0])
    assert [s.is_right for s in said] == [True]
    assert prompts == [1, 1, 1, 2]


def test_a_line_that_is_passed_over_three_times_is_lost(grammar: Grammar) -> None:
    said, prompts = _checked(grammar, "talk", "talk", "talk", PHRASES[1])
    assert [(s.phrase, s.is_lost, s.is_right) for s in said] == [
        (PHRASES[0], True, False),
        (PHRASES[1], False, True),
    ]
    assert prompts == [1, 1, 1, 2, 3]


def test_where_a_later_line_is_heard_those_before_it_were_passed_over(grammar: Grammar) -> None:
    said, prompts = _checked(grammar, PHRASES[0], PHRASES[3])
    assert [s.is_lost for s in said] == [False, True, True, False]
    assert all(s.phrase == phrase for s, phrase in zip(said, PHRASES, strict=False))
    assert prompts == [1, 2, 5]


def test_what_was_never_to_be_said_is_wrong(grammar: Grammar) -> None:
    said, _ = _checked(grammar, "nine nine nine, empty")
    assert [(s.phrase, s.heard, s.is_right, s.is_taken) for s in said] == [(PHRASES[0], "as said", False, True)]


def test_silence_is_told_with_a_way_out(tmp_path: Path) -> None:
    silent = tmp_path / "silent.wav"
    soundfile.write(silent, np.zeros(32_000, np.float32), 16_000)
    result = CliRunner().invoke(app, ["check", "--from", str(silent)])
    assert result.exit_code == 1
    assert "--list-devices" in result.output
