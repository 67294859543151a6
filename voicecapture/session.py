"""The loop that joins the stages: sound in, record and read-back out.

It runs from a recording to a database without microphone, loudspeaker or screen. Everything is timed by the
audio clock, so that a recording gives the same day at every speed.
"""

import threading
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

from voicecapture import readback
from voicecapture.audio import AudioChunk, level_dbfs
from voicecapture.day import Day
from voicecapture.decision import Decision
from voicecapture.ear import Ear
from voicecapture.language.phrase import Command
from voicecapture.speaker import Speaker
from voicecapture.store.record import Record
from voicecapture.update import Update

_SPEECH = 0.5
"""Speech probability at which the read-back gives way to the vet."""
_LEVEL_EVERY_CHUNKS = 4
"""The level meter is renewed about eight times a second."""
_NOISE_RISE_DB, _NOISE_FALL_DB = 0.02, 0.5
"""How fast the shown noise level follows upwards and downwards, per chunk of 32 ms."""


class Session:
    """One day being listened to."""

    def __init__(self, ear: Ear, record: Record, day_id: int, speaker: Speaker) -> None:
        self._ear, self._record, self._day_id, self._speaker = ear, record, day_id, speaker
        self._show: Callable[[Update], None] = lambda update: None
        self._said = ""
        self._noise_dbfs = -60.0
        self._count = 0

    @property
    def day(self) -> Day:
        """The day as it stands."""
        return self._ear.day

    def run(self, chunks: Iterable[AudioChunk], show: Callable[[Update], None], stop: threading.Event) -> Day:
        """Listen until the source ends or `stop` is set; `show` gets every change.

        An entry is in the database before its tone sounds.
        """
        self._show = show
        for heard in self._ear.hear(_until(chunks, stop), self._on_chunk):
            self._record.keep(self._day_id, heard.number, heard.utterance, heard.hearing, heard.decision.event)
            said = (
                self._said
                if heard.decision.command is Command.SAY_AGAIN
                else readback.sentence(heard.decision, heard.day)
            )
            tone = readback.tone(heard.decision)
            if tone is not None:
                self._speaker.tone(tone)
            if said:
                self._speaker.say(said)
                self._said = said
            show(self._update(heard.utterance.end_s, heard.decision, said))
        return self.day

    def _on_chunk(self, chunk: AudioChunk, speech: float) -> None:
        if speech >= _SPEECH:
            self._speaker.hush()
        level = level_dbfs(chunk.samples)
        step = _NOISE_RISE_DB if level > self._noise_dbfs else -_NOISE_FALL_DB
        self._noise_dbfs += step
        self._count += 1
        if self._count % _LEVEL_EVERY_CHUNKS == 0:
            update = self._update(chunk.start_s, None, "")
            self._show(replace(update, level_dbfs=level, is_speech=speech >= _SPEECH))

    def _update(self, now_s: float, decision: Decision | None, said: str) -> Update:
        return Update(
            day=self._ear.day,
            decision=decision,
            now_s=now_s,
            level_dbfs=self._noise_dbfs,
            noise_dbfs=self._noise_dbfs,
            is_speech=False,
            said=said,
        )


def _until(chunks: Iterable[AudioChunk], stop: threading.Event) -> Iterator[AudioChunk]:
    """The chunks until `stop` is set; what was being said then is still heard to its end."""
    for chunk in chunks:
        if stop.is_set():
            return
        yield chunk
