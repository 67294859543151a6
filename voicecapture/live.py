"""The live microphone: a process of its own records, and this one takes what it hears.

PortAudio knows only the devices of its start, says nothing when one is unplugged, and may hang in closing it. A
process that records, and nothing else, can be ended and begun anew, with a fresh list of devices and without touching
the read-back; and the work of listening never makes it late. Its callback only queues.

A microphone that delivers nothing for a second is lost (PortAudio gives no error: spatialaudio/python-sounddevice,
issue 627). It is tried again until it is back; another one is never taken in its place.
"""

import multiprocessing
import os
import queue
import signal
import sys
import time
from collections.abc import Iterator
from contextlib import redirect_stderr, suppress
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from typing import Any

from voicecapture.audio import (
    CHUNK_SAMPLES,
    SAMPLE_RATE_HZ,
    AudioChunk,
    Chunks,
    Outage,
    Samples,
    Source,
    chunked,
    load_sounddevice,
    resampled,
    until_failure,
)
from voicecapture.errors import AudioError
from voicecapture.microphone import Microphone, find, remember
from voicecapture.sound_server import SoundServer

_LOST_S = 1.0
"""A microphone that delivers nothing for so long is lost; a callback comes every 10 to 40 ms."""
_OPENING_S = 15.0
"""A process and its microphone may take so long to start."""
_FIRST_S = 5.0
"""And its first sound so long."""
_ASKED_EVERY_S = 0.1
"""How often the sound server is asked whether it still leads to the same microphone; sound waits for the answer."""
_AGAIN_S = 1.0
"""Pause between two tries to open a microphone that is lost."""
_NOTHING = "delivers nothing any more. Plug it in again"


@dataclass(frozen=True, slots=True)
class Opened:
    """The microphone is open."""

    rate_hz: float
    """The device's own."""
    leads_to: str
    """The microphone behind a sound server, or empty."""


@dataclass(frozen=True, slots=True)
class Block:
    """Sound as the card gave it."""

    samples: Samples
    """Mono, at the device's rate, shape (samples,)."""
    ended_s: float
    """When it was there, on the monotonic clock that all processes share, seconds."""
    overflowed: bool
    """Samples before it were lost."""


@dataclass(frozen=True, slots=True)
class Failed:
    """The microphone could not be opened, or was lost."""

    reason: str


Message = Opened | Block | Failed


def listen(microphone: Microphone) -> Iterator[AudioChunk | Outage]:
    """Listen to a microphone until the caller stops; what was used is remembered.

    While it is lost an `Outage` is given at once and with every new reason. The audio clock goes on meanwhile; the
    first chunk after it has a gap before it.

    Raises:
        AudioError: If it cannot be opened at the beginning.
    """
    clock_s, start_s, ended_s, told, has_heard = 0.0, 0.0, 0.0, "", False
    while True:
        failures: list[AudioError] = []
        recording = Recording(microphone)
        try:
            for chunk in recording.chunks(failures):
                if not has_heard or told:
                    microphone = _used(microphone, recording)
                    clock_s += max(0.0, recording.began_s - ended_s) if has_heard else 0.0
                    chunk = replace(chunk, gap=chunk.gap or has_heard)
                    has_heard, told, start_s = True, "", clock_s
                clock_s = start_s + chunk.start_s + CHUNK_SAMPLES / SAMPLE_RATE_HZ
                yield replace(chunk, start_s=start_s + chunk.start_s)
        finally:
            recording.close()
        if not has_heard:
            raise failures[0]
        if recording.ended_s:
            ended_s = recording.ended_s
        if str(failures[0]) != told:
            told = str(failures[0])
            yield Outage(told)
        time.sleep(_AGAIN_S)


def unbroken(source: Source) -> Chunks:
    """The chunks of a source that must not fail.

    Raises:
        AudioError: If it gives nothing any more.
    """
    for item in source:
        if isinstance(item, Outage):
            raise AudioError(item.reason)
        yield item


def _used(microphone: Microphone, recording: "Recording") -> Microphone:
    """The microphone as it is to be found again; it is remembered so."""
    if recording.opened.leads_to != microphone.leads_to:
        microphone = replace(microphone, leads_to=recording.opened.leads_to)
    with suppress(AudioError):  # a day must not fail for it; the next one begins with the system's own choice
        remember(microphone)
    return microphone


class Recording:
    """One stretch of sound from a microphone, until it is lost."""

    def __init__(self, microphone: Microphone) -> None:
        self._microphone = microphone
        self.opened = Opened(SAMPLE_RATE_HZ, "")
        self.began_s = self.ended_s = 0.0
        """When its first and its last sample were heard, on the monotonic clock, seconds; 0 before that."""
        self._is_lost = False
        spawning = multiprocessing.get_context("spawn")
        self._inlet, outlet = spawning.Pipe(duplex=False)
        self._process = spawning.Process(target=record, args=(microphone, outlet), name="microphone", daemon=True)
        # The first process of this kind takes stderr along, and a screen puts what is no file in its place.
        with redirect_stderr(sys.__stderr__):
            self._process.start()
        outlet.close()

    def chunks(self, failures: list[AudioError]) -> Iterator[AudioChunk]:
        """Its sound; why it ended is put into `failures`. Chunks after an overflow of the sound card have a gap."""
        try:
            message = self._next(_OPENING_S)
            assert isinstance(message, Opened)
        except AudioError as error:
            failures.append(error)
            return
        self.opened = message
        for chunk in chunked(resampled(until_failure(self._blocks(), failures), message.rate_hz)):
            is_lost, self._is_lost = self._is_lost, False
            yield replace(chunk, gap=is_lost)

    def close(self) -> None:
        """End it, even if the sound card hangs."""
        self._inlet.close()
        self._process.kill()
        self._process.join()
        self._process.close()

    def _blocks(self) -> Iterator[Samples]:
        while True:
            # The first of it may be late: a Bluetooth headset changes its mode.
            message = self._next(_LOST_S if self.ended_s else _FIRST_S)
            assert isinstance(message, Block)
            if not self.ended_s:
                self.began_s = message.ended_s - len(message.samples) / self.opened.rate_hz
            self.ended_s = message.ended_s
            self._is_lost = self._is_lost or message.overflowed
            yield message.samples

    def _next(self, wait_s: float) -> Message:
        try:
            message: Message | None = self._inlet.recv() if self._inlet.poll(wait_s) else None
        except (EOFError, OSError):
            message = None
        if message is None:
            raise AudioError(f"microphone '{self._microphone}': {_NOTHING}.")
        if isinstance(message, Failed):
            raise AudioError(message.reason)
        return message


# ---- in the process that records -----------------------------------------------------------------


def record(microphone: Microphone, outlet: Connection) -> None:
    """Record until nobody takes what is recorded; the whole work of the process that records.

    Args:
        microphone: Which one; if `leads_to` is set, it must lead there.
        outlet: Takes `Opened` and then `Block`s; a `Failed` is the last.
    """
    # Ctrl-C is for the process that listens: it ends the day in order.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # ALSA and PortAudio write their troubles there, into the middle of the screen.
    with open(os.devnull, "w") as nowhere:
        os.dup2(nowhere.fileno(), 2)
    with suppress(BrokenPipeError):
        try:
            _record(microphone, outlet)
        except AudioError as error:
            outlet.send(Failed(str(error)))


def _record(microphone: Microphone, outlet: Connection) -> None:
    sounddevice = load_sounddevice()
    blocks: queue.SimpleQueue[Block | None] = queue.SimpleQueue()

    def take(block: Samples, _frames: int, _time: Any, status: Any) -> None:
        blocks.put(Block(block[:, 0].copy(), time.monotonic(), bool(status.input_overflow)))

    try:
        number = find(microphone)
        rate_hz = float(sounddevice.query_devices(number, "input")["default_samplerate"])
        with sounddevice.InputStream(
            samplerate=rate_hz,
            device=number,
            channels=1,
            dtype="float32",
            callback=take,
            finished_callback=lambda: blocks.put(None),
        ):
            server = SoundServer(os.getpid())
            leads_to = server.lead_to(microphone.leads_to) if microphone.leads_to else server.leads_to()
            _check_way(microphone, leads_to, microphone.leads_to or leads_to)
            outlet.send(Opened(rate_hz, leads_to))
            held: list[Block] = []
            asked_s = time.monotonic()
            while (block := _next_block(blocks)) is not None:
                held.append(block)
                if block.ended_s - asked_s < _ASKED_EVERY_S:
                    continue
                # What came before the answer is from this microphone; otherwise words that were cut off would be
                # followed by the silence of another and pass for whole.
                asked_s = time.monotonic()
                now = server.leads_to()
                leads_to = leads_to or now  # some servers know a stream only after a while
                _check_way(microphone, now, leads_to)
                for one in held:
                    outlet.send(one)
                held.clear()
    except (ValueError, sounddevice.PortAudioError) as error:
        raise AudioError(f"microphone '{microphone}': cannot be opened ({error}). Plug it in again.") from error
    raise AudioError(f"microphone '{microphone}': {_NOTHING}.")


def _check_way(microphone: Microphone, leads_to: str, expected: str) -> None:
    if leads_to != expected:
        raise AudioError(
            f"microphone '{microphone}': leads to {leads_to or 'nothing'} now; expected {expected}. Plug that in, or "
            "choose with --device."
        )


def _next_block(blocks: "queue.SimpleQueue[Block | None]") -> Block | None:
    """What the sound card queues; None when it has stopped, or nobody listens any more."""
    while True:
        with suppress(queue.Empty):
            return blocks.get(timeout=_LOST_S)
        parent = multiprocessing.parent_process()
        if parent is None or not parent.is_alive():
            return None
