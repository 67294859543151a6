"""The voice check."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from typer.testing import CliRunner

from tests.fakes import in_chunks, with_pauses
from voicecapture.cli import app
from voicecapture.language.grammar import Grammar, load_grammar
from voicecapture.language.phrase import Result
from voicecapture.recogniser.listener import Listener
from voicecapture.settings import Settings
from voicecapture.voice_check import PHRASES, Said, check, meaning, summary

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
    assert len(PHRASES) == 20


def test_every_phrase_is_a_whole_entry_in_the_grammar(grammar: Grammar) -> None:
    assert all(meaning(phrase, grammar).is_whole for phrase in PHRASES)


def test_a_spoken_check_is_compared_phrase_by_phrase(grammar: Grammar) -> None:
    sound = with_pauses(*(part for phrase in PHRASES[:3] for part in (1.5, phrase, 1.5)))
    prompts: list[int] = []
    said = list(check(in_chunks(sound), grammar, Listener(), Settings(), lambda n, _: prompts.append(n)))
    assert [s.phrase for s in said] == list(PHRASES[:3])
    assert all(s.is_right for s in said)
    assert prompts == [1, 2, 3, 4]


def _said(is_right: bool = True, is_taken: bool = True, is_clipped: bool = False) -> Said:
    return Said("five, recheck", "nine recheck", is_right, is_taken, 20.0, is_clipped, is_narrow=False)


def test_a_check_without_a_mistake_is_good_to_go() -> None:
    assert summary([_said()] * 20)[-1] == "Good to go."


def test_a_phrase_taken_wrong_is_named_and_warned_of() -> None:
    lines = summary([_said()] * 19 + [_said(is_right=False)])
    assert 'Taken wrong: "five, recheck" was heard as "nine recheck".' in lines
    assert "Do not rely" in lines[-1]


def test_many_questions_are_called_safe_but_slow() -> None:
    assert "ask often" in summary([_said()] * 12 + [_said(is_taken=False)] * 8)[-1]


def test_an_overdriven_microphone_is_told() -> None:
    assert any("overdriven in 2" in line for line in summary([_said()] * 18 + [_said(is_clipped=True)] * 2))


def test_silence_is_told_with_a_way_out(tmp_path: Path) -> None:
    silent = tmp_path / "silent.wav"
    soundfile.write(silent, np.zeros(32_000, np.float32), 16_000)
    result = CliRunner().invoke(app, ["check", "--from", str(silent)])
    assert result.exit_code == 1
    assert "--list-devices" in result.output
