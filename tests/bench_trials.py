"""Trials made by hand, for the tests of the bench."""

from pathlib import Path

import numpy as np

from voicecapture.bench.cases import Case
from voicecapture.bench.manifest import Recording
from voicecapture.bench.trial import HeardUtterance, Timing, Trial
from voicecapture.language.phrase import Command, Entry, Phrase, Result
from voicecapture.recogniser import Certainty, Hearing, Reading
from voicecapture.segmenter import Utterance

PREGNANT = Entry("417", Result.PREGNANT, 56)
EMPTY = Entry("417", Result.EMPTY)
TIMING = Timing(wait_s=0.5, early_s=0.0, decode_s=0.2, decide_s=0.01, store_s=0.02, voice_s=0.3)


def recording(
    words: str = "four one seven pregnant fifty six days",
    said: Entry | Command | None = PREGNANT,
    kind: str = "entry",
    voice: str = "anna",
    snr_db: float | None = None,
    noise: str = "",
) -> Recording:
    return Recording(Path("a.ogg"), words, phrase(said), kind, voice, snr_db, noise)


def phrase(said: Entry | Command | None) -> Phrase | None:
    if said is None:
        return None
    return Phrase(command=said) if isinstance(said, Command) else Phrase(entry=said)


def heard(
    read: Entry | Command | None,
    probability: float = 0.999,
    words: str = "four one seven pregnant fifty six days",
    strangeness: float = 0.5,
    start_s: float = 1.0,
    timing: Timing = TIMING,
) -> HeardUtterance:
    """One utterance of 3 s at 30 dB with one reading; without one it is talk."""
    meant = phrase(read)
    readings = (Reading(meant, words, probability),) if meant else ()
    hearing = Hearing(readings, "", strangeness if meant else 99.0, Certainty(*[probability] * 4))
    return HeardUtterance(Utterance(np.zeros(0, np.float32), start_s, start_s + 3.0, 30.0), hearing, timing)


def trial(
    said: Recording, *utterances: HeardUtterance, mixed_db: float | None = None, duration_s: float = 5
) -> Trial:
    return Trial(Case(said, 0, mixed_db), utterances, duration_s)
