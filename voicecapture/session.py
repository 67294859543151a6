"""The loop that joins the stages: sound and typed lines in, record and read-back out.

It runs from a recording to a database without microphone, loudspeaker or screen. Everything heard is timed by the
audio clock, so that a recording gives the same day at every speed; typed lines go by the same clock.
"""

import queue
import shutil
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from voicecapture import readback
from voicecapture.alert import disk_alert
from voicecapture.audio import (
    CHUNK_SAMPLES,
    SAMPLE_RATE_HZ,
    AudioChunk,
    Outage,
    Samples,
    Source,
    is_narrow_band,
    level_dbfs,
)
from voicecapture.day import STILL_THERE, Day, Event, EventKind
from voicecapture.decision import Decision, Outcome
from voicecapture.ear import Ear, Heard
from voicecapture.echo import find_echo
from voicecapture.errors import AudioError
from voicecapture.language.phrase import Command
from voicecapture.reader import Reader
from voicecapture.reads import is_electronic_id
from voicecapture.segmenter import FULL_SCALE
from voicecapture.sound import noise_after
from voicecapture.speaker import Speaker, Tone
from voicecapture.spool import Spool
from voicecapture.store.keeper import Keeper
from voicecapture.store.record import Record
from voicecapture.update import Update

_SPEECH = 0.5
"""Speech probability at which the read-back gives way to the vet."""
_LEVEL_EVERY_CHUNKS = 4
"""The level meter is renewed about eight times a second."""
_HELD_CHUNKS = 64
"""Sound waiting to be heard, 2 s; a recording is read no further ahead."""
_IN_TIME_CHUNKS = 4
"""With more sound waiting than this, 0.13 s, nothing is heard only to be shown."""
_WAIT_S = 0.05
"""Without sound, typed lines are looked for so often."""
_SILENCE_S = 1.0
"""A source that gives nothing for so long has fallen silent."""
_WARNED_S = 3.0
"""How long a screen tells of clipping and lost sound after it."""
_CHUNK_S = CHUNK_SAMPLES / SAMPLE_RATE_HZ
_ENDING_S = 1.5
"""Silence after lost sound, in which what was being said comes to its end: longer than the segmenter's long pause."""
_MUTED_S = 10.0
"""Nothing but zeros for so long is a muted microphone; a headset may give them between words."""
_ALARM_EVERY_S = 15.0
_OWN_S, _JUDGED_S = 1.0, 1.5
"""Without so much of a sentence nobody can tell whether a loudspeaker is heard; so much of it is looked for."""
_NO_SOUND = "no sound from the microphone"
_MUTED = "the microphone gives silence: is it muted?"
_NARROW = "telephone sound: nothing above 4 kHz; set the headset to wide band, or choose another with --device"

Watch = Callable[[Event, Day], tuple[str, ...]]
"""Says what speaks against an entry, given the day after it."""


def _unwatched(_event: Event, _day: Day) -> tuple[str, ...]:
    return ()


class Session:
    """One day being listened to."""

    def __init__(
        self,
        ear: Ear,
        record: Record,
        day_id: int,
        speaker: Speaker,
        watch: Watch = _unwatched,
        reader: Reader | None = None,
        spool: Spool | None = None,
        from_s: float = 0.0,
    ) -> None:
        self._ear, self._record, self._speaker, self._watch = ear, record, speaker, watch
        self.keeper = Keeper(record, day_id)
        self._reader, self._spool = reader, spool
        self._typed: queue.SimpleQueue[tuple[str, Day | None, float]] = queue.SimpleQueue()
        """Lines with the day that was seen, None of the reader's; and when they came."""
        self._show: Callable[[Update], None] = lambda update: None
        self._state = Update(ear.day, None, from_s, -60.0, -60.0, is_speech=False, said="")
        """What a screen is told with the next thing that happens."""
        last = ear.day.last_entry()
        self._said = readback.say_entry(last.entry) if last is not None and last.entry is not None else ""
        self._is_alarmed = False
        """The vet was told that entries are not saved, and not yet that they are again."""
        self._count = 0
        self._clipped_s = self._gap_s = float("-inf")
        self._source_failure = ""
        self._arrived: queue.Queue[tuple[AudioChunk | Outage, float]] = queue.Queue(_HELD_CHUNKS)
        self._arrived_s = self._idled_s = time.monotonic()
        """When the last chunk came, and when a screen was last told that none comes."""
        self._lost_at: datetime | None = None
        """Since when the source gives nothing; None while it gives sound."""
        self._alarmed_s = 0.0
        self._is_ending = False
        """Silence takes the place of lost sound."""
        self._zeros_s = 0.0
        self._lately: deque[Samples] = deque(maxlen=round(2 * _JUDGED_S / _CHUNK_S))

    @property
    def day(self) -> Day:
        """The day as it stands."""
        return self._ear.day

    def type(self, line: str, seen: Day) -> None:
        """Hand in a line typed by hand, from any thread; the thread that listens decides on it at once.

        Args:
            line: In the words that may be spoken: "417 pregnant 58 days", "first"; or an electronic ID, as a reader
                that is a keyboard types it.
            seen: The day of the last update that was shown when it was typed.
        """
        self._typed.put((line, seen, time.monotonic()))

    def read(self, line: str) -> None:
        """Hand in a line of the electronic-ID reader, from any thread.

        Args:
            line: As the reader sent it, or `reads.LOST`.
        """
        self._typed.put((line, None, time.monotonic()))

    def run(
        self,
        chunks: Source,
        show: Callable[[Update], None],
        stop: threading.Event,
        stays_open: bool = False,
    ) -> Day:
        """Listen until the source ends or `stop` is set; `show` gets every change.

        An entry is in the database before its tone sounds; one that cannot be written sounds as an alarm and waits in
        `keeper`, which is to be ended. `stop` is set when this returns.

        Args:
            chunks: In order, from one source; taken in a thread of its own.
            show: Told every change, in the thread that listens.
            stop: Ends the day; what was said until then is still heard.
            stays_open: Go on with typed lines after the source has ended or failed, until `stop` is set.

        Raises:
            AudioError: If the source failed, after everything that it gave was heard and kept.
        """
        self._show = show
        if self._reader is not None:
            threading.Thread(target=self._reader.run, args=(self.read, stop), name="reader", daemon=True).start()
        failure: AudioError | None = None
        try:
            try:
                for heard in self._ear.hear(self._arriving(chunks, stop), self._on_chunk, self._has_time):
                    self._keep(heard)
            except AudioError as error:
                failure, self._source_failure = error, str(error)
            if failure is None and not stop.is_set():
                self._source_failure = "the recording has ended"
            if stays_open:
                self._tell_silence()
            while stays_open and not stop.wait(_WAIT_S):
                self._wait()
            self._take_typed()
            self._end()
        finally:
            stop.set()
        if failure is not None:
            raise failure
        return self.day

    # ---- what comes in ---------------------------------------------------------------------------

    def _arriving(self, chunks: Source, stop: threading.Event) -> Iterator[AudioChunk]:
        """The chunks until `stop` is set; typed lines are taken between them, and where none come."""
        arrived = self._arrived
        failures: list[Exception] = []
        reader = threading.Thread(
            target=_read, args=(chunks, arrived, failures, stop, self._spool), name="sound", daemon=True
        )
        reader.start()
        self._arrived_s = time.monotonic()
        while True:
            try:
                chunk, came_s = arrived.get(timeout=_WAIT_S)
            except queue.Empty:
                if stop.is_set() or (not reader.is_alive() and arrived.empty()):
                    break
                self._wait()
                continue
            if isinstance(chunk, Outage):
                yield from self._lose(chunk)
                continue
            if self._lost_at is not None:
                self._find_again(self._lost_at)
            self._take_typed()
            self._arrived_s = came_s
            yield chunk
        if failures:
            raise failures[0]

    def _wait(self) -> None:
        """No sound came for a moment."""
        self._take_typed()
        if time.monotonic() - max(self._arrived_s, self._idled_s) > _SILENCE_S:
            self._tell_silence()
        if self._lost_at is not None and time.monotonic() - self._alarmed_s > _ALARM_EVERY_S:
            self._alarm(_NO_SOUND)

    def _lose(self, outage: Outage) -> Iterator[AudioChunk]:
        """The source is lost: put it on record, let what was being said come to its end, and sound the alarm."""
        is_new, self._source_failure = self._lost_at is None, outage.reason
        if not is_new:
            return
        self._lost_at = datetime.now() - timedelta(seconds=time.monotonic() - self._arrived_s)
        self._note(f"no sound from {self._lost_at:%H:%M:%S}: {outage.reason}")
        silence, now_s = np.zeros(CHUNK_SAMPLES, np.float32), self._state.now_s
        self._is_ending = True
        for i in range(round(_ENDING_S / _CHUNK_S)):
            yield AudioChunk(silence, now_s + i * _CHUNK_S, gap=True)
        self._is_ending = False
        # After the tone for what was being said, which would take the alarm's place.
        self._alarm(_NO_SOUND)

    def _find_again(self, lost_at: datetime) -> None:
        """Sound arrives again."""
        self._lost_at, self._source_failure = None, ""
        lost_s = time.monotonic() - self._arrived_s
        self._note(f"no sound from {lost_at:%H:%M:%S} to {datetime.now():%H:%M:%S}, {lost_s:.0f} s")
        self._speaker.say("listening again")

    def _note(self, reason: str) -> None:
        """Keep and show what happened to the sound."""
        event = Event(EventKind.IGNORED, self._now_s(), reason=reason)
        self._ear.happened(event)
        self.keeper.keep(event)
        self._tell(replace(self._state, decision=Decision(Outcome.IGNORED, event)))

    def _end(self) -> None:
        """What the day's end leaves to be put on record."""
        if self._lost_at is not None:
            self._note(f"no sound from {self._lost_at:%H:%M:%S} to the end")
        if self._state.gaps:
            self._note(f"sound was lost {self._state.gaps} times on its way in")

    def _tell_silence(self) -> None:
        self._state = replace(self._state, now_s=self._now_s(), is_speech=False, is_arriving=False)
        self._idled_s = time.monotonic()
        self._tell(self._state)

    def _take_typed(self) -> None:
        while not self._typed.empty():
            line, seen, came_s = self._typed.get()
            at_s = self._audio_s(came_s)
            if seen is None or is_electronic_id(line):
                decision = self._ear.at_gate(line, at_s)
            else:
                decision = self._ear.read(line, seen, at_s)
            if decision is None:
                continue
            is_saved = self.keeper.keep(decision.event)
            if decision.event.reason != STILL_THERE:
                self._answer(decision, is_saved)

    def _now_s(self) -> float:
        """The audio clock, going on by itself since the last chunk."""
        return self._audio_s(time.monotonic())

    def _audio_s(self, monotonic_s: float) -> float:
        """A time of the machine's clock on the audio clock."""
        return max(0.0, self._state.now_s + monotonic_s - max(self._arrived_s, self._idled_s))

    def _keep(self, heard: Heard) -> None:
        is_saved = self.keeper.keep(heard.decision.event, heard.utterance, heard.hearing)
        self._state = replace(
            self._state,
            words="",
            voice_dbfs=level_dbfs(heard.utterance.samples),
            snr_db=heard.utterance.snr_db,
            is_narrow=is_narrow_band(heard.utterance.samples),
        )
        self._answer(heard.decision, is_saved)

    # ---- what goes out ---------------------------------------------------------------------------

    def _answer(self, decision: Decision, is_saved: bool) -> None:
        """Say and show what was decided, once it is kept; without that it is never said to be saved."""
        said = self._said if decision.command is Command.SAY_AGAIN else readback.sentence(decision, self.day)
        tone = readback.tone(decision)
        if said:
            self._said = said
        if not is_saved and (tone is Tone.SAVED or not self._is_alarmed):
            self._is_alarmed = True
            tone, said = Tone.ALARM, readback.not_saved(said)
        # What was typed and not understood is no matter for the vet's ear.
        if tone is not None and (decision.event.utterance is not None or decision.outcome is not Outcome.IGNORED):
            self._speaker.tone(tone)
        if said:
            self._speaker.say(said)
        alerts = self._watch(decision.event, self.day)
        self._tell(replace(self._state, decision=decision, said=said, alerts=alerts))

    def _alarm(self, sentence: str) -> None:
        """Nothing can be heard: tell the ear."""
        self._alarmed_s = time.monotonic()
        self._speaker.tone(Tone.ALARM)
        self._speaker.say(sentence)

    def _is_own_voice(self) -> bool:
        """Whether the microphone hears the read-back rather than the vet, or it is too early to tell."""
        sounding = self._speaker.sounding()
        if not len(sounding):
            return False
        if len(sounding) < _OWN_S * SAMPLE_RATE_HZ:
            return True
        lately = np.concatenate(self._lately)
        return find_echo(lately, [sounding[-round(_JUDGED_S * SAMPLE_RATE_HZ) :]]) is not None

    def _on_chunk(self, chunk: AudioChunk, speech: float) -> None:
        if self._is_ending:
            return
        self._lately.append(chunk.samples)
        if speech >= _SPEECH and not self._is_own_voice():
            self._speaker.hush()
        now_s = chunk.start_s + _CHUNK_S
        level = level_dbfs(chunk.samples)
        # Gates and milking clusters clang; what matters is the voice.
        if speech >= _SPEECH and np.abs(chunk.samples).max() >= FULL_SCALE:
            self._clipped_s = now_s
        if chunk.gap:
            self._gap_s = now_s
        was_muted = self._zeros_s >= _MUTED_S
        self._zeros_s = 0.0 if chunk.samples.any() else self._zeros_s + _CHUNK_S
        if self._zeros_s >= _MUTED_S and not was_muted:
            self._alarm(_MUTED)
        self._state = replace(
            self._state,
            now_s=now_s,
            level_dbfs=level,
            noise_dbfs=noise_after(self._state.noise_dbfs, level),
            is_speech=speech >= _SPEECH,
            is_clipped=now_s - self._clipped_s < _WARNED_S,
            has_gap=now_s - self._gap_s < _WARNED_S,
            gaps=self._state.gaps + chunk.gap,
            is_arriving=True,
            words=self._ear.words,
        )
        self._count += 1
        if self._count % _LEVEL_EVERY_CHUNKS == 0:
            self._tell(self._state)

    def _has_time(self) -> bool:
        """Whether the sound is heard as it comes: what is only shown never keeps it waiting."""
        return self._arrived.qsize() <= _IN_TIME_CHUNKS

    def _tell(self, update: Update) -> None:
        """Show an update of the day as it stands."""
        free = 0
        with suppress(OSError):  # a disk that is gone has no room
            free = shutil.disk_usage(self._record.path.parent).free
        reader_failure = self._reader.failure if self._reader is not None else None
        unsaved = self.keeper.trouble
        if self._is_alarmed and not self.keeper.waiting:
            self._is_alarmed = False
            self._speaker.say(readback.SAVED_AGAIN)
        troubles = (
            unsaved,
            self._source_failure,
            _MUTED if self._zeros_s >= _MUTED_S else "",
            _NARROW if self._state.is_narrow else "",
            self._speaker.failure or "",
            reader_failure or "",
            (self._spool and self._spool.failure) or "",
            disk_alert(free),
        )
        self._show(replace(update, day=self.day, troubles=tuple(filter(None, troubles))))


def _read(
    chunks: Source,
    arrived: queue.Queue[tuple[AudioChunk | Outage, float]],
    failures: list[Exception],
    stop: threading.Event,
    spool: Spool | None,
) -> None:
    """Take what a source gives until `stop` is set; the microphone may make this wait, and only this."""
    try:
        for chunk in chunks:
            if spool is not None and isinstance(chunk, AudioChunk):
                spool.put(chunk)
            while not stop.is_set():
                with suppress(queue.Full):
                    arrived.put((chunk, time.monotonic()), timeout=_WAIT_S)
                    break
            if stop.is_set():
                return
    except Exception as error:  # raised again in the thread that listens
        failures.append(error)
