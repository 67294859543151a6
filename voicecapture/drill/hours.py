"""Hours of a noisy shed and of talk, played through at speed: memory, latency, and entries that nobody said."""

import os
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from itertools import count, cycle
from pathlib import Path

import numpy as np
import psutil
from numpy.typing import NDArray

from voicecapture import demo
from voicecapture.audio import SAMPLE_RATE_HZ, AudioChunk, chunked, paced, read_recording
from voicecapture.day import Day, EventKind, ScanKind
from voicecapture.ear import Ear, Heard
from voicecapture.language.grammar_file import load_grammar
from voicecapture.lists.herd import read_herd
from voicecapture.recogniser.listener import Listener
from voicecapture.session import Session
from voicecapture.settings import Settings
from voicecapture.speaker import SilentSpeaker
from voicecapture.store.record import Record
from voicecapture.synthesis.shed import shed_noise

Samples = NDArray[np.float32]

_PIECE_S = 60.0
_SPOKEN_EVERY = 4
"""Every so many minutes somebody says an entry, to see how long the listener takes for it."""
_SPOKEN_AT_S, _SPOKEN_FROM_S, _SPOKEN_TO_S = 20.0, 7.5, 12.5
"""Where the entry is put into its minute, and where it stands in the demo morning."""
_WARM_S = 1800.0
"""Memory is compared with what it was after half an hour."""
_UNDER_TALK_DB = -15.0
"""The shed under the talk, relative to the shed without."""


@dataclass(frozen=True, slots=True)
class _Seen:
    """One utterance."""

    end_s: float
    kind: EventKind
    latency_s: float
    ended_s: float
    """When it was decided on, by the machine's clock."""


class _WatchedEar(Ear):
    """Remembers when it heard what, without the sound."""

    def __init__(self, day: Day) -> None:
        super().__init__(day, load_grammar(), Listener(), Settings())
        self.seen: list[_Seen] = []

    def hear(
        self,
        chunks: Iterable[AudioChunk],
        on_chunk: Callable[[AudioChunk, float], None] | None = None,
        has_time: Callable[[], bool] = lambda: False,
    ) -> Iterator[Heard]:
        """See `Ear`."""
        for heard in super().hear(chunks, on_chunk, has_time):
            yield heard
            seen = _Seen(heard.utterance.end_s, heard.decision.event.kind, heard.latency_s, time.monotonic())
            self.seen.append(seen)


def _listen(folder: Path, chunks: Iterable[AudioChunk]) -> tuple[list[_Seen], int]:
    """Listen with the real listener and record; returns what was seen, and how much of it is on record."""
    ear = _WatchedEar(Day(read_herd(demo.HERD)))
    record = Record.open(folder / f"{time.time_ns()}.db")
    day_id = record.start_day(ear.day.herd, date(2027, 2, 9), ScanKind.AGED, "", "drill")
    session = Session(ear, record, day_id, SilentSpeaker())
    session.run(chunks, lambda update: None, threading.Event())
    session.keeper.end()
    ((kept,),) = record.db.execute("select count(*) from event").fetchall()
    record.close()
    return ear.seen, int(kept)


def hours_of_noise(folder: Path, hours: float) -> list[str]:
    """Play a shed's noise through, with an entry every few minutes; the figures as lines."""
    memory: dict[float, int] = {}
    began_s = time.monotonic()
    seen, kept = _listen(folder, _remembering(chunked(_noise(hours)), memory))
    spoken = [one for one in seen if _is_spoken(one.end_s)]
    others = [one for one in seen if not _is_spoken(one.end_s)]
    warm = memory[min(memory, key=lambda s: abs(s - min(_WARM_S, hours * 1800)))]
    growth = (memory[max(memory)] - warm) / warm
    quarter = max(1, len(spoken) // 4)
    first, last = (
        1000 * float(np.median([s.latency_s for s in part])) for part in (spoken[:quarter], spoken[-quarter:])
    )
    return [
        f"{hours:g} hours of shed noise, in {(time.monotonic() - began_s) / 3600:.2f} hours; {len(seen)} utterances, "
        f"{kept} on record",
        f"  memory {warm / 1e6:.0f} MB after the first half hour, {growth:+.1%} at the end",
        f"  latency of {len(spoken)} entries that were said: median {first:.0f} ms in the first quarter, "
        f"{last:.0f} ms in the last",
        f"  {_per_hour(others, hours)} from noise",
    ]


def hours_of_talk(folder: Path, hours: float, recordings: list[Path]) -> list[str]:
    """Play talk through, again and again over other noise; the figures as lines."""
    seen, kept = _listen(folder, chunked(_talk(hours, recordings)))
    return [
        f"{hours:g} hours of talk ({len(recordings)} recordings): {len(seen)} utterances, {kept} on record",
        f"  {_per_hour(seen, hours)} from talk",
    ]


def load(folder: Path, passes: int, speed: float) -> list[str]:
    """Play the demo morning at many times its speed, with an entry every second; the figures as lines."""
    _, alone = _listen(folder, read_recording(demo.RECORDING))
    began_s = time.monotonic()
    kept, late_s, end_s = 0, list[float](), 0.0
    for _ in range(passes):
        start_s = time.monotonic()
        seen, more = _listen(folder, paced(read_recording(demo.RECORDING), speed))
        kept += more
        late_s += [one.ended_s - start_s - one.end_s / speed for one in seen]
        end_s = late_s[-1]
    return [
        f"{speed:g} times the pace of a morning for {(time.monotonic() - began_s) / 60:.0f} minutes: {kept} of "
        f"{passes * alone} utterances on record",
        f"  decided {np.median(late_s):.1f} s after they were said in the median, {max(late_s):.1f} s at most, "
        f"{end_s:.1f} s at the end",
    ]


def _per_hour(seen: list[_Seen], hours: float) -> str:
    taken = sum(one.kind is EventKind.ACCEPTED for one in seen)
    asked = sum(one.kind is EventKind.QUESTION for one in seen)
    return f"{taken / hours:.2f} entries an hour taken ({taken}), {asked / hours:.2f} asked about ({asked})"


def _is_spoken(end_s: float) -> bool:
    piece, in_piece_s = divmod(end_s, _PIECE_S)
    span_s = _SPOKEN_TO_S - _SPOKEN_FROM_S
    return piece % _SPOKEN_EVERY == 0 and 0 <= in_piece_s - _SPOKEN_AT_S <= span_s + 1


def _noise(hours: float) -> Iterator[Samples]:
    morning = np.concatenate([c.samples for c in read_recording(demo.RECORDING) if c.start_s < _SPOKEN_TO_S])
    entry = morning[round(_SPOKEN_FROM_S * SAMPLE_RATE_HZ) :]
    at = round(_SPOKEN_AT_S * SAMPLE_RATE_HZ)
    for piece in range(round(hours * 3600 / _PIECE_S)):
        samples = shed_noise(_PIECE_S, seed=piece)
        if piece % _SPOKEN_EVERY == 0:
            samples[at : at + len(entry)] = entry
        yield samples


def _talk(hours: float, recordings: list[Path]) -> Iterator[Samples]:
    rng, left, seeds = np.random.default_rng(1), round(hours * 3600 * SAMPLE_RATE_HZ), count(10_000)
    for recording in cycle(recordings):
        samples = np.concatenate([chunk.samples for chunk in read_recording(recording)])
        pause = np.zeros(round(rng.uniform(0.3, 3.0) * SAMPLE_RATE_HZ), np.float32)
        piece = np.concatenate((samples, pause))
        noise = shed_noise(len(piece) / SAMPLE_RATE_HZ, seed=next(seeds))[: len(piece)]
        yield np.clip(piece + noise * 10 ** (_UNDER_TALK_DB / 20), -1, 1).astype(np.float32)
        left -= len(piece)
        if left <= 0:
            return


def _remembering(chunks: Iterable[AudioChunk], memory: dict[float, int]) -> Iterator[AudioChunk]:
    """Pass chunks on and note the memory of the process every minute of sound."""
    process = psutil.Process(os.getpid())
    for chunk in chunks:
        minute_s = chunk.start_s // 60 * 60
        if minute_s not in memory:
            memory[minute_s] = process.memory_info().rss
        yield chunk
