"""Listening before the day: levels, the check, and letting go of the microphone."""

import queue
import threading
import time
from collections.abc import Callable

import numpy as np

from tests.fakes import ScriptedRecogniser, in_chunks, with_pauses
from voicecapture.audio import AudioChunk, Chunks
from voicecapture.errors import AudioError
from voicecapture.language.grammar_file import load_grammar
from voicecapture.rehearsal import Ended, Prompted, Rehearsal, Source, Told
from voicecapture.settings import Settings
from voicecapture.update import Update
from voicecapture.verdict import Said
from voicecapture.voice_check import PHRASES, check, meaning


class Endless:
    """A microphone in a room with a steady hum, open until it is let go of."""

    def __init__(self, level: float = 0.01) -> None:
        self.level, self.is_open = level, threading.Event()

    def listen(self) -> Chunks:
        self.is_open.set()
        try:
            for count in range(1_000_000):
                time.sleep(0.008)
                yield AudioChunk(np.full(512, self.level, np.float32), count * 0.032)
        finally:
            self.is_open.clear()


def source(listen: Callable[[], Chunks]) -> Source:
    return Source("barn headset", listen, lambda _: listen())


def all_of(told: queue.SimpleQueue[Told]) -> list[Told]:
    found = [told.get(timeout=20)]
    while not isinstance(found[-1], Ended):
        found.append(told.get(timeout=20))
    return found


def test_levels_are_told_until_it_is_stopped_and_the_microphone_is_let_go_of() -> None:
    microphone, told = Endless(), queue.SimpleQueue[Told]()
    rehearsal = Rehearsal(source(microphone.listen), told.put)
    level = told.get(timeout=10)
    assert isinstance(level, Update) and round(level.level_dbfs) == -40 and not level.is_clipped
    rehearsal.stop()
    assert not microphone.is_open.is_set()
    while not told.empty():
        assert isinstance(told.get(), Update)


def test_an_overdriven_microphone_is_told_of() -> None:
    told = queue.SimpleQueue[Told]()
    rehearsal = Rehearsal(source(Endless(1.0).listen), told.put)
    level = told.get(timeout=10)
    rehearsal.stop()
    assert isinstance(level, Update) and level.is_clipped


def test_a_check_tells_lines_and_what_was_heard_and_how_far_it_is_above_the_noise() -> None:
    grammar = load_grammar()
    recogniser = ScriptedRecogniser([meaning(PHRASES[0], grammar)])
    sound = with_pauses(1.0, "five.", 1.5)
    told = queue.SimpleQueue[Told]()
    Rehearsal(
        source(lambda: in_chunks(sound)),
        told.put,
        lambda chunks, prompt: check(chunks, grammar, recogniser, Settings(), prompt),
    )
    found = all_of(told)
    rest = [one for one in found if not isinstance(one, Update)]
    assert rest[0] == Prompted(1, PHRASES[0]) and rest[2] == Prompted(2, PHRASES[1]) and rest[3] == Ended()
    assert isinstance(rest[1], Said) and rest[1].is_right
    levels = [one for one in found if isinstance(one, Update)]
    assert levels[0].snr_db is None and levels[-1].snr_db == rest[1].snr_db


def test_a_microphone_that_fails_ends_it_with_its_sentence() -> None:
    def broken() -> Chunks:
        raise AudioError("barn headset: cannot be opened. Plug it in.")
        yield

    told = queue.SimpleQueue[Told]()
    Rehearsal(source(broken), told.put)
    assert all_of(told) == [Ended("barn headset: cannot be opened. Plug it in.")]


def test_a_fault_of_the_program_is_told_too() -> None:
    def broken() -> Chunks:
        raise ValueError("oops")
        yield

    told = queue.SimpleQueue[Told]()
    Rehearsal(source(broken), told.put)
    (ended,) = all_of(told)
    assert isinstance(ended, Ended) and "barn headset: the listening broke (ValueError('oops'))" in ended.failure
