"""From an utterance to readings: what it may have meant, best first, each with its probability."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from voicecapture.herd import Herd
from voicecapture.language.grammar import Grammar
from voicecapture.language.phrase import Entry, Phrase
from voicecapture.reckoning.foetus import CROWN_RUMP_MM
from voicecapture.segmenter import Utterance


@dataclass(frozen=True, slots=True)
class Reading:
    """One thing that the utterance may have meant."""

    phrase: Phrase
    words: str
    """A wording of it that fits the sound."""
    probability: float
    """Posterior probability among everything that may be said now, 0-1."""


@dataclass(frozen=True, slots=True)
class Certainty:
    """Chance, 0-1, that each field of the first reading is right. A field that it lacks counts too."""

    number: float
    result: float
    age: float
    phrase: float
    """That all of it is right."""
    entry: float = 1.0
    """That the utterance was meant for the listener, and is no talk; 1 where an engine cannot tell."""


UNCERTAIN = Certainty(0.0, 0.0, 0.0, 0.0)


def certainty_of(readings: Sequence[Reading]) -> Certainty:
    """Certainty by the readings' own probabilities: the sum over all that agree with the first in a field."""
    if not readings:
        return UNCERTAIN
    first = readings[0].phrase.entry
    if first is None:
        return Certainty(*[readings[0].probability] * 4)

    def agreeing(part: Callable[[Entry], object]) -> float:
        total = sum(r.probability for r in readings if r.phrase.entry and part(r.phrase.entry) == part(first))
        return min(total, 1.0)

    return Certainty(
        number=agreeing(lambda entry: entry.cow),
        result=agreeing(lambda entry: (entry.result, entry.twins, entry.findings, entry.stage, entry.recheck_weeks)),
        age=agreeing(lambda entry: (entry.days, entry.crown_rump_mm)),
        phrase=readings[0].probability,
    )


@dataclass(frozen=True, slots=True)
class Hearing:
    """Everything that a recogniser makes of one utterance."""

    readings: tuple[Reading, ...]
    """Best first; empty if nothing sayable fits."""
    heard: str
    """What was heard whatever the language: phones or words."""
    strangeness: float
    """How much worse the best reading fits than the best free phone string, in nats, 0 or more.
    Entries lie near 0, talk far above."""
    certainty: Certainty = UNCERTAIN


@dataclass(frozen=True)
class Language:
    """What may be said now, and what is to be expected of it."""

    grammar: Grammar
    herd: Herd
    scanned: frozenset[str] = frozenset()
    """Cows that have a result today."""
    is_asking: bool = False
    """A question is open, so that an answer is to be expected."""

    def log_prior(self, phrase: Phrase) -> float:
        """Expectation of a phrase before it is heard, in nats; 0 for the most ordinary.

        The herd list is a soft prior and never a filter: with a hard list a cow that is not in the herd was
        taken for a herd cow in a quarter of cases, with 2 nats in under one in a hundred. A fifth digit or a zero
        before the number, where no cow of the herd has it, is mostly a cow of the herd, badly heard.
        """
        if phrase.answer is not None:
            return 0.0 if self.is_asking else -4.0
        if phrase.entry is None:
            return -1.0
        prior = 0.0
        cow, days, length = phrase.entry.cow, phrase.entry.days, phrase.entry.crown_rump_mm
        if cow is not None and self.herd.animals and cow not in self.herd:
            prior -= 2.0 if self.herd.is_usual(cow) else 5.0
        if cow in self.scanned and not phrase.corrects:
            prior -= 0.7
        if days is not None and not PLAUSIBLE_DAYS[0] <= days <= PLAUSIBLE_DAYS[1]:
            prior -= 4.0
        if length is not None and not CROWN_RUMP_MM[0] <= length <= CROWN_RUMP_MM[1]:
            prior -= 4.0
        return prior


PLAUSIBLE_DAYS = (25, 200)
"""Ages in days that a scan is trusted with: an embryo is seen reliably from 26 to 29 days (Romano et al. 2006,
Theriogenology 66: sensitivity 100 % from day 26 in heifers, 29 in cows); late limit common practice."""


class Recogniser(Protocol):
    """A speech engine, as the session sees it."""

    def recognise(self, utterance: Utterance, language: Language) -> Hearing:
        """Say what the utterance may have meant, among what the language allows."""
        ...


@runtime_checkable
class Follower(Protocol):
    """An engine that can tell words before they are all said; not every one can."""

    def words_so_far(self, samples: NDArray[np.float32], language: Language) -> str:
        """The words of what is still being said, to be shown and never kept; empty where none can be told yet.

        Args:
            samples: Mono 16 kHz, shape (samples,).
            language: What may be said now.
        """
        ...
