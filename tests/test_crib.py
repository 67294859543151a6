"""The crib sheet is the grammar, for people to read."""

import itertools
import re

import pytest

from voicecapture.language.crib import crib
from voicecapture.language.grammar import Grammar
from voicecapture.language.grammar_file import load_grammar
from voicecapture.report.page import crib_page


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return load_grammar(practice_findings={"toe_abscess": (("T", "OW"),)})


def said(saying: str) -> set[str]:
    """All that a saying stands for, with 40 for a number and an entry for ENTRY."""
    innermost = re.search(r"\[([^][()]*)\]|\(([^][()]*)\)", saying)
    if innermost is None:
        return {" ".join(part.split()) for part in saying.split(" / ")}
    inside = (innermost[1] if innermost[1] is not None else innermost[2]).split(" / ")
    choices = [*inside, ""] if innermost[1] is not None else inside
    start, end = innermost.span()
    return set(itertools.chain(*(said(saying[:start] + choice + saying[end:]) for choice in choices)))


def test_every_saying_on_the_sheet_is_understood(grammar: Grammar) -> None:
    """Those that are part of an entry are said after a cow number or an age."""
    for section in crib(grammar):
        for words in itertools.chain(*map(said, section.sayings)):
            spoken = (
                words.replace("NUMBER", "four")
                .replace("ENTRY", "cow nine empty")
                .replace("RESULT", "dry")
                .replace("toe abscess", "toe_abscess")
            )
            frames = ("{}", "cow nine {}", "cow nine empty {} cow nine dry")
            tried = [frame.format(spoken) for frame in frames]
            assert any(grammar.meanings(sentence.split()) for sentence in tried), words


def test_the_sheet_leaves_no_word_of_the_grammar_out(grammar: Grammar) -> None:
    on_sheet = set(re.findall(r"[a-z]+", " ".join(s for section in crib(grammar) for s in section.sayings)))
    numbers = set(grammar.words) - {word for rule in crib(grammar) for s in rule.sayings for word in s.split()}
    left_out = {word for word in grammar.words if not set(word.split("_")) <= on_sheet}
    # What is left out is numbers, hesitations and the joints between them.
    assert left_out <= numbers and not left_out & {"pregnant", "empty", "dry", "recheck", "twins", "neither", "crown"}
    assert left_out >= {"forty", "seventeen", "hundred", "um"}


def test_a_practices_own_finding_is_on_the_sheet_and_the_page(grammar: Grammar) -> None:
    (findings,) = (section.sayings for section in crib(grammar) if section.title == "Findings")
    assert "toe abscess" in findings
    assert "toe abscess" in crib_page(crib(grammar))
