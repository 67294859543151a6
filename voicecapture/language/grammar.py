"""A grammar as a network of words that a listener can follow and a test can enumerate.

It has no recursion, so it is finite: states joined by arcs, each arc a word or nothing, with tokens of meaning and a
weight. `grammar_file.py` reads it.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from voicecapture.language.pronunciations import Phones

Tokens = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Arc:
    """One step of the word network."""

    source: int
    target: int
    word: str | None
    """The word spoken, lower case; None for a step without sound."""
    tokens: Tokens
    """Meaning that the step adds."""
    log_weight: float
    """Natural logarithm of the grammar's weight."""


@dataclass(frozen=True)
class Grammar:
    """A word network with one start and one end, and how each of its words is said."""

    arcs: tuple[Arc, ...]
    start: int
    end: int
    pronunciations: Mapping[str, tuple[Phones, ...]]
    rules: Mapping[str, object] = field(default_factory=dict, repr=False)
    """The rules of the grammar as pyjsgf reads them, by name."""

    @cached_property
    def words(self) -> tuple[str, ...]:
        """Every word of the grammar, sorted: the list that a word recogniser is held to."""
        return tuple(sorted({arc.word for arc in self.arcs if arc.word}))

    @cached_property
    def leaving(self) -> dict[int, list[Arc]]:
        """Arcs by the state they leave."""
        table: dict[int, list[Arc]] = {}
        for arc in self.arcs:
            table.setdefault(arc.source, []).append(arc)
        return table

    def meanings(self, words: Iterable[str]) -> dict[Tokens, float]:
        """All token strings that a word string may mean, each with the log of its summed weight.

        Returns an empty dict if the grammar cannot say these words.
        """
        return {tokens: weight for (state, tokens), weight in self._after(words).items() if state == self.end}

    def following(self, words: Iterable[str], stop: str) -> frozenset[str]:
        """All tokens that a sentence that begins with these words may still add; none beyond the token `stop`."""
        pending = list({state for state, _ in self._after(words)})
        seen, tokens = set(pending), set[str]()
        while pending:
            for arc in self.leaving.get(pending.pop(), ()):
                tokens.update(arc.tokens)
                if stop not in arc.tokens and arc.target not in seen:
                    seen.add(arc.target)
                    pending.append(arc.target)
        return frozenset(tokens)

    def _after(self, words: Iterable[str]) -> dict[tuple[int, Tokens], float]:
        """Where the network may stand after these words, with the tokens until there and the log of their weight."""
        hypotheses = self._silent_steps({(self.start, ()): 0.0})
        for word in words:
            moved: dict[tuple[int, Tokens], float] = {}
            for (state, tokens), weight in hypotheses.items():
                for arc in self.leaving.get(state, ()):
                    if arc.word == word:
                        key = (arc.target, tokens + arc.tokens)
                        moved[key] = _log_add(moved.get(key, -math.inf), weight + arc.log_weight)
            hypotheses = self._silent_steps(moved)
        return hypotheses

    def _silent_steps(self, hypotheses: dict[tuple[int, Tokens], float]) -> dict[tuple[int, Tokens], float]:
        """Add everything reachable without a word. The network has no cycles, so this ends."""
        reached = dict(hypotheses)
        frontier = hypotheses
        while frontier:
            following: dict[tuple[int, Tokens], float] = {}
            for (state, tokens), weight in frontier.items():
                for arc in self.leaving.get(state, ()):
                    if arc.word is None:
                        key = (arc.target, tokens + arc.tokens)
                        following[key] = _log_add(following.get(key, -math.inf), weight + arc.log_weight)
            for key, weight in following.items():
                reached[key] = _log_add(reached.get(key, -math.inf), weight)
            frontier = following
        return reached


def _log_add(a: float, b: float) -> float:
    high, low = max(a, b), min(a, b)
    return high if low == -math.inf else high + math.log1p(math.exp(low - high))
