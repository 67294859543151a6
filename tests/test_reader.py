"""A reader on a serial port and on a TCP line, lost and found again; and whole days with one."""

import os
import queue
import socket
import sys
import threading
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from tests.fakes import RecordingSpeaker, in_chunks, with_pauses
from tests.seasons import loaded_day
from tests.test_session import LISTENER
from voicecapture.audio import AudioChunk
from voicecapture.day import Day, ScanKind
from voicecapture.ear import Ear
from voicecapture.errors import ReaderError
from voicecapture.gate import STEPS
from voicecapture.herd import Animal, Herd
from voicecapture.language.grammar_file import load_grammar
from voicecapture.language.phrase import Entry, Result
from voicecapture.reader import Reader
from voicecapture.reads import LOST
from voicecapture.report.content import make_report
from voicecapture.report.text import text_report
from voicecapture.session import Session
from voicecapture.settings import Settings
from voicecapture.store.record import Record
from voicecapture.store.season import read_season
from voicecapture.update import Update

HERD = Herd([*(Animal(cow, f"982000000000{cow}") for cow in ("415", "417", "419", "608", "609")), Animal("30")])


class Reading:
    """A reader being read, until the test ends."""

    def __init__(self, url: str) -> None:
        self.lines: queue.Queue[str] = queue.Queue()
        self.stop = threading.Event()
        self.reader = Reader(url)
        self.thread = threading.Thread(target=self.reader.run, args=(self.lines.put, self.stop))
        self.thread.start()

    def line(self) -> str:
        return self.lines.get(timeout=10)

    def close(self) -> None:
        self.stop.set()
        self.thread.join(10)
        assert not self.thread.is_alive()


class TcpReader:
    """A reader that serves its lines on a port of this machine."""

    def __init__(self, port: int = 0) -> None:
        self.server = socket.create_server(("127.0.0.1", port))
        self.port: int = self.server.getsockname()[1]
        self.url = f"socket://127.0.0.1:{self.port}"

    def accept(self) -> socket.socket:
        self.server.settimeout(10)
        return self.server.accept()[0]


def lose(line: socket.socket, tcp: TcpReader) -> None:
    tcp.server.close()
    line.close()


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals")
def test_a_serial_port_is_read_line_by_line_and_its_loss_is_told() -> None:
    master, slave = os.openpty()
    reading = Reading(os.ttyname(slave))
    try:
        os.write(master, b"\x02A0000000982000000000417\r\n982 000000000419\r")
        assert [reading.line(), reading.line()] == ["A0000000982000000000417", "982 000000000419"]
        os.write(master, b"982000000")
        os.write(master, b"000608")
        assert reading.line() == "982000000000608", "a pause ends a line that has no end"
        assert reading.reader.failure is None
        os.close(master)
        assert reading.line() == LOST
        assert (reading.reader.failure or "").startswith("no reader: ")
    finally:
        reading.close()
        os.close(slave)


def test_a_tcp_line_that_was_lost_is_opened_again_by_itself() -> None:
    tcp = TcpReader()
    reading = Reading(tcp.url)
    try:
        line = tcp.accept()
        line.sendall(b"982000000000417\n")
        assert reading.line() == "982000000000417"
        line.sendall(b"982000000000419\n")
        lose(line, tcp)
        assert [reading.line(), reading.line()] == ["982000000000419", LOST]
        assert reading.reader.failure is not None
        again = TcpReader(tcp.port)
        with again.accept() as line:
            while reading.reader.failure is not None:
                assert reading.thread.is_alive()
            line.sendall(b"982000000000608\n")
            assert reading.line() == "982000000000608"
        again.server.close()
    finally:
        reading.close()


def test_noise_without_an_end_is_cut_and_the_line_after_it_is_read() -> None:
    tcp = TcpReader()
    reading = Reading(tcp.url)
    try:
        with tcp.accept() as line:
            line.sendall(b"\xff" * 450 + b"\r\n982000000000417\r\n")
            lines = [reading.line() for _ in range(4)]
            assert lines[3] == "982000000000417" and all(len(line) <= 200 for line in lines)
    finally:
        reading.close()
        tcp.server.close()


@pytest.mark.parametrize("url", ["no-such-port", "socket://127.0.0.1:1", "socket://nowhere", "ftp://reader", ""])
def test_a_reader_that_cannot_be_opened_is_one_sentence(url: str) -> None:
    with pytest.raises(ReaderError, match=r"--reader .*: cannot be opened .*; expected a serial port .*Check"):
        Reader(url)


class Parlour:
    """A day at a TCP reader: cows come and the vet says what he finds, each thing once what went before was kept."""

    def __init__(self, folder: Path, *happens: str) -> None:
        self.happens, self.updates, self.speaker = happens, list[Update](), RecordingSpeaker()
        self.tcp, self.kept = TcpReader(), threading.Semaphore(0)
        record = Record.open(folder / "day.db")
        self.day_id = record.start_day(HERD, date(2027, 2, 9), ScanKind.AGED, "", "test")
        ear = Ear(Day(HERD), load_grammar(), LISTENER, Settings())
        session = Session(ear, record, self.day_id, self.speaker, reader=Reader(self.tcp.url))
        self.line = self.tcp.accept()
        session.run(self.sound(), self.show, threading.Event())
        self.loaded = loaded_day(record, self.day_id)
        self.report = "\n".join(text_report(make_report(read_season(record), Settings().reckoning)))
        self.live = session.day
        record.close()
        lose(self.line, self.tcp)

    def show(self, update: Update) -> None:
        self.updates.append(update)
        if update.decision is not None:
            self.kept.release()

    def sound(self) -> Iterator[AudioChunk]:
        at_s = 0.0
        for what in self.happens:
            words = f"{what}." if not what.startswith("cow ") and what != "lost" else ""
            if what == "lost":
                lose(self.line, self.tcp)
                self.tcp = TcpReader(self.tcp.port)
                self.line = self.tcp.accept()
            elif not words:
                self.line.sendall(f"982000000000{what[4:]}\r\n".encode())
            if not words:
                assert self.kept.acquire(timeout=10)
            for chunk in in_chunks(with_pauses(0.5, words, 1.6) if words else with_pauses(0.5)):
                yield AudioChunk(chunk.samples, at_s + chunk.start_s)
            at_s += chunk.start_s + 0.032
            if words:
                assert self.kept.acquire(timeout=30)


def test_a_day_with_a_reader_from_sound_and_lines_to_rows_and_sheet(tmp_path: Path) -> None:
    cows = {"415": "four one five", "608": "six oh eight", "609": "six oh nine"}
    in_step = [what for cow, said in cows.items() for what in (f"cow {cow}", f"{said}, empty")]
    assert len(in_step) == 2 * STEPS
    parlour = Parlour(
        tmp_path,
        *in_step,
        *("cow 417", "pregnant fifty six days"),
        *("cow 419", "lost", "recheck"),
        "cow 999",
        "thirty, empty",
    )
    taken = {cow: event.entry for cow, (_, event) in parlour.loaded.results.items()}
    assert taken["417"] == Entry("417", Result.PREGNANT, 56) and taken["30"] == Entry("30", Result.EMPTY)
    assert "419" not in taken
    assert dict(parlour.live.results) == dict(parlour.loaded.results) and parlour.live.gate == parlour.loaded.gate
    assert "four one seven, in calf fifty six days, five six" in parlour.speaker.said
    assert any("no reader" in trouble for update in parlour.updates for trouble in update.troubles)
    assert not any("no reader" in trouble for trouble in parlour.updates[-1].troubles)
    assert "2027-02-09  read, no result   419" in parlour.report
    assert "2027-02-09  result, not read  30" in parlour.report
