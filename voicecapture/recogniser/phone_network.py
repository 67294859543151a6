"""The grammar's word network spelled out in phones, in arrays that a CTC search can run over.

A node is one phone of one word at one place in the grammar. Inside a word each node leads to the next; the
last node of a word leads to a junction (a state of the word network), and a junction leads to the first nodes
of the words that may follow. The tokens of meaning lie on the links that leave junctions.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from voicecapture.language.grammar import Arc, Grammar, Tokens

START = 0
"""Node 0 is the start of a sentence; it has no phone."""


@dataclass(frozen=True, slots=True)
class Link:
    """A way out of a junction."""

    target: int
    """First node of a word, or -1: the end of the sentence."""
    weight: float
    """Grammar weight, greater than 0."""
    tokens: Tokens


@dataclass(frozen=True)
class PhoneNetwork:
    """Nodes in word order, and the junctions between words."""

    phones: NDArray[np.int64]
    """Phone of each node, an index into the model's list; shape (nodes,). Node 0 has -1."""
    words: tuple[str, ...]
    """Word that begins at a node; empty inside a word."""
    junctions: NDArray[np.int64]
    """Junction that each node leads to; -1 inside a word, where node i leads to i + 1. Shape (nodes,)."""
    links: tuple[tuple[Link, ...], ...]
    """Ways out of each junction."""

    def leaving(self, node: int) -> tuple[Link, ...]:
        """The links from one node."""
        junction = self.junctions[node]
        return self.links[junction] if junction >= 0 else (Link(node + 1, 1.0, ()),)

    def leaving_with(self, node: int, token: str | None) -> Iterator[Link]:
        """The links from one node that add no meaning, or meaning that begins with `token` (None: that only)."""
        junction = self.junctions[node]
        if junction < 0:
            yield Link(node + 1, 1.0, ())
            return
        table = self._links_by_token[junction]
        yield from table.get("", ())
        if token is not None:
            yield from table.get(token, ())

    @cached_property
    def _links_by_token(self) -> tuple[dict[str, list[Link]], ...]:
        """The links of each junction by the first token they add; "" for none."""
        tables: tuple[dict[str, list[Link]], ...] = tuple({} for _ in self.links)
        for table, links in zip(tables, self.links, strict=True):
            for link in links:
                table.setdefault(link.tokens[0] if link.tokens else "", []).append(link)
        return tables


def spell_out(grammar: Grammar, phone_index: dict[str, int]) -> PhoneNetwork:
    """Build the phone network of a grammar.

    Args:
        grammar: The word network with pronunciations.
        phone_index: Index of each phone in the model's output.

    Raises:
        KeyError: If a pronunciation uses a phone that the model does not know.
    """
    phones, words = [-1], [""]
    last_states = [grammar.start]
    first_nodes: dict[int, list[tuple[int, Arc]]] = {}
    for arc in grammar.arcs:
        if arc.word is None:
            continue
        for form in grammar.pronunciations[arc.word]:
            first_nodes.setdefault(arc.source, []).append((len(phones), arc))
            phones += [phone_index[phone] for phone in form]
            words += [arc.word] + [""] * (len(form) - 1)
            last_states += [-1] * (len(form) - 1) + [arc.target]
    numbered = {state: i for i, state in enumerate(dict.fromkeys(s for s in last_states if s >= 0))}
    return PhoneNetwork(
        phones=np.array(phones),
        words=tuple(words),
        junctions=np.array([numbered.get(state, -1) for state in last_states]),
        links=tuple(_follow(grammar, state, first_nodes) for state in numbered),
    )


def _follow(grammar: Grammar, state: int, first_nodes: dict[int, list[tuple[int, Arc]]]) -> tuple[Link, ...]:
    """What may follow a state, over all silent ways out of it; equal links are summed."""
    found: dict[tuple[int, Tokens], float] = {}
    pending: list[tuple[int, float, Tokens]] = [(state, 1.0, ())]
    while pending:
        at, weight, tokens = pending.pop()
        here = [
            (node, weight * math.exp(arc.log_weight), tokens + arc.tokens) for node, arc in first_nodes.get(at, ())
        ]
        if at == grammar.end:
            here.append((-1, weight, tokens))
        for target, total, meaning in here:
            found[target, meaning] = found.get((target, meaning), 0.0) + total
        for arc in grammar.leaving.get(at, ()):
            if arc.word is None:
                pending.append((arc.target, weight * math.exp(arc.log_weight), tokens + arc.tokens))
    return tuple(Link(target, weight, tokens) for (target, tokens), weight in found.items())
