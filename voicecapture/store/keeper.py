"""Keeps what was decided although the disk may fail: what is not on it yet waits in memory, in order.

One thread writes. Whoever hands something in waits a moment for it, and is told whether it is on the disk; nothing
that the disk does can hold up the listening for longer.
"""

import tempfile
import threading
import time
from collections import deque
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

from voicecapture.day import Event
from voicecapture.errors import RecordError
from voicecapture.recogniser import Hearing
from voicecapture.segmenter import Utterance
from voicecapture.store.record import Record, now
from voicecapture.store.rows import event_columns

PATIENCE_S = 1.0
"""How long an entry waits for the disk before it is said that it is not saved."""
_KNOWN_S = 0.1
"""So long where others wait already."""
_RETRY_S = 0.5
_LAST_TRY_S = 5.0
MOST_SOUND_BYTES = 128_000_000
"""Sound of what is not on the disk, half an hour of speech; what comes after it waits without its sound."""
_CLOCK_STEP = timedelta(minutes=1)
"""A clock set back by more than this is told; less is the network's time setting it right."""


@dataclass(frozen=True, slots=True)
class _Waiting:
    """What is to be written."""

    event: Event
    recorded_at: str
    number: int
    """Of the event within its day."""
    utterance: Utterance | None
    hearing: Hearing | None


class Keeper:
    """Writes the events of one day, which the record must hold for this program alone."""

    def __init__(self, record: Record, day_id: int) -> None:
        self._record, self._day_id = record, day_id
        with record.translated("the day could not be read"):
            (self._day,) = record.db.query("select * from day where id = ?", [day_id])
            self._animals = list(record.db.query("select * from animal where day_id = ? order by position", [day_id]))
            self._events = list(record.db.query("select * from event where day_id = ? order by number", [day_id]))
        self._saved = len(self._events)
        """Events on the disk."""
        self._waiting: deque[_Waiting] = deque()
        self._changed = threading.Condition()
        self._sound_bytes = self._failures = 0
        self._reason = self._clock_trouble = self._notice = ""
        self._is_ending = False
        self._writer = threading.Thread(target=self._write, name="record", daemon=True)
        self._writer.start()

    def keep(self, event: Event, utterance: Utterance | None = None, hearing: Hearing | None = None) -> bool:
        """Hand in what was decided, with what was heard if it was spoken.

        Returns:
            True once it is on the disk; False if it is not within `PATIENCE_S` at most. Then it waits, and is written
            when that can be.
        """
        with self._changed:
            recorded_at = self._now()
            if utterance is not None and self._sound_bytes + utterance.samples.nbytes > MOST_SOUND_BYTES:
                utterance = replace(utterance, samples=utterance.samples[:0])
            self._sound_bytes += utterance.samples.nbytes if utterance is not None else 0
            patience_s = _KNOWN_S if self._waiting else PATIENCE_S
            number, failures = len(self._events) + 1, self._failures
            row = {"day_id": self._day_id, "number": number, **event_columns(event), "recorded_at": recorded_at}
            self._events.append(row)
            self._waiting.append(_Waiting(event, recorded_at, number, utterance, hearing))
            self._changed.notify_all()
            self._changed.wait_for(lambda: self._saved >= number or self._failures > failures, patience_s)
            return self._saved >= number

    @property
    def waiting(self) -> int:
        """How many events are not on the disk."""
        with self._changed:
            return len(self._waiting)

    @property
    def trouble(self) -> str:
        """What is not on the disk, and why; or what else befell the record. Empty while all is well."""
        with self._changed:
            if not self._waiting:
                return self._clock_trouble or self._notice
            reason = self._reason or f"{self._record.path}: the disk does not answer"
            return f"NOT SAVED: {len(self._waiting)} waiting. {reason}"

    def end(self) -> Path | None:
        """Write what still waits and the end of the day; what cannot be written goes to a rescue file.

        Returns:
            The rescue file, a database with all events of the day; None if everything is where it belongs.

        Raises:
            RecordError: If neither could be written; it names every event that is nowhere.
        """
        with self._changed:
            self._changed.notify_all()
            self._changed.wait_for(lambda: not self._waiting, _LAST_TRY_S)
            self._is_ending = True
            self._changed.notify_all()
            waiting = tuple(self._waiting)
        if not waiting:
            self._writer.join(_LAST_TRY_S)
            return None
        return self._rescue(waiting)

    # ---- the thread that writes ------------------------------------------------------------------

    def _write(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._waiting or self._is_ending)
                if self._is_ending:
                    return
                first = self._waiting[0]
            try:
                self._write_one(first)
            except Exception as error:  # whatever it is, it must not end the day nor the writing
                with self._changed:
                    self._reason, self._failures = str(error), self._failures + 1
                    self._changed.notify_all()
                    self._changed.wait(_RETRY_S)
                continue
            with self._changed:
                self._waiting.popleft()
                self._sound_bytes -= first.utterance.samples.nbytes if first.utterance is not None else 0
                self._saved, self._reason = first.number, ""
                self._changed.notify_all()

    def _write_one(self, one: _Waiting) -> None:
        if self._record.reach():
            self._notice = f"{self._record.path}: was deleted and has been made anew; the sound until then is gone"
            raise RecordError(f"{self._notice}. What was said is written now.")
        if self._on_disk() >= one.number:
            return  # it was written, and that was not seen any more
        self._add(self._record, one)

    def _add(self, record: Record, one: _Waiting) -> None:
        spoken = one.event.utterance
        if spoken is None or one.utterance is None or one.hearing is None:
            record.append(self._day_id, one.event, one.recorded_at)
        else:
            record.keep(self._day_id, spoken, one.utterance, one.hearing, one.event, one.recorded_at)

    def _on_disk(self) -> int:
        with self._record.translated("the day could not be read"):
            query = "select count(*) from event where day_id = (select id from day where id = ? and name = ?)"
            ((count,),) = self._record.db.execute(query, [self._day_id, self._day["name"]]).fetchall()
        if count < self._saved:
            raise RecordError(
                f"{self._record.path}: another file than before ({count} events of the day; expected {self._saved}). "
                "Put the disk back that was there."
            )
        return int(count)

    # ---- the last resort -------------------------------------------------------------------------

    def _rescue(self, waiting: tuple[_Waiting, ...]) -> Path:
        name = f"{_rescue_name(self._day['name'])}_{time.time_ns()}.db"
        for folder in _rescue_folders():
            try:
                self._write_rescue(folder / name, waiting)
            except RecordError:
                continue
            return folder / name
        told = "; ".join(" ".join((one.event.heard, f"({one.event.reason})")) for one in waiting)
        raise RecordError(
            f"{self._record.path}: {len(waiting)} events could not be saved anywhere ({self._reason}). Write them "
            f"down: {told}."
        )

    def _write_rescue(self, path: Path, waiting: tuple[_Waiting, ...]) -> None:
        with closing(Record.open(path)) as rescue, rescue.translated("the rescue file could not be written"):
            with rescue.db.atomic():
                rescue.add("day", **self._day)
                for animal in self._animals:
                    rescue.add("animal", **animal)
                for event in self._events[: waiting[0].number - 1]:
                    rescue.add("event", **event)
            for one in waiting:
                self._add(rescue, one)
            rescue.end_day(self._day_id)

    def _now(self) -> str:
        at = now()
        if self._events:
            back = datetime.fromisoformat(self._events[-1]["recorded_at"]) - datetime.fromisoformat(at)
            self._clock_trouble = ""
            if back > _CLOCK_STEP:
                self._clock_trouble = (
                    f"the clock was set back by {back.total_seconds() / 60:.0f} minutes; what counts goes by the "
                    "order in which it was said"
                )
        return at


def _rescue_folders() -> tuple[Path, ...]:
    """Where a day may be rescued to, the lasting places first."""
    return Path.home(), Path.cwd(), Path(tempfile.gettempdir())


def _rescue_name(day: str) -> str:
    return f"voicecapture_rescue_{day[:8]}"


def rescues_of(day: str) -> list[Path]:
    """The files into which a day of this name was rescued, if they are still where they were made."""
    found = (path for folder in _rescue_folders() for path in folder.glob(f"{_rescue_name(day)}_*.db"))
    return sorted(set(found), key=lambda path: path.name)
