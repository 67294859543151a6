"""How likely each meaning is, given the sound: exact sums over all ways of saying it.

Connectionist temporal classification (Graves et al. 2006, "Connectionist Temporal Classification: Labelling
Unsegmented Sequence Data with Recurrent Neural Networks", section 4.1) over a phone network instead of one
label string. Probabilities are kept relative to the best free phone string, frame by frame, so that they stay
in range and so that the total says how far the utterance is from anything that may be said here.
"""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from voicecapture.language.grammar import Tokens
from voicecapture.recogniser.phone_network import START, PhoneNetwork

Floats = NDArray[np.float64]

Singles = NDArray[np.float32]

_NEGLIGIBLE = np.float32(1e-36)
"""83 nats below the best free phone string: far beyond anything that is not refused as talk."""


def relative_probabilities(log_probabilities: NDArray[np.float32]) -> Floats:
    """Phone probabilities divided by the largest of their frame, shape (frames, phones + 1)."""
    lp = log_probabilities.astype(np.float64)
    relative: Floats = np.exp(lp - lp.max(axis=1, keepdims=True))
    return relative


class Search:
    """Runs over one phone network; its working memory is kept between utterances.

    CTC allows a step between equal phones only across a blank, so those links are kept apart.
    """

    def __init__(self, network: PhoneNetwork) -> None:
        self.network = network
        nodes, phones, junctions = len(network.phones), network.phones, len(network.links)
        lasts = np.flatnonzero(network.junctions >= 0)
        self._gather = _matrix(np.ones(len(lasts)), network.junctions[lasts], lasts, (junctions, nodes))
        flat = [(link.target, j, link.weight) for j, links in enumerate(network.links) for link in links]
        targets, sources, weights = (np.array(column) for column in zip(*flat, strict=True))
        inner = targets >= 0
        self._scatter = _matrix(weights[inner], targets[inner], sources[inner], (nodes, junctions))
        self._onward = (network.junctions[:-1] < 0).astype(np.float32)
        within = np.flatnonzero(self._onward)
        steps = _matrix(np.ones(len(within)), within + 1, within, (nodes, nodes))
        every = (steps + self._scatter @ self._gather).tocoo()
        equal = phones[every.row] == phones[every.col]
        self._same = _matrix(every.data[equal], every.row[equal], every.col[equal], (nodes, nodes))
        ends = np.zeros(junctions)
        np.add.at(ends, sources[~inner], weights[~inner])
        self._ending: Singles = (ends @ self._gather).astype(np.float32)
        self._label: Singles = np.zeros((0, nodes), np.float32)
        self._blank: Singles = np.zeros((0, nodes), np.float32)
        self._frames = 0

    def forward(self, relative: Floats) -> float:
        """Run the forward recursion over one utterance.

        Args:
            relative: From `relative_probabilities`, shape (frames, phones + 1).

        Returns:
            Natural logarithm of the probability of everything sayable; -inf if it is out of reach.
        """
        frames = self._frames = len(relative)
        if len(self._label) <= frames:
            shape = (frames + 1, len(self.network.phones))
            self._label, self._blank = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
        label, blank = self._label, self._blank
        label[0], blank[0] = 0.0, 0.0
        blank[0, START] = 1.0
        single = relative.astype(np.float32)
        for t in range(frames):
            either = label[t] + blank[t]
            arrived = self._scatter @ (self._gather @ either)
            arrived -= self._same @ label[t]
            arrived[1:] += self._onward * either[:-1]
            np.maximum(arrived, 0.0, out=arrived)
            arrived += label[t]
            arrived *= single[t][self.network.phones]
            arrived[START] = 0.0
            either *= single[t, 0]
            # What is that small changes nothing, and arithmetic on denormal numbers is slow.
            np.multiply(arrived, arrived > _NEGLIGIBLE, out=label[t + 1])
            np.multiply(either, either > _NEGLIGIBLE, out=blank[t + 1])
        with np.errstate(divide="ignore"):
            return float(np.log(self._finals().sum(dtype=np.float64)))

    def _finals(self) -> Singles:
        finals: Singles = self._ending * (self._label[self._frames] + self._blank[self._frames])
        return finals

    def begun(self) -> float:
        """Natural logarithm of the probability of everything that a sentence may begin with; after `forward`."""
        with np.errstate(divide="ignore"):
            return float(np.log(self._beginnings().sum(dtype=np.float64)))

    def _beginnings(self) -> Singles:
        beginnings: Singles = self._label[self._frames] + self._blank[self._frames]
        return beginnings

    def draw(self, count: int, rng: np.random.Generator, is_begun: bool = False) -> list[tuple[int, ...]]:
        """Draw sentences from their posterior: walk back at random through what `forward` computed.

        Args:
            count: How many.
            rng: Draws them.
            is_begun: Draw beginnings of sentences, wherever they have come to.

        Returns:
            The nodes of each drawn sentence in order, `count` of them, or none if nothing can be said.
        """
        finals = (self._beginnings() if is_begun else self._finals()).astype(np.float64)
        if finals.sum() <= 0:
            return []
        label, blank = self._label[self._frames], self._blank[self._frames]
        chosen = rng.choice(len(finals), size=count, p=finals / finals.sum())
        on_blank = rng.random(count) * (label + blank)[chosen] >= label[chosen]
        walks: list[list[int]] = [[int(node)] for node in chosen]
        groups: dict[tuple[int, bool], list[int]] = {}
        for i in range(count):
            groups.setdefault((int(chosen[i]), bool(on_blank[i])), []).append(i)
        for t in range(self._frames - 1, -1, -1):
            moved: dict[tuple[int, bool], list[int]] = {}
            for (node, is_blank), walkers in groups.items():
                for state, members in self._step_back(t, node, is_blank, walkers, rng):
                    moved.setdefault(state, []).extend(members)
                    if state[0] != node:
                        for walker in members:
                            walks[walker].append(state[0])
            groups = moved
        return [tuple(reversed([node for node in walk if node != START])) for walk in walks]

    def _step_back(
        self, t: int, node: int, is_blank: bool, walkers: Sequence[int], rng: np.random.Generator
    ) -> Iterable[tuple[tuple[int, bool], list[int]]]:
        """Send walkers that stand on one state a frame back, each to a state it may have come from."""
        label, blank = self._label[t], self._blank[t]
        if is_blank or node == START:
            states = [(node, False), (node, True)]
            mass = np.array([label[node], blank[node]])
        else:
            sources, weights = self._sources(node)
            phones = self.network.phones
            from_label = np.where(phones[sources] == phones[node], 0.0, label[sources])
            states = [(node, False)] + [(int(s), b) for b in (False, True) for s in sources]
            mass = np.concatenate(([label[node]], weights * from_label, weights * blank[sources]))
        cumulated = np.cumsum(mass, dtype=np.float64)
        picks = np.searchsorted(cumulated, rng.random(len(walkers)) * cumulated[-1], side="right")
        for pick in np.unique(picks):
            state = states[min(pick, len(states) - 1)]
            yield state, [walker for walker, p in zip(walkers, picks, strict=True) if p == pick]

    def _sources(self, node: int) -> tuple[NDArray[np.int64], Floats]:
        """The nodes that may come before a node, with the weights of the links."""
        if not self.network.words[node]:
            return np.array([node - 1]), np.ones(1)
        row = self._scatter[[node], :] @ self._gather
        return row.indices, row.data


def _matrix(
    values: NDArray[np.floating[Any]],
    rows: NDArray[np.integer[Any]],
    columns: NDArray[np.integer[Any]],
    shape: tuple[int, int],
) -> csr_array:
    """A sparse matrix in the types that multiply fastest."""
    indices = (rows.astype(np.int32), columns.astype(np.int32))
    return csr_array((values.astype(np.float32), indices), shape=shape)


def tokens_of(network: PhoneNetwork, walk: Sequence[int], rng: np.random.Generator) -> Tokens:
    """Meaning of a drawn sentence; where two meanings share the walk, one is drawn by weight."""
    tokens: Tokens = ()
    for node, following in zip((START, *walk), (*walk, -1), strict=True):
        options = [link for link in network.leaving(node) if link.target == following]
        weights = np.array([link.weight for link in options])
        tokens += options[rng.choice(len(options), p=weights / weights.sum())].tokens
    return tokens


def log_likelihoods(network: PhoneNetwork, relative: Floats, meanings: Sequence[Tokens]) -> Floats:
    """Natural logarithm of the probability of each meaning, summed exactly over all its wordings.

    Returns:
        Shape (len(meanings),), relative to the best free phone string; -inf where nothing fits.
    """
    phones: list[int] = []
    sources: list[int] = []
    targets: list[int] = []
    weights: list[float] = []
    starts: list[int] = []
    ends: list[tuple[int, int, float]] = []
    for which, meaning in enumerate(meanings):
        index = {(START, 0): len(phones)}
        starts.append(len(phones))
        phones.append(-1)
        pending = [(START, 0)]
        while pending:
            node, done = pending.pop()
            here = index[node, done]
            due = meaning[done] if done < len(meaning) else None
            for link in network.leaving_with(node, due):
                reached = done + len(link.tokens)
                if link.tokens and meaning[done:reached] != link.tokens:
                    continue
                if link.target < 0:
                    if reached == len(meaning):
                        ends.append((which, here, link.weight))
                    continue
                key = (link.target, reached)
                if key not in index:
                    index[key] = len(phones)
                    phones.append(int(network.phones[link.target]))
                    pending.append(key)
                sources.append(here)
                targets.append(index[key])
                weights.append(link.weight)
    if not sources:
        return np.full(len(meanings), -np.inf)
    return _forward_blocks(
        relative,
        np.array(phones),
        np.array(sources),
        np.array(targets),
        np.array(weights),
        starts,
        ends,
        len(meanings),
    )


def _forward_blocks(
    relative: Floats,
    phones: NDArray[np.int64],
    sources: NDArray[np.int64],
    targets: NDArray[np.int64],
    weights: Floats,
    starts: Sequence[int],
    ends: Sequence[tuple[int, int, float]],
    count: int,
) -> Floats:
    """CTC forward over many small networks laid side by side."""
    size = len(phones)
    equal = phones[sources] == phones[targets]
    others = csr_array((weights[~equal], (targets[~equal], sources[~equal])), shape=(size, size))
    same = csr_array((weights[equal], (targets[equal], sources[equal])), shape=(size, size))
    label, blank = np.zeros(size), np.zeros(size)
    blank[starts] = 1.0
    for frame in relative:
        arrived = others @ (label + blank) + same @ blank
        blank = (label + blank) * frame[0]
        label = (label + arrived) * frame[phones]
        label[starts] = 0.0
    totals = np.zeros(count)
    for which, node, weight in ends:
        totals[which] += weight * (label[node] + blank[node])
    with np.errstate(divide="ignore"):
        logs: Floats = np.log(totals)
    return logs
