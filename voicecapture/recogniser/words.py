"""From words to readings, for engines that give words only and for a typed entry.

Where the cow number that was heard is not in the herd list, herd cows whose numbers sound like it are brought in,
so that the question names them.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import product

from rapidfuzz.distance import Indel

from voicecapture.herd import Herd
from voicecapture.language.grammar import Grammar, Tokens
from voicecapture.language.numbers import say_digits, say_number
from voicecapture.language.phrase import Phrase, interpret
from voicecapture.recogniser import Language, Reading

_ALIKE = 0.75
"""Similarity of phone strings from which two numbers may be taken for each other ("415" and "419": 0.83)."""
_MOST_NUMBERS = 6
"""Numbers in digits that an entry may hold; more is talk, and each may be said in two ways."""
_ALIKE_SHARE = 0.1
"""Share of a reading's probability that each number sounding like it is given."""


def readings_of(hypotheses: Iterable[tuple[Sequence[str], float]], language: Language) -> tuple[Reading, ...]:
    """What word strings may mean, best first.

    Args:
        hypotheses: Word strings, each with its natural log-probability; digits may stand for their words.
        language: What may be said now.

    Returns:
        Readings with probabilities that sum to at most 1; empty if the grammar can say none of it.
    """
    scores: dict[Phrase, float] = {}
    wordings: dict[Phrase, str] = {}
    for words, score in hypotheses:
        for spoken, tokens, weight in _meanings(words, language.grammar):
            phrase = interpret(tokens)
            total = score + weight + language.log_prior(phrase)
            scores[phrase] = float(_log_add(scores.get(phrase, -math.inf), total))
            wordings.setdefault(phrase, " ".join(spoken))
            for other in _alike(phrase, language):
                share = total + math.log(_ALIKE_SHARE)
                scores[other] = float(_log_add(scores.get(other, -math.inf), share))
                wordings.setdefault(other, " ".join(spoken))
    if not scores:
        return ()
    highest = max(scores.values())
    sum_ = sum(math.exp(score - highest) for score in scores.values())
    best = sorted(scores, key=lambda phrase: -scores[phrase])
    return tuple(Reading(p, wordings[p], math.exp(scores[p] - highest) / sum_) for p in best)


def _meanings(words: Sequence[str], grammar: Grammar) -> Iterator[tuple[list[str], Tokens, float]]:
    """Wordings and meanings; a number in digits may be said digit by digit or as a number."""
    if sum(map(_is_number, words)) > _MOST_NUMBERS:
        return
    ways = [_in_words(word) if _is_number(word) else [[word]] for word in words]
    for chosen in product(*ways):
        spoken = [part for parts in chosen for part in parts]
        for tokens, weight in grammar.meanings(spoken).items():
            yield spoken, tokens, weight


def _is_number(word: str) -> bool:
    """Whether a word is a number in the figures that are painted on cows."""
    return word.isascii() and word.isdigit()


def _in_words(number: str) -> list[list[str]]:
    ways = [say_digits(number).split()]
    if len(number) <= 3 and not number.startswith("0") and len(number) > 1:
        ways.append(say_number(int(number)).split())
    return ways


def sounds_like(cow: str, herd: Herd, grammar: Grammar) -> list[tuple[str, float]]:
    """Herd cows whose numbers sound like `cow`, digit by digit or in words; with the similarity (0-1), best first."""
    said = _phones(cow, grammar)
    alike = ((other, max(map(Indel.normalized_similarity, said, _phones(other, grammar)))) for other in herd.animals)
    return sorted(((c, s) for c, s in alike if s >= _ALIKE and c != cow), key=lambda pair: -pair[1])


def _alike(phrase: Phrase, language: Language) -> list[Phrase]:
    entry = phrase.entry
    if entry is None or entry.cow is None or not language.herd.animals or entry.cow in language.herd:
        return []
    if not all(word in language.grammar.pronunciations for word in say_digits(entry.cow).split()):
        return []  # a grammar of another language
    cows = sounds_like(entry.cow, language.herd, language.grammar)[:3]
    return [replace(phrase, entry=replace(entry, cow=cow)) for cow, _ in cows]


def _phones(cow: str, grammar: Grammar) -> list[tuple[str, ...]]:
    """The number digit by digit, and in words where it is one of three digits at most."""
    ways = _in_words(cow)
    return [tuple(phone for word in way for phone in grammar.pronunciations[word][0]) for way in (ways[0], ways[-1])]


def _log_add(a: float, b: float) -> float:
    high, low = max(a, b), min(a, b)
    return high if low == -math.inf else high + math.log1p(math.exp(low - high))
