"""All sound of a live day, in short files that a power cut leaves readable.

A recording of the day beside its record: whatever was said in the last moment before a power cut, or was passed over,
can be heard again with `voicecapture hear`. The record itself does not need it: what goes wrong here is told and
stops nothing.
"""

import os
import queue
import re
import shutil
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import soundfile

from voicecapture.alert import LEAST_FREE_BYTES
from voicecapture.audio import (
    CHUNK_SAMPLES,
    SAMPLE_RATE_HZ,
    AudioChunk,
    check_recording,
    read_recording,
    until_failure,
)
from voicecapture.errors import AudioError

FILE_S = 10.0
"""Length of a file, seconds."""
_CHUNK_S = CHUNK_SAMPLES / SAMPLE_RATE_HZ
_SYNC_CHUNKS = 31
"""A power cut loses about a second: what is not on the disk yet, and the encoder's block of a quarter."""
_HELD_CHUNKS = 1875
"""A minute waits for a slow disk."""
_NAME = re.compile(r"^(\d{6})_(\d{9})ms\.flac$")
"""Number of the file within the day, and the audio clock at its beginning."""


class Spool:
    """Writes the sound of a day from a thread of its own."""

    def __init__(self, folder: Path, hours: float, drops_oldest: bool) -> None:
        """Make a spool.

        Args:
            folder: Where the day's sound goes; what is in it already stays.
            hours: How much of it is kept.
            drops_oldest: Whether the oldest makes room then; otherwise no more is kept.
        """
        self.failure: str | None = None
        """Why sound is not kept now; None if it is."""
        self._folder, self._drops_oldest = folder, drops_oldest
        self._most = round(hours * 3600 / FILE_S)
        self._names: list[str] = []
        self._waiting: queue.Queue[AudioChunk | None] = queue.Queue(_HELD_CHUNKS)
        self._worker = threading.Thread(target=self._work, name="spool", daemon=True)
        self._worker.start()

    def put(self, chunk: AudioChunk) -> None:
        """Keep a chunk; never waits for the disk."""
        try:
            self._waiting.put_nowait(chunk)
        except queue.Full:
            self.failure = f"sound is not kept: {self._folder} takes no more than it has; the disk is too slow"

    def close(self) -> None:
        """Write what waits; for 5 s at most."""
        try:
            self._waiting.put(None, timeout=5)
        except queue.Full:
            return
        self._worker.join(timeout=5)

    def _work(self) -> None:
        file: _File | None = None
        chunk: AudioChunk | None = None
        while chunk is not None or (chunk := self._waiting.get()) is not None:
            try:
                if file is None:
                    file = self._begin(chunk)
                if file is not None and not file.add(chunk):
                    file.close()
                    file = None
                    continue  # the chunk begins the next file
            except (OSError, soundfile.LibsndfileError) as error:
                self.failure = f"sound is not kept: {self._folder}: {error}"
                file = None
            chunk = None
        if file is not None:
            try:
                file.close()
            except (OSError, soundfile.LibsndfileError) as error:
                self.failure = f"sound is not kept: {self._folder}: {error}"

    def _begin(self, chunk: AudioChunk) -> "_File | None":
        """The file that begins with a chunk; None if there is no room for it."""
        if not self._names:
            self._folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            self._names = [path.name for path in _files(self._folder)]
        if shutil.disk_usage(self._folder).free < LEAST_FREE_BYTES:
            self.failure = "sound is not kept: the room on the disk is left to the record"
            return None
        if len(self._names) >= self._most:
            if not self._drops_oldest:
                self.failure = (
                    f"sound is not kept: {self._most * FILE_S / 3600:g} hours of it are there (spool_hours)"
                )
                return None
            (self._folder / self._names.pop(0)).unlink(missing_ok=True)
        number = int(self._names[-1][:6]) + 1 if self._names else 1
        name = f"{number:06d}_{round(1000 * chunk.start_s):09d}ms.flac"
        file = _File(self._folder / name, chunk.start_s)
        self._names.append(name)
        self.failure = None
        return file


class _File:
    """One file of the spool, on the disk up to its last second."""

    def __init__(self, path: Path, start_s: float) -> None:
        self._next_s, self._end_s = start_s, start_s + FILE_S
        self._count = 0
        self._data = open(path, "xb", opener=_private)  # noqa: SIM115
        self._sound: Any = soundfile.SoundFile(self._data, "w", SAMPLE_RATE_HZ, 1, subtype="PCM_16", format="FLAC")
        _sync_folder(path.parent)

    def add(self, chunk: AudioChunk) -> bool:
        """Write a chunk; False if it does not follow the last one in this file."""
        if chunk.start_s >= self._end_s or abs(chunk.start_s - self._next_s) > _CHUNK_S / 2:
            return False
        self._sound.write(chunk.samples)
        self._next_s += _CHUNK_S
        self._count += 1
        if self._count % _SYNC_CHUNKS == 0:
            self._sync()
        return True

    def close(self) -> None:
        self._sound.close()
        self._sync()
        self._data.close()

    def _sync(self) -> None:
        self._data.flush()
        os.fsync(self._data.fileno())


def _private(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


def _sync_folder(folder: Path) -> None:
    """Bring the name of a new file to the disk; Windows does so by itself and lets no folder be opened."""
    if os.name == "posix":
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)


# ---- heard again ---------------------------------------------------------------------------------


def check_sound(path: Path) -> None:
    """Look at a recording, or the folder of a spool, before anything is written.

    Raises:
        AudioError: If it is neither, or no sound can be had from it.
    """
    if not path.is_dir():
        check_recording(path)
    elif not _files(path):
        days = sorted(one for one in path.iterdir() if one.is_dir() and _files(one))
        found = f"the sound of {len(days)} days" if days else "a folder without the sound of a day"
        advice = f"Name one of them: {days[0]}" if days else "Name the folder of a day, or the recordings in it"
        raise AudioError(f"{path}: {found}; expected a recording or the sound of one day. {advice}.")


def read_sound(path: Path) -> Iterator[AudioChunk]:
    """Read a recording, or the folder of a spool as one recording on the day's own audio clock.

    Raises:
        AudioError: If a file breaks, after all that can be read; of a spool's last file, which a power cut leaves
            unfinished, it is no error.
    """
    check_sound(path)
    if not path.is_dir():
        yield from read_recording(path)
        return
    failures: list[AudioError] = []
    files = _files(path)
    offset_s = end_s = 0.0
    for file in files:
        start_s = offset_s + int(file.name[7:16]) / 1000
        if start_s < end_s - _CHUNK_S:  # the program was started anew, and its clock with it
            offset_s += end_s - start_s
            start_s = end_s
        broken: list[AudioError] = []
        # A hole is what the microphone lost, or what was dropped.
        gap = end_s > 0 and start_s - end_s > _CHUNK_S
        for chunk in until_failure(read_recording(file), broken):
            yield AudioChunk(chunk.samples, start_s + chunk.start_s, gap)
            end_s, gap = start_s + chunk.start_s + _CHUNK_S, False
        failures += broken if file != files[-1] else []
    if failures:
        raise failures[0]


def _files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.iterdir() if _NAME.match(path.name))
