"""Hears one day: sound to utterances, to readings, to decisions, in order. Nothing is stored here."""

import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from voicecapture.audio import SAMPLE_RATE_HZ, AudioChunk, Samples
from voicecapture.bars import IN_ONE_BREATH, OVER_READ_BACK, distrust, is_talk
from voicecapture.day import Day, Event, EventKind
from voicecapture.decision import Decision, Outcome, decide
from voicecapture.echo import find_echo
from voicecapture.language.grammar import Grammar
from voicecapture.language.phrase import RESTART, Entry, is_tail
from voicecapture.reads import decide_read
from voicecapture.reasons import LATE, READ_BACK, SAY_AGAIN, TALK
from voicecapture.recogniser import Follower, Hearing, Language, Recogniser
from voicecapture.segmenter import Utterance, segment
from voicecapture.settings import Settings
from voicecapture.typed import decide_typed

_PAUSES_TRIED, _SHORTEST_ENTRY_S = 3, 0.7
"""After the last so many pauses in talk an entry is looked for, if so much sound follows."""
_READ_BACKS = 6
"""Decisions back that a loudspeaker may still be telling of."""
_QUIET_DB = 40.0
"""Signal-to-noise ratio of the read-back by itself."""


def _nothing_sounded() -> Sequence[Samples]:
    return ()


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
        self,
        day: Day,
        grammar: Grammar,
        recogniser: Recogniser,
        settings: Settings,
        first: int = 1,
        sounded: Callable[[], Sequence[Samples]] = _nothing_sounded,
    ) -> None:
        """Make an ear.

        Args:
            day: The day so far.
            grammar: What may be said.
            recogniser: The engine.
            settings: The practice's settings.
            first: Number of the next utterance.
            sounded: Tells what was read back last, which a loudspeaker lets the microphone hear.
        """
        self.day, self._sounded = day, sounded
        self._told: deque[Event] = deque(maxlen=_READ_BACKS)
        self._grammar, self._recogniser, self._settings = grammar, recogniser, settings
        self._next = first
        self._heard_early_s = 0.0
        self._last_hearing: tuple[tuple[float, int], Hearing] | None = None
        self._talk: tuple[float, list[int]] = (0.0, [])
        """Start of what is being said, and its samples up to each pause at which it was talk."""
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
            echo = find_echo(utterance.samples, self._sounded())
            decision = self._decide(utterance, hearing, OVER_READ_BACK if echo is not None else "")
            if decision.reason == TALK and (entry := self._entry_after_talk(utterance)) is not None:
                hearing, decision = entry
            if echo is not None and echo.is_all_of(len(utterance.samples)):
                decision = self._passed_over(decision, hearing, echo.said)
            self._next, self.words = number + 1, ""
            self.happened(decision.event)
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
        self.happened(decision.event)
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
        self.happened(event)
        outcomes = {EventKind.QUESTION: Outcome.QUESTION, EventKind.IGNORED: Outcome.IGNORED}
        return Decision(outcomes.get(event.kind, Outcome.ACCEPTED), event)

    def happened(self, event: Event) -> None:
        """Something happened; the day moves on with it."""
        self.day = self.day.after(event)
        self._told.append(event)

    def _passed_over(self, decision: Decision, hearing: Hearing, said: Samples) -> Decision:
        """Nothing but the read-back can be in it, unless the vet spoke at the same time; then he is told."""
        is_own = is_talk(hearing, self._settings.decision) or self._is_told(hearing, said)
        reason = READ_BACK if is_own else f"{OVER_READ_BACK}: {SAY_AGAIN}"
        event = decision.event
        passed = Event(EventKind.IGNORED, event.at_s, event.utterance, reason=reason, heard=event.heard)
        return Decision(Outcome.IGNORED, passed)

    def _is_told(self, hearing: Hearing, said: Samples) -> bool:
        """Whether nothing was heard but what was read back, or what is heard in the read-back `said` by itself."""
        best = hearing.readings[0].phrase
        alone = self._recogniser.recognise(
            Utterance(said, 0.0, len(said) / SAMPLE_RATE_HZ, _QUIET_DB), self._language()
        )
        if best in [reading.phrase for reading in alone.readings]:
            return True
        entry = best.entry
        if entry is None:
            return False
        told = [e for event in self._told for e in (event.entry, *(c.entry for c in event.candidates)) if e]
        return any(
            all(getattr(entry, f.name) in (f.default, getattr(one, f.name)) for f in fields(Entry)) for one in told
        )

    def _hearing(self, utterance: Utterance) -> Hearing:
        """Recognise, once for an utterance: what the segmenter asked about is not heard again."""
        key = (utterance.start_s, len(utterance.samples))
        if self._last_hearing is None or self._last_hearing[0] != key:
            self._last_hearing = (key, self._recogniser.recognise(utterance, self._language()))
        return self._last_hearing[1]

    def _entry_after_talk(self, utterance: Utterance) -> tuple[Hearing, Decision] | None:
        """The question about a whole entry that came after talk and a short pause; None if none did.

        An entry must not be lost because somebody talked to a cow just before; nor is it sure enough to be taken.
        """
        began_s, pauses = self._talk
        for samples in pauses[-_PAUSES_TRIED:] if began_s == utterance.start_s else ():
            start_s = utterance.start_s + samples / SAMPLE_RATE_HZ
            rest = replace(utterance, samples=utterance.samples[samples:], start_s=start_s)
            if len(rest.samples) < _SHORTEST_ENTRY_S * SAMPLE_RATE_HZ:
                continue
            hearing = self._recogniser.recognise(rest, self._language())
            decision = self._decide(rest, hearing, IN_ONE_BREATH)
            if decision.outcome is Outcome.QUESTION and decision.event.candidates:
                return hearing, decision
        return None

    def _language(self) -> Language:
        return Language(self._grammar, self.day.herd, self.day.scanned, self.day.current is not None)

    def _decide(self, utterance: Utterance, hearing: Hearing, distrusted: str = "") -> Decision:
        bars = self._settings.decision
        why = distrust(utterance, bars) or distrusted
        return decide(hearing, self.day, self._next, utterance.start_s, utterance.end_s, bars, why)

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
            if self._talk[0] != utterance.start_s:
                self._talk = (utterance.start_s, [])
            self._talk[1].append(len(utterance.samples))
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
