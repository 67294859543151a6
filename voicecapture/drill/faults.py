"""Disks that fail while a day is listened to: nothing is lost, nothing is falsely called saved, and it is told."""

import errno
import os
import resource
import shutil
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, closing, contextmanager, suppress
from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path
from random import Random
from unittest.mock import patch

from voicecapture import readback
from voicecapture.day import Day, Event, ScanKind
from voicecapture.drill import Tried
from voicecapture.drill.kills import integrity
from voicecapture.drill.script import Script, ScriptedEar, sound_of
from voicecapture.session import Session
from voicecapture.speaker import Tone, Unheard
from voicecapture.store import keeper
from voicecapture.store.record import Record
from voicecapture.store.rows import read_event
from voicecapture.update import Update

Fault = Callable[[Path], AbstractContextManager[None]]
"""Breaks the disk under a database while it is entered."""

_GIVEN_UP_S = 60.0
_MANY = 50
"""From so many times on, the database is also locked for 30 s."""
_MOST_DAYS = 10
"""A fault that nobody felt on so many days is not tried any further."""
_MOST_UNSAVED = 4
"""Entries that are said during one fault, at most."""


def _failing(code: int) -> Fault:
    """The disk refuses at the synchronising of a sound or in the middle of a commit, by injection."""

    @contextmanager
    def fault(path: Path) -> Iterator[None]:
        def refuse(*_: object) -> None:
            raise OSError(code, os.strerror(code))

        def break_off(*_: object) -> None:
            raise sqlite3.OperationalError({errno.EIO: "disk I/O error"}.get(code, os.strerror(code)))

        is_sound = path.stat().st_mtime_ns % 2
        with patch.object(os, "fsync", refuse) if is_sound else patch.object(Record, "_add_event", break_off):
            yield

    return fault


@contextmanager
def _full(path: Path) -> Iterator[None]:
    """The disk is filled to the last byte."""
    filler = path.parent / "filler"
    with filler.open("wb", buffering=0) as file:
        for block in (65536, 1024, 1):
            with suppress(OSError):
                while True:
                    file.write(b"\0" * block)
    try:
        yield
    finally:
        filler.unlink(missing_ok=True)


@contextmanager
def _size_limit(_path: Path) -> Iterator[None]:
    """No file of this process may grow beyond what one sound takes."""
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, limits[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)


@contextmanager
def _locked(path: Path, for_s: float = 0.0) -> Iterator[None]:
    """Another program holds the database."""
    with closing(sqlite3.connect(path, isolation_level=None, timeout=10)) as holder:
        holder.execute("begin exclusive")
        yield
        time.sleep(for_s)
        holder.execute("rollback")


@contextmanager
def _deleted(path: Path) -> Iterator[None]:
    """The folder is deleted, and stays so."""
    shutil.rmtree(path.parent)
    yield


@contextmanager
def _away(path: Path) -> Iterator[None]:
    """The folder is gone, with something else in its place, and comes back."""
    aside = path.parent.with_name("aside")
    path.parent.rename(aside)
    path.parent.touch()
    try:
        yield
    finally:
        path.parent.unlink()
        aside.rename(path.parent)


@contextmanager
def _clock_back(_path: Path) -> Iterator[None]:
    """The machine's clock is set back by an hour."""
    with patch.object(keeper, "now", lambda: (datetime.now(UTC) - timedelta(hours=1)).isoformat()):
        yield


class _Drill(Unheard):
    """One day with a fault every few entries."""

    def __init__(self, path: Path, script: Script, fault: Fault, rng: Random) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        self.path, self.fault, self.rng = path, fault, rng
        self.record = Record.open(path)
        day_id = self.record.start_day(script.herd, date(2027, 2, 9), ScanKind.AGED, "", "drill")
        self.ear = ScriptedEar(Day(script.herd), script, before=self._before)
        self.session = Session(self.ear, self.record, day_id, self)
        self.script, self.lifting = script, ExitStack()
        self.times = self.false_saved = self.unalarmed = self.left = 0
        self.longest_alarm_s, self.began_s, self.is_alarmed, self.is_over = 0.0, 0.0, True, True
        self.failure: str | None = None
        self.last_tone = Tone.NOT_HEARD

    def run(self) -> int:
        """Listen to the day; returns how many entries are not on record, or not in their order."""
        self.session.run(sound_of(self.script), self._show, threading.Event())
        if not self.is_over:
            self._end_fault()
        rescue = self.session.keeper.end()
        self.record.close()
        said = [h.readings[0].phrase.entry for h in self.script.hearings]
        kept = [event.entry for event in _events(rescue or self.path)]
        return sum(one != other for one, other in zip(said, kept, strict=False)) + abs(len(said) - len(kept))

    def _before(self, place: int) -> None:
        if self.left:
            self.left -= 1
            if not self.left:
                self._end_fault()
        elif self.rng.random() < 0.7:
            self.left = self.rng.randint(1, _MOST_UNSAVED)
            self.lifting.enter_context(self.fault(self.path))
            self.began_s, self.is_alarmed, self.is_over = time.monotonic(), False, False

    def _end_fault(self) -> None:
        is_felt = self.is_alarmed or self.session.keeper.waiting > 0
        self.times += is_felt
        self.unalarmed += is_felt and not self.is_alarmed
        self.is_alarmed = self.is_over = True
        self.lifting.close()
        ends_s = time.monotonic() + _GIVEN_UP_S
        while self.session.keeper.waiting and time.monotonic() < ends_s:
            time.sleep(0.01)

    def _alarm(self) -> None:
        if not self.is_alarmed:
            self.is_alarmed = True
            self.longest_alarm_s = max(self.longest_alarm_s, time.monotonic() - self.began_s)

    def _show(self, update: Update) -> None:
        if any("set back" in trouble for trouble in update.troubles):
            self._alarm()

    # ---- the speaker -----------------------------------------------------------------------------

    def say(self, text: str) -> None:
        """What is announced as saved must be on the disk now, for everybody to read."""
        if self.last_tone is Tone.SAVED:
            with suppress(OSError, sqlite3.Error):
                events = _events(self.path)
                self.false_saved -= bool(events and _said(events[-1]) == text)
            self.false_saved += 1
        self.last_tone = Tone.NOT_HEARD

    def tone(self, tone: Tone) -> None:
        """See `Speaker`."""
        self.last_tone = tone
        if tone is Tone.ALARM:
            self._alarm()

    def hush(self) -> None:
        """See `Speaker`."""

    def close(self) -> None:
        """See `Speaker`."""


def _events(path: Path) -> list[Event]:
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as reader:
        reader.row_factory = sqlite3.Row
        return [read_event(dict(row)) for row in reader.execute("select * from event order by number")]


def _said(event: Event) -> str:
    return readback.say_entry(event.entry) if event.entry is not None else ""


def try_fault(name: str, fault: Fault, folder: Path, script: Script, times: int, seed: int, days: int = 0) -> Tried:
    """Listen to so many days at least, with one kind of fault until it was felt so many times."""
    rng, done = Random(seed), Tried(name, 0, 0, alarmed_s=0.0)
    for day in range(max(days, _MOST_DAYS + times)):
        if done.times >= times and day >= days:
            break
        drill = _Drill(folder / f"{seed}" / "days" / "day.db", script, fault, rng)
        lost = drill.run()
        done = Tried(
            name,
            done.times + drill.times,
            done.lost + lost,
            done.false_saved + drill.false_saved,
            max(done.alarmed_s or 0.0, drill.longest_alarm_s),
            done.unalarmed + drill.unalarmed,
            done.broken + integrity(drill.path),
        )
        shutil.rmtree(drill.path.parent)
    return done


@contextmanager
def _small_disk(folder: Path) -> Iterator[bool]:
    """A disk of 4 MB in memory, where the system and the rights allow it."""
    folder.mkdir()
    is_mounted = sys.platform == "linux" and os.geteuid() == 0
    if is_mounted:
        command = ["mount", "-t", "tmpfs", "-o", "size=4m", "none", str(folder)]
        is_mounted = subprocess.run(command, capture_output=True).returncode == 0
    try:
        yield is_mounted
    finally:
        if is_mounted:
            subprocess.run(["umount", "-l", str(folder)], check=True)


def try_faults(folder: Path, script: Script, times: int) -> Iterator[Tried]:
    """All kinds of faults; those that take seconds each are tried less often.

    Args:
        folder: Made for the drill alone.
        script: What is said on each day.
        times: How often the quick ones are tried.
    """
    slow = max(1, times // 5)
    kinds: list[tuple[str, Fault, int]] = [
        ("EIO at a sound or in a commit (injected)", _failing(errno.EIO), times),
        ("read-only (injected)", _failing(errno.EROFS), times),
        ("no file may grow (RLIMIT_FSIZE)", _size_limit, times),
        ("folder deleted", _deleted, times),
        ("folder away, and back", _away, times),
        ("database locked by another program", _locked, slow),
        ("clock set back an hour", _clock_back, times),
    ]
    if times >= _MANY:
        kinds.append(("database locked for 30 s", partial(_locked, for_s=30.0), 1))
    for seed, (name, fault, n) in enumerate(kinds):
        yield try_fault(name, fault, folder, script, n, seed)
    with _small_disk(folder / "small") as is_small:
        full: tuple[str, Fault] = ("disk full (injected)", _failing(errno.ENOSPC))
        if is_small:
            full = ("disk full (4 MB tmpfs)", _full)
        yield try_fault(*full, folder / "small", script, times, len(kinds))
