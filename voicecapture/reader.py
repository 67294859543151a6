"""The electronic-ID reader: lines from a serial port or a TCP line, opened again by itself when it was lost."""

import socket
import threading
from collections.abc import Callable, Iterator

import serial

from voicecapture.errors import ReaderError
from voicecapture.reads import LOST

_TIMEOUT_S = 0.25
"""How often a silent line is looked at for the end of the day."""
_PAUSE = 2
"""So many silent looks end a line that has no end of its own."""
_AGAIN_S = 1.0
"""A lost reader is tried again so often."""
_LONGEST = 200
"""Bytes of a line; what follows is another line, and no code."""
_KEEPALIVE = {"TCP_KEEPIDLE": 5, "TCP_KEEPINTVL": 2, "TCP_KEEPCNT": 3}
"""Seconds of silence, seconds between probes, probes: a pulled network cable is noticed within about 11 s."""


class Reader:
    """One reader. Open from the first; `run` reads it."""

    def __init__(self, url: str) -> None:
        """Open it.

        Args:
            url: A serial port ("COM3", "/dev/ttyUSB0", at 9600 baud) or "socket://HOST:PORT".

        Raises:
            ReaderError: If it cannot be opened.
        """
        self._url = url
        self.failure: str | None = None
        """Why nothing can be read now."""
        try:
            self._port: serial.SerialBase | None = _open(url)
        except (OSError, ValueError) as error:
            raise ReaderError(
                f"--reader {url}: cannot be opened ({error}); expected a serial port such as COM3 or /dev/ttyUSB0, "
                "or socket://HOST:PORT. Check the cable and the name, or leave --reader out."
            ) from error

    def run(self, take: Callable[[str], None], stop: threading.Event) -> None:
        """Hand on every line until `stop` is set; when the reader is lost, `LOST`.

        Args:
            take: Gets the lines, in this thread.
            stop: Ends it.
        """
        while not stop.is_set():
            try:
                self._port = self._port or _open(self._url)
                self.failure = None
                for line in _lines(self._port, stop):
                    take(line)
            except (OSError, ValueError) as error:
                if self.failure is None:
                    self.failure = f"no reader: {error}"
                    take(LOST)
                self._close()
                stop.wait(_AGAIN_S)
        self._close()

    def _close(self) -> None:
        if self._port is not None:
            self._port.close()
        self._port = None


def _open(url: str) -> "serial.SerialBase":
    port = serial.serial_for_url(url, timeout=_TIMEOUT_S, exclusive=True)
    if url.lower().startswith("socket://"):
        # Without it a cable that was pulled is silence for ever.
        with socket.fromfd(port.fileno(), socket.AF_INET, socket.SOCK_STREAM) as line:
            line.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
            for name, value in _KEEPALIVE.items():
                if hasattr(socket, name):
                    line.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)
    return port


def _lines(port: "serial.SerialBase", stop: threading.Event) -> Iterator[str]:
    """Lines that are not empty. Any control character but a tab ends one, and so does a pause."""
    line, silent = bytearray(), 0
    while not stop.is_set():
        # One by one: pyserial forgets what it has when the connection ends in the middle of a longer read.
        byte = port.read(1)
        silent = 0 if byte else silent + 1
        is_end = silent >= _PAUSE if not byte else byte < b" " and byte != b"\t"
        if byte and not is_end:
            line += byte
        if is_end or len(line) >= _LONGEST:
            if text := line.decode("latin-1").strip():
                yield text
            line.clear()
