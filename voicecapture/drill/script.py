"""A day whose words are written down beforehand: everything after the listening is the real thing."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from voicecapture.audio import CHUNK_SAMPLES, SAMPLE_RATE_HZ, AudioChunk
from voicecapture.bars import DecisionSettings
from voicecapture.day import Day
from voicecapture.decision import decide
from voicecapture.ear import Ear, Heard
from voicecapture.herd import Animal, Herd
from voicecapture.language.grammar_file import load_grammar
from voicecapture.recogniser import Hearing
from voicecapture.segmenter import Utterance
from voicecapture.typed import hear_typed

PACE_S = 8.0
"""From one entry to the next."""
_SPOKEN_S = 1.0


@dataclass(frozen=True, slots=True)
class Script:
    """What is said on a day, one entry after the other."""

    herd: Herd
    hearings: tuple[Hearing, ...]


def write_script(entries: int) -> Script:
    """Entries for as many cows; every third is empty, the others in calf."""
    grammar = load_grammar()
    cows = [str(100 + cow) for cow in range(entries)]
    outcomes = [f"pregnant {40 + cow % 60} days" if cow % 3 else "empty" for cow in range(entries)]
    lines = [f"{cow} {outcome}" for cow, outcome in zip(cows, outcomes, strict=True)]
    return Script(Herd(Animal(cow) for cow in cows), tuple(hear_typed(line, grammar) for line in lines))


def sound_of(script: Script, from_s: float = 0.0) -> Iterator[AudioChunk]:
    """One chunk for each entry that is said at `from_s` or later; it starts when the entry does."""
    for place in range(len(script.hearings)):
        if place * PACE_S >= from_s:
            yield AudioChunk(np.zeros(CHUNK_SAMPLES, np.float32), place * PACE_S)


class ScriptedEar(Ear):
    """Hears what is written for each chunk, and decides on it as ever."""

    def __init__(
        self, day: Day, script: Script, first: int = 1, before: Callable[[int], None] = lambda place: None
    ) -> None:
        """`before` is called with the place of every entry just before it is handed on."""
        self.day, self.words = day, ""
        self._script, self._number, self._before = script, first, before

    def hear(
        self,
        chunks: Iterable[AudioChunk],
        on_chunk: Callable[[AudioChunk, float], None] | None = None,
        has_time: Callable[[], bool] = lambda: False,
    ) -> Iterator[Heard]:
        """See `Ear`."""
        for chunk in chunks:
            if on_chunk is not None:
                on_chunk(chunk, 0.0)
            place = round(chunk.start_s / PACE_S)
            utterance, hearing = utterance_at(place), self._script.hearings[place]
            decision = decide(hearing, self.day, self._number, utterance.start_s, utterance.end_s, DecisionSettings())
            self.day = self.day.after(decision.event)
            self._before(place)
            yield Heard(self._number, utterance, hearing, decision, self.day, 0.0)
            self._number += 1


def utterance_at(place: int) -> Utterance:
    """The sound of an entry: noise of its own, so that a sound can be told from every other."""
    samples = np.random.default_rng(place).uniform(-0.5, 0.5, round(_SPOKEN_S * SAMPLE_RATE_HZ))
    return Utterance(samples.astype(np.float32), place * PACE_S, place * PACE_S + _SPOKEN_S, 20.0)
