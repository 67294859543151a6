"""Kill -9 while a day is listened to: at random moments, and at every line of a save."""

import multiprocessing
import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from multiprocessing.connection import Connection
from pathlib import Path
from random import Random
from types import FrameType
from typing import Any

import soundfile

from voicecapture import demo, readback, store
from voicecapture.day import Day, ScanKind
from voicecapture.drill import Tried
from voicecapture.drill.script import PACE_S, Script, ScriptedEar, sound_of, utterance_at
from voicecapture.session import Session
from voicecapture.speaker import Tone, Unheard
from voicecapture.store.record import Record
from voicecapture.store.resume import cut_off_day, resume
from voicecapture.store.rows import read_event

_STORE = str(Path(store.__file__).parent)
_LONGEST_S = 60.0


class _Announcing(Unheard):
    """A `Speaker` that tells the parent what is announced as saved."""

    failure: str | None = None

    def __init__(self, pipe: Connection) -> None:
        self._pipe, self._tone = pipe, Tone.NOT_HEARD

    def say(self, text: str) -> None:
        if self._tone is Tone.SAVED:
            self._pipe.send(text)
        self._tone = Tone.NOT_HEARD

    def tone(self, tone: Tone) -> None:
        self._tone = tone

    def hush(self) -> None: ...

    def close(self) -> None: ...


class _DiesAtLine:
    """Kills the process at one line of the code that writes, counted over all saves; at 0 it only counts."""

    def __init__(self, line: int) -> None:
        self.line, self.count = line, 0

    def __call__(self, frame: FrameType, event: str, _argument: Any) -> Any:
        if not frame.f_code.co_filename.startswith(_STORE):
            return None
        if event == "line":
            self.count += 1
            if self.count == self.line:
                os.kill(os.getpid(), signal.SIGKILL)
        return self


def _listen(path: Path, script: Script, pipe: Connection, dies_at_line: int | None) -> None:
    """The child: begin the day or go on with it, and listen to its end."""
    at = datetime.now(UTC).astimezone()
    tracer = _DiesAtLine(dies_at_line or 0)
    record = Record.open(path)
    cut_off = cut_off_day(record, at)
    if cut_off is None:
        day_id, day, first, from_s = _begin(record, script), Day(script.herd), 1, 0.0
    else:
        resumed = resume(record, cut_off, at, is_live=False)
        day_id, day, first, from_s = cut_off.day_id, resumed.day, resumed.next_utterance, resumed.from_s
    if dies_at_line is not None:
        threading.settrace(tracer)
    session = Session(ScriptedEar(day, script, first), record, day_id, _Announcing(pipe), from_s=from_s)
    threading.settrace(None)
    session.run(sound_of(script, from_s), lambda update: None, threading.Event())
    session.keeper.end()
    record.end_day(day_id)
    record.close()
    pipe.send(tracer.count)


def _begin(record: Record, script: Script) -> int:
    today = datetime.now(UTC).astimezone().date()
    return record.start_day(script.herd, today, ScanKind.AGED, "", "drill")


@dataclass(slots=True)
class _Life:
    """What one child announced before it died or ended."""

    announced: list[str]
    lines: int | None
    """Lines of a save that it went through; None if it was killed."""


def _live(path: Path, script: Script, kill_after_s: float | None, dies_at_line: int | None) -> _Life:
    context: Any = multiprocessing.get_context("forkserver" if hasattr(os, "fork") else "spawn")
    if hasattr(os, "fork"):
        context.set_forkserver_preload([__name__])
    ours, theirs = multiprocessing.Pipe(duplex=False)
    child = context.Process(target=_listen, args=(path, script, theirs, dies_at_line), daemon=True)
    child.start()
    theirs.close()
    life = _Life([], None)
    ends_s = time.monotonic() + (_LONGEST_S if kill_after_s is None else kill_after_s)
    while (left_s := ends_s - time.monotonic()) > 0 and ours.poll(left_s):
        if not _take(ours, life):
            break
    child.kill()
    child.join()
    while ours.poll() and _take(ours, life):
        pass  # what it said before it died
    return life


def _take(pipe: Connection, life: _Life) -> bool:
    try:
        told = pipe.recv()
    except (EOFError, OSError):
        return False
    if isinstance(told, int):
        life.lines = told
        return False
    life.announced.append(told)
    return True


def kill_at_random(folder: Path, script: Script, kills: int, seed: int, longest_s: float) -> Tried:
    """Kill a listening process at random moments of its life, and let the next one go on, day after day."""
    rng, days, done, lost, broken = Random(seed), 0, 0, 0, 0
    while done < kills:
        path, announced, has_ended = folder / f"day{days}.db", list[str](), False
        while not has_ended:
            kill_after_s = rng.uniform(0.0, longest_s) if done < kills else None
            life = _live(path, script, kill_after_s, None)
            done += life.lines is None
            has_ended = _has_ended(path)
            announced += life.announced
            if path.exists():
                lost, broken = lost + _lost(path, announced), broken + _broken(path)
        lost += _unheard(path, script)
        days += 1
    return Tried("kill -9 at a random moment", done, lost, broken=broken)


def kill_at_every_line(folder: Path, script: Script, every: int) -> Tried:
    """Kill a listening process at every n-th line of the code that writes the first two entries."""
    short = Script(script.herd, script.hearings[:2])
    lines = _live(folder / "whole.db", short, None, 0).lines or 0
    times = lost = broken = 0
    for line in range(1, lines + 1, every):
        path = folder / f"line{line}.db"
        announced = _live(path, short, None, line).announced
        times += 1
        lost, broken = lost + _lost(path, announced), broken + _broken(path)
        _live(path, short, None, None)
        lost, broken = lost + _unheard(path, short), broken + _broken(path)
    return Tried("kill -9 at every line of a save", times, lost, broken=broken)


def kill_the_program(folder: Path, kills: int) -> Tried:
    """Kill the whole program at random moments while it hears a recording with the real listener.

    Every entry that it printed must be on record; and once it was heard to its end, the day must be the one that
    nobody killed.
    """
    rng, done, lost, broken = Random(kills), 0, 0, 0
    whole = folder / "unkilled.db"
    _run_program(whole, None)
    while done < kills:
        path, printed = folder / f"program{done}.db", list[str]()
        while not path.exists() or not _has_ended(path):
            printed += _run_program(path, rng.uniform(4.0, 40.0) if done < kills else None)
            done += not path.exists() or not _has_ended(path)
        lost += len(set(printed) - set(_entries(path))) + len(set(_entries(whole)) ^ set(_entries(path)))
        broken += integrity(path)
    return Tried("kill -9 of the whole program", done, lost, broken=broken)


def _run_program(path: Path, kill_after_s: float | None) -> list[str]:
    """Listen to the demo morning; returns the entries that were printed as taken."""
    recording, herd = str(demo.RECORDING), str(demo.HERD)
    options = ["--from", recording, "--herd", herd, "--speed", "30", "--database", str(path), "--plain", "--quiet"]
    command = [sys.executable, "-m", "voicecapture", "listen", *options]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as program:
        try:
            printed, _ = program.communicate(timeout=kill_after_s)
        except subprocess.TimeoutExpired:
            program.kill()
            printed, _ = program.communicate()
    return [line.split(" -> ")[1].split("  ! ")[0].strip() for line in printed.splitlines() if "  taken  " in line]


def _entries(path: Path) -> list[str]:
    """What is on record, as it is read back."""
    with closing(sqlite3.connect(path)) as reader:
        reader.row_factory = sqlite3.Row
        if not reader.execute("select 1 from sqlite_master where name = 'event'").fetchall():
            return []
        events = [read_event(dict(row)) for row in reader.execute("select * from event order by number")]
    return [readback.say_entry(event.entry) for event in events if event.entry is not None]


def _lost(path: Path, announced: Sequence[str]) -> int:
    """How many announced entries are not on record."""
    return len(set(announced) - set(_entries(path)))


def _has_ended(path: Path) -> bool:
    with closing(sqlite3.connect(path)) as reader:
        is_made = reader.execute("select 1 from sqlite_master where name = 'ending'").fetchall()
        return bool(is_made and reader.execute("select 1 from ending").fetchall())


def _unheard(path: Path, script: Script) -> int:
    """How many entries of a recorded day are not on record once, after it was heard to its end."""
    found = _entries(path)
    expected = [h.readings[0].phrase.entry for h in script.hearings]
    return sum(entry is not None and found.count(readback.say_entry(entry)) != 1 for entry in expected)


def _broken(path: Path) -> int:
    """1 if the file or a sound of it is not whole, or a sound is another's."""
    if integrity(path):
        return 1
    with closing(sqlite3.connect(path)) as reader:
        if not reader.execute("select 1 from sqlite_master where name = 'utterance'").fetchall():
            return 0
        clips = reader.execute("select clip, start_s from utterance").fetchall()
    return int(any(not _is_its_sound(path.parent / clip, start_s) for clip, start_s in clips))


def integrity(path: Path) -> int:
    """1 if SQLite finds anything amiss in a file, else 0."""
    with closing(sqlite3.connect(path)) as reader:
        return int(reader.execute("pragma integrity_check").fetchall() != [("ok",)])


def _is_its_sound(clip: Path, start_s: float) -> bool:
    try:
        samples, _ = soundfile.read(clip, dtype="float32")
    except (soundfile.LibsndfileError, OSError):
        return False
    meant = utterance_at(round(start_s / PACE_S)).samples
    return len(samples) == len(meant) and bool(abs(samples - meant).max() < 1e-3)
