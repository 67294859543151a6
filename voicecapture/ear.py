"""Hears one day: sound to utterances, to readings, to decisions, in order. Nothing is stored here."""

import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from voicecapture.audio import AudioChunk
from voicecapture.bars import distrust, is_talk
from voicecapture.day import Day, EventKind
from voicecapture.decision import LATE, Decision, Outcome, decide
from voicecapture.language.grammar import Grammar
from voicecapture.language.phrase import RESTART, is_tail
from voicecapture.reads import decide_read
from voicecapture.recogniser import Follower, Hearing, Language, Recogniser
from voicecapture.segmenter import Utterance, segment
from voicecapture.settings import Settings
from voicecapture.typed import decide_typed


@dataclass(frozen=True, slots=True)
class Heard:
    """One utterance with what was made of it."""

    number: int
    utterance: Utterance
    hearing: Hearing
    decision: Decision
    day: Day
    """The day after it."""
    latency_s: float
    """Wall-clock seconds from having the whole utterance to the decision."""


class Ear:
    """Hears utterances for one day: holds the state that the next decision depends on."""

    def __init__(
        self, day: Day, grammar: Grammar, recogniser: Recogniser, settings: Settings, first: int = 1
    ) -> None:
        self.day = day
        self._grammar, self._recogniser, self._settings = grammar, recogniser, settings
        self._next = first
        self._heard_early_s = 0.0
        self._last_hearing: tuple[tuple[float, int], Hearing] | None = None
        self.words = ""
        """Words so far of what is being said."""

    def hear(
        self,
        chunks: Iterable[AudioChunk],
        on_chunk: Callable[[AudioChunk, float], None] | None = None,
        has_time: Callable[[], bool] = lambda: False,
    ) -> Iterator[Heard]:
        """Yield every utterance of a sound source with its decision; the day moves on with each.

        Args:
            chunks: In order, from one source.
            on_chunk: Told every chunk with its speech probability.
            has_time: Whether there is time now to hear the words so far of what is being said.
        """

        def follow(samples: NDArray[np.float32]) -> None:
            if isinstance(self._recogniser, Follower) and has_time():
                self.words = self._recogniser.words_so_far(samples, self._language())

        for utterance in segment(chunks, self._due_pause_ms, self._settings.segmenter, on_chunk, follow):
            offered_s = time.perf_counter()
            hearing = self._hearing(utterance)
            number = self._next
            decision = self._decide(utterance, hearing)
            self._next, self.words = number + 1, ""
            self.day = self.day.after(decision.event)
            latency_s = time.perf_counter() - offered_s + self._heard_early_s
            self._heard_early_s = 0.0
            yield Heard(number, utterance, hearing, decision, self.day, latency_s)

    def read(self, line: str, seen: Day, at_s: float) -> Decision:
        """Decide on a typed line; the day moves on with it.

        Args:
            line: In the words that may be spoken.
            seen: The day that was on the screen when it was typed.
            at_s: Now, on the audio clock, seconds.
        """
        decision = decide_typed(line, seen, self.day, at_s, self._grammar, self._settings.decision)
        self.day = self.day.after(decision.event)
        self._last_hearing = None  # heard with what could be expected before
        return decision

    def at_gate(self, line: str, at_s: float) -> Decision | None:
        """Decide on a line of the electronic-ID reader; the day moves on with it. None if it says nothing new.

        Args:
            line: As the reader sent it.
            at_s: When it came, on the audio clock, seconds.
        """
        event = decide_read(line, self.day, at_s, self._settings.decision.reader_window_s)
        if event is None:
            return None
        self.day = self.day.after(event)
        outcomes = {EventKind.QUESTION: Outcome.QUESTION, EventKind.IGNORED: Outcome.IGNORED}
        return Decision(outcomes.get(event.kind, Outcome.ACCEPTED), event)

    def _hearing(self, utterance: Utterance) -> Hearing:
        """Recognise, once for an utterance: what the segmenter asked about is not heard again."""
        key = (utterance.start_s, len(utterance.samples))
        if self._last_hearing is None or self._last_hearing[0] != key:
            self._last_hearing = (key, self._recogniser.recognise(utterance, self._language()))
        return self._last_hearing[1]

    def _language(self) -> Language:
        return Language(self._grammar, self.day.herd, self.day.scanned, self.day.current is not None)

    def _decide(self, utterance: Utterance, hearing: Hearing) -> Decision:
        bars = self._settings.decision
        distrusted = distrust(utterance, bars)
        return decide(hearing, self.day, self._next, utterance.start_s, utterance.end_s, bars, distrusted)

    def _due_pause_ms(self, utterance: Utterance) -> float:
        """How long a pause ends what was said: the less may follow it, the shorter.

        A number alone is usually followed by its result. A whole entry that would be taken, and to which the grammar
        can add only twins or a finding, is over first; should these still come, they are asked about as the entry's.
        """
        offered_s = time.perf_counter()
        hearing, pauses = self._hearing(utterance), self._settings.segmenter
        self._heard_early_s = time.perf_counter() - offered_s
        if not hearing.readings or is_talk(hearing, self._settings.decision):
            self.words = ""
            return pauses.end_pause_ms
        best, decision = hearing.readings[0], self._decide(utterance, hearing)
        self.words = best.words
        if decision.event.kind is EventKind.ACCEPTED and not best.phrase.caution:
            following = self._grammar.following(best.words.split(), RESTART)
            if all(map(is_tail, following)):
                return pauses.early_pause_ms
        # With a cow at the gate her result is enough.
        is_result = best.phrase.entry is not None and best.phrase.entry.result is not None
        is_over = best.phrase.is_whole or decision.reason == LATE or (is_result and bool(self.day.gate.open))
        return pauses.end_pause_ms if is_over else pauses.long_pause_ms
