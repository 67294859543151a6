"""What an utterance means, and what may still change that."""

import pytest

from voicecapture.language.grammar_file import load_grammar
from voicecapture.language.phrase import RESTART, Entry, Result, Stage, is_tail

GRAMMAR = load_grammar(practice_findings={"mastitis": (("M", "AE", "S", "T", "AY", "T", "AH", "S"),)})
IN_CALF = Entry("417", Result.PREGNANT, 56)


@pytest.mark.parametrize(
    ("words", "is_closed"),
    [
        ("four one seven pregnant fifty six days", True),
        ("four one seven in calf fifty six days twins", True),
        ("four one seven empty", True),
        ("four one seven not in calf", True),
        ("four one seven recheck in three weeks", True),
        ("four one seven eight weeks and three days", True),
        ("correction pregnant fifty eight days", True),
        ("four one", False),
        ("four one seven pregnant", False),
        ("four one seven pregnant twins", False),
        ("four one seven pregnant fifty", False),
        ("four one seven eight weeks", False),
        ("four one seven recheck", False),
        ("empty cow four one", False),
        ("pregnant fifty six days", False),
        ("four one seven no", False),
        ("correction", False),
    ],
)
def test_only_what_no_further_word_can_change_is_closed(words: str, is_closed: bool) -> None:
    following = GRAMMAR.following(words.split(), RESTART)
    assert following and all(map(is_tail, following)) == is_closed


def test_what_follows_ends_where_an_entry_is_said_again() -> None:
    assert GRAMMAR.following(["four", "one", "seven", "empty", "lame"], RESTART) == {RESTART}
    assert "mastitis" in GRAMMAR.following(["four", "one", "seven", "empty"], RESTART)
    assert GRAMMAR.following(["four", "one", "tanker"], RESTART) == frozenset()


@pytest.mark.parametrize(
    ("said", "earlier", "together"),
    [
        (Entry(result=Result.PREGNANT, twins=True), IN_CALF, Entry("417", Result.PREGNANT, 56, True)),
        (
            Entry(result=Result.PREGNANT, stage=Stage.LATE),
            IN_CALF,
            Entry("417", Result.PREGNANT, 56, stage=Stage.LATE),
        ),
        (Entry(findings=("lame",)), Entry("4", Result.EMPTY), Entry("4", Result.EMPTY, findings=("lame",))),
        (
            Entry(findings=("lame", "cystic")),
            Entry("4", Result.EMPTY, findings=("cystic",)),
            Entry("4", Result.EMPTY, findings=("cystic", "lame")),
        ),
        # These say more, or something else.
        (Entry(result=Result.PREGNANT, twins=True), Entry("4", Result.EMPTY), None),
        (Entry(result=Result.PREGNANT, days=60, twins=True), IN_CALF, None),
        (Entry("419", findings=("lame",)), IN_CALF, None),
        (Entry(result=Result.PREGNANT), IN_CALF, None),
        (Entry(findings=("lame",)), Entry("417"), None),
    ],
)
def test_twins_and_findings_are_added_to_an_entry_and_nothing_else_is(
    said: Entry, earlier: Entry, together: Entry | None
) -> None:
    assert said.added_to(earlier) == together
