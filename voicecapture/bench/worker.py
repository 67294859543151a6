"""The process that hears: one engine with all that stands between a word and its read-back, each step timed."""

import os
import signal
import sys
import threading
import time
from dataclasses import replace
from datetime import date
from multiprocessing import parent_process
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from voicecapture import readback
from voicecapture.audio import CHUNK_SAMPLES, SAMPLE_RATE_HZ, AudioChunk, chunked
from voicecapture.bench.cases import Case
from voicecapture.bench.trial import HeardUtterance, Timing, Trial
from voicecapture.day import Day, ScanKind
from voicecapture.ear import Ear, Heard
from voicecapture.engines import make_recogniser
from voicecapture.herd import Herd
from voicecapture.language.grammar_file import load_grammar
from voicecapture.recogniser import Hearing, Language, Recogniser
from voicecapture.segmenter import Utterance
from voicecapture.settings import Settings
from voicecapture.speaker import LEAD_IN_S, tone_samples
from voicecapture.store.record import Record
from voicecapture.voice import VOICE_RATE_HZ, ReadBackVoice

_NO_SAMPLES = np.zeros(0, np.float32)
Samples = NDArray[np.float32]


class _Watch:
    """A `Recogniser` that notes how long another takes, and where on the audio clock it was asked."""

    def __init__(self, recogniser: Recogniser) -> None:
        self._recogniser = recogniser
        self.now_s = self.voiced_s = self.asked_s = self.decode_s = 0.0
        self.release = Settings().segmenter.release

    def on_chunk(self, chunk: AudioChunk, speech: float) -> None:
        self.now_s = chunk.start_s + CHUNK_SAMPLES / SAMPLE_RATE_HZ
        if speech >= self.release:
            self.voiced_s = self.now_s

    def recognise(self, utterance: Utterance, language: Language) -> Hearing:
        self.asked_s, began_s = self.now_s, time.perf_counter()
        hearing = self._recogniser.recognise(utterance, language)
        self.decode_s = time.perf_counter() - began_s
        return hearing


class Bench:
    """One engine with all that stands between a word and its read-back."""

    def __init__(self, recogniser: Recogniser, herd: Herd, folder: Path) -> None:
        """Set up.

        Args:
            recogniser: The engine.
            herd: The herd of every case.
            folder: Where a database may be made.
        """
        self._watch, self._herd = _Watch(recogniser), herd
        self._grammar, self._voice = load_grammar(), ReadBackVoice()
        self._record = Record.open(folder / "bench.db")
        self._day_id = self._record.start_day(herd, date.today(), ScanKind.AGED, "", "bench")
        self._kept = 0
        self._voice.samples("four one seven")  # the first sentence of a day takes longer

    def hear(self, case: Case, samples: Samples) -> Trial:
        """Hear one case as a day of its own."""
        ear = Ear(Day(self._herd), self._grammar, self._watch, Settings())
        end_s = len(samples) // CHUNK_SAMPLES * CHUNK_SAMPLES / SAMPLE_RATE_HZ
        heard = tuple(
            HeardUtterance(replace(h.utterance, samples=_NO_SAMPLES), h.hearing, self._time(h, end_s))
            for h in ear.hear(chunked([samples]), self._watch.on_chunk)
        )
        return Trial(case, heard, len(samples) / SAMPLE_RATE_HZ)

    def _time(self, heard: Heard, end_s: float) -> Timing:
        watch, began_s = self._watch, time.perf_counter()
        self._kept += 1
        # Event numbers of another day mean nothing in this one.
        event = replace(heard.decision.event, answers=None, replaces=None)
        self._record.keep(self._day_id, self._kept, heard.utterance, heard.hearing, event)
        stored_s = time.perf_counter()
        sentence, tone = readback.sentence(heard.decision, heard.day), readback.tone(heard.decision)
        voice_s: float | None = None
        if sentence:
            self._voice.samples(sentence)
            # The sentence is made while its tone sounds.
            tone_s = len(tone_samples(tone)) / VOICE_RATE_HZ if tone else 0.0
            voice_s = LEAD_IN_S + max(tone_s, time.perf_counter() - stored_s)
        return Timing(
            wait_s=watch.now_s - watch.voiced_s if watch.now_s < end_s else None,
            early_s=max(0.0, watch.now_s - watch.asked_s),
            decode_s=watch.decode_s,
            decide_s=max(0.0, heard.latency_s - watch.decode_s),
            store_s=stored_s - began_s,
            voice_s=voice_s,
        )

    def close(self) -> None:
        """Close the database."""
        self._record.close()


_bench: list[Bench] = []
"""The bench of a worker process."""


def begin() -> None:
    """Leave Ctrl-C to the process that asks, and end if that one is killed: waiting for work would last for ever."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def start(engine: str, model: str | None, herd: Herd, folder: Path) -> None:
    """Load an engine; its database goes into the folder."""
    _bench.append(Bench(make_recogniser(engine, model), herd, folder))


def hear(case: Case, samples: Samples) -> Trial:
    """Hear one case."""
    return _bench[0].hear(case, samples)


def finish() -> float | None:
    """Close the database; returns the peak memory in megabytes, if known."""
    while _bench:
        _bench.pop().close()
    return peak_memory_mb()


def peak_memory_mb() -> float | None:
    """Largest resident size of this process so far, in megabytes; None on Windows, which does not tell."""
    if sys.platform == "win32":
        return None
    import resource

    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1024 * 1024) if sys.platform == "darwin" else peak / 1024
