"""The grammar says what a vet says, and means what the vet means."""

import random
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from num2words import num2words

from voicecapture.errors import GrammarError
from voicecapture.language.grammar import Grammar
from voicecapture.language.grammar_file import GRAMMARS, load_grammar
from voicecapture.language.phrase import RESTARTED, Answer, Command, Entry, Phrase, Result, interpret

GRAMMAR = load_grammar()
UNITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def phrases(words: str, grammar: Grammar = GRAMMAR) -> set[Phrase]:
    return {interpret(tokens) for tokens in grammar.meanings(words.split())}


def cows(words: str) -> set[str | None]:
    return {phrase.entry.cow for phrase in phrases(words) if phrase.entry}


def in_words(number: int) -> str:
    """num2words is the outside reference for cardinal numbers in words."""
    return str(num2words(number)).replace(",", "").replace("-", " ")


@given(st.integers(1, 99_999))
@settings(max_examples=200, deadline=None)
def test_every_number_in_words_is_that_cow(number: int) -> None:
    assert str(number) in cows(in_words(number))


def test_numbers_below_a_thousand_in_words_have_one_meaning() -> None:
    for number in range(1, 1000):
        assert cows(in_words(number)) == {str(number)}, number


@given(st.text("0123456789", min_size=1, max_size=5))
@settings(max_examples=150, deadline=None)
def test_digit_by_digit_keeps_every_digit_and_leading_zero(number: str) -> None:
    assert number in cows(" ".join(UNITS[int(d)] for d in number))
    assert number in cows(" ".join("oh" if d == "0" else UNITS[int(d)] for d in number))


@given(st.integers(1000, 9999))
@settings(max_examples=100, deadline=None)
def test_four_digits_in_pairs(number: int) -> None:
    first, second = divmod(number, 100)
    tail = f"oh {UNITS[second]}" if 0 < second < 10 else "hundred" if second == 0 else in_words(second)
    assert str(number) in cows(f"{in_words(first)} {tail}") or first % 10 == 0


@pytest.mark.parametrize(
    ("words", "cow"),
    [
        ("double four one", "441"),
        ("four double one", "411"),
        ("triple seven", "777"),
        ("four seventeen", "417"),
        ("four hundred and seventeen", "417"),
        ("four hundred seventeen", "417"),
        ("twelve oh five", "1205"),
        ("twelve hundred and five", "1205"),
        ("one thousand two hundred and six", "1206"),
        ("a hundred and six", "106"),
        ("forty oh two", "4002"),
        # FAA Aeronautical Information Manual, TBL 4-2-2 (ICAO): 3 TREE, 4 FOW-ER, 5 FIFE, 9 NIN-ER.
        ("tree fower fife niner", "3459"),
        # FAA Aeronautical Information Manual 4-2-9.
        ("four thousand five hundred", "4500"),
        # Published read-back forms: 105 "one hundred five", 2756 "twenty-seven fifty-six" (Rule 206).
        ("one hundred five", "105"),
        ("twenty seven fifty six", "2756"),
    ],
)
def test_spoken_forms_of_cow_numbers(words: str, cow: str) -> None:
    assert cow in cows(words)


@pytest.mark.parametrize(
    ("words", "entry"),
    [
        ("four one seven pregnant fifty six days", Entry("417", Result.PREGNANT, 56)),
        ("cow four one seven in calf eight weeks", Entry("417", Result.PREGNANT, 56)),
        ("number nine pregnant eight weeks and three days twins", Entry("9", Result.PREGNANT, 59, True)),
        ("four one seven one hundred and five days", Entry("417", Result.PREGNANT, 105)),
        ("four one seven twins", Entry("417", Result.PREGNANT, None, True)),
        ("four one seven not in calf cystic", Entry("417", Result.EMPTY, findings=("cystic",))),
        ("four one seven dead calf empty", Entry("417", Result.EMPTY, findings=("dead_calf",))),
        ("four one seven dry", Entry("417", Result.EMPTY)),
        ("four one seven recheck in three weeks", Entry("417", Result.RECHECK, recheck_weeks=3)),
        ("pregnant fifty six days cow four one seven", Entry("417", Result.PREGNANT, 56)),
        ("four one seven crown rump thirty millimetres", Entry("417", Result.PREGNANT, crown_rump_mm=30)),
        ("in calf crown rump nine millimeters with twins", Entry(None, Result.PREGNANT, None, True, crown_rump_mm=9)),
        ("six oh nine no sorry six oh eight pregnant fifty two days", Entry("608", Result.PREGNANT, 52)),
        ("six oh nine pregnant fifty two days no sorry six oh eight", Entry("608", Result.PREGNANT, 52)),
        ("six oh nine pregnant fifty two days sorry fifty four days", Entry("609", Result.PREGNANT, 54)),
        ("six oh nine pregnant twins no sorry empty", Entry("609", Result.EMPTY)),
    ],
)
def test_entries(words: str, entry: Entry) -> None:
    assert entry in {phrase.entry for phrase in phrases(words)}


def test_a_run_of_words_keeps_all_its_readings() -> None:
    entries = {phrase.entry for phrase in phrases("four thirty eight days")}
    assert entries == {Entry("4", Result.PREGNANT, 38), Entry("430", Result.PREGNANT, 8)}


def test_an_age_without_a_unit_must_be_confirmed() -> None:
    (phrase,) = phrases("four one seven pregnant fifty six")
    assert phrase.entry == Entry("417", Result.PREGNANT, 56) and phrase.caution


def test_yes_is_an_answer_alone_and_a_result_after_a_cow() -> None:
    assert phrases("yes") == {Phrase(answer=Answer.YES)}
    (phrase,) = phrases("four one seven yes")
    assert phrase.entry == Entry("417", Result.PREGNANT) and phrase.caution


def test_commands() -> None:
    assert phrases("take that back") == {Phrase(command=Command.TAKE_BACK)}
    assert phrases("how many left") == {Phrase(command=Command.LEFT)}
    (correction,) = phrases("correction pregnant sixty two days")
    assert correction.corrects and correction.entry == Entry(None, Result.PREGNANT, 62)
    assert phrases("sorry sixty two days") == {replace(correction, caution=RESTARTED)}


@pytest.mark.parametrize(
    "words",
    [
        "",
        "the tanker comes at four",
        "four one seven pregnant fifty six days thank you",
        "six six six six six six",
    ],
)
def test_what_is_no_entry_has_no_meaning(words: str) -> None:
    assert not phrases(words)


def test_every_sentence_that_the_grammar_can_say_is_understood() -> None:
    """Random sentences of the network: each has at least the meaning it was made with."""
    draw = random.Random(1)
    for _ in range(400):
        words: list[str] = []
        state = GRAMMAR.start
        tokens: tuple[str, ...] = ()
        while state != GRAMMAR.end:
            arc = draw.choice(GRAMMAR.leaving[state])
            state, tokens = arc.target, tokens + arc.tokens
            words += [arc.word] if arc.word else []
        meanings = GRAMMAR.meanings(words)
        assert tokens in meanings, words
        assert interpret(tokens) in {interpret(meaning) for meaning in meanings}


def test_a_practice_adds_a_finding_with_one_line() -> None:
    grammar = load_grammar(practice_findings={"toe_abscess": (("T", "OW", "AE", "B", "S", "EH", "S"),)})
    (phrase,) = phrases("four one seven empty toe_abscess", grammar)
    assert phrase.entry is not None and phrase.entry.findings == ("toe_abscess",)


def test_a_word_without_pronunciation_is_named(tmp_path: Path) -> None:
    (tmp_path / "voicecapture.jsgf").write_text((GRAMMARS / "voicecapture.jsgf").read_text())
    lines = (GRAMMARS / "pronunciations.dict").read_text().splitlines()
    (tmp_path / "pronunciations.dict").write_text("\n".join(line for line in lines if not line.startswith("lame ")))
    with pytest.raises(GrammarError, match="'lame'"):
        load_grammar(tmp_path)


def test_a_broken_grammar_file_is_refused_with_its_place(tmp_path: Path) -> None:
    (tmp_path / "voicecapture.jsgf").write_text("#JSGF V1.0;\ngrammar g;\npublic <utterance> = one (;\n")
    with pytest.raises(GrammarError, match="line:3"):
        load_grammar(tmp_path)


def test_a_wrong_phone_is_refused_with_its_line(tmp_path: Path) -> None:
    (tmp_path / "voicecapture.jsgf").write_text((GRAMMARS / "voicecapture.jsgf").read_text())
    (tmp_path / "pronunciations.dict").write_text("one  W AH N\ntwo  T OO\n")
    with pytest.raises(GrammarError, match=r"dict:2: found 'OO'"):
        load_grammar(tmp_path)
