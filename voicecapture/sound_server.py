"""Which microphone a sound server leads to. Linux alone.

To PortAudio, PulseAudio and PipeWire are a device called "default" or "pulse". When the microphone behind it is
unplugged, the server moves the stream to another one without a word, and sound goes on arriving: from the laptop's
lid instead of the vet's mouth. So the server is asked.
"""

import sys
from contextlib import suppress
from typing import Any


class SoundServer:
    """The sound server as seen by the process that records; nothing where there is none."""

    def __init__(self, process_id: int) -> None:
        self._process_id = str(process_id)
        self._pulse: Any = None
        self._errors: tuple[type[Exception], ...] = ()
        if not sys.platform.startswith("linux"):
            return
        with suppress(ImportError, OSError):  # without libpulse there is no such server
            import pulsectl

            self._errors = (pulsectl.PulseError, OSError)
            with suppress(*self._errors):
                self._pulse = pulsectl.Pulse("voicecapture")

    def leads_to(self) -> str:
        """Name of the microphone that this process's stream comes from; empty if no server has one."""
        if self._pulse is None:
            return ""
        with suppress(*self._errors):
            stream = self._stream()
            if stream is not None:
                return str(self._pulse.source_info(stream.source).name)
        return ""

    def lead_to(self, name: str) -> str:
        """Move this process's stream to the microphone of that name; returns the one that it comes from then."""
        if self._pulse is not None:
            with suppress(*self._errors):
                stream = self._stream()
                source = next((s for s in self._pulse.source_list() if s.name == name), None)
                if stream is not None and source is not None and stream.source != source.index:
                    self._pulse.source_output_move(stream.index, source.index)
        return self.leads_to()

    def _stream(self) -> Any:
        streams = self._pulse.source_output_list()
        own = (s for s in streams if s.proplist.get("application.process.id") == self._process_id)
        return next(own, None)
