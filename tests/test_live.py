"""The live microphone without a sound card: PulseAudio with null sinks as microphones and loudspeaker.

Recordings are played into the microphone at rotary pace through a whole day of the command line. It is unplugged in
the middle of an entry, while another microphone is there, and plugged in again.
"""

import fcntl
import json
import os
import pty
import shutil
import signal
import sqlite3
import struct
import subprocess
import sys
import termios
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from ctypes.util import find_library
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import fftconvolve

from tests.fakes import Samples, joined
from voicecapture import demo, live
from voicecapture.audio import AudioChunk, Outage
from voicecapture.day import Day
from voicecapture.ear import Ear
from voicecapture.language.grammar_file import load_grammar
from voicecapture.lists.herd import read_herd
from voicecapture.live import Block, Opened, listen
from voicecapture.microphone import Microphone
from voicecapture.recogniser.listener import Listener
from voicecapture.settings import Settings
from voicecapture.speaker import Tone, tone_samples
from voicecapture.spool import read_sound
from voicecapture.voice import VOICE_RATE_HZ

RATE_HZ = 44_100
HEADSET = Microphone("headset", "ALSA")


# ---- without any server: a process that records, made up ------------------------------------------


def half_a_second_with_an_overflow(microphone: Microphone, outlet: Connection) -> None:
    """Stands for the process that records: five blocks, then it hangs, as PortAudio does."""
    outlet.send(Opened(16_000.0, ""))
    began_s = time.monotonic()
    for i in range(1, 6):
        block = np.full(1600, 0.1, np.float32)
        outlet.send(Block(block, began_s + i * 0.1, overflowed=i == 3))
    threading.Event().wait()


def test_a_stream_that_falls_silent_is_told_and_begun_anew_and_the_clock_goes_on(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(live, "record", half_a_second_with_an_overflow)
    monkeypatch.setattr(live, "remember", lambda microphone: None)
    items = []
    for item in listen(HEADSET):
        items.append(item)
        if sum(isinstance(one, Outage) for one in items) == 2:
            break
    first = next(i for i, item in enumerate(items) if isinstance(item, Outage))
    before = [item for item in items[:first] if isinstance(item, AudioChunk)]
    after = [item for item in items[first:] if isinstance(item, AudioChunk)]
    assert "delivers nothing" in str(items[first])
    assert sum(chunk.gap for chunk in before) == 1 and not before[0].gap
    assert after[0].gap
    assert after[0].start_s - before[-1].start_s > live._LOST_S
    assert np.count_nonzero(joined(iter(before))) == pytest.approx(8000, abs=64)


# ---- with PulseAudio --------------------------------------------------------------------------------


class Shed:
    """A sound server of its own: a headset, the lid's microphone, and a loudspeaker that the vet wears in the ear."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for name in ("run", "home", "config", "data"):
            (folder / name).mkdir(mode=0o700)
        (folder / "asound.conf").write_text(
            "</usr/share/alsa/alsa.conf>\n"
            + "".join(f"pcm.{name} {{ type pulse device {name}.monitor }}\n" for name in ("headset", "lid"))
        )
        (folder / "pulse.conf").write_text(
            f"load-module module-native-protocol-unix socket={folder}/run/native auth-anonymous=1\n"
            # A desktop's server moves a stream to another microphone when its own is unplugged.
            "load-module module-rescue-streams\n"
            + "".join(f"load-module module-null-sink sink_name={name}\n" for name in ("ear", "lid"))
            + "set-default-sink ear\n"
        )
        self.environment = os.environ | {
            "HOME": str(folder / "home"),
            "XDG_RUNTIME_DIR": str(folder / "run"),
            "XDG_CONFIG_HOME": str(folder / "config"),
            "XDG_DATA_HOME": str(folder / "data"),
            "PULSE_SERVER": f"unix:{folder}/run/native",
            "ALSA_CONFIG_PATH": str(folder / "asound.conf"),
            "PYTHONUNBUFFERED": "1",
        }
        arguments = ["-n", "-F", str(folder / "pulse.conf"), "--daemonize=no", "--use-pid-file=no"]
        self._server = subprocess.Popen(
            ["pulseaudio", *arguments, "--exit-idle-time=-1", "--log-target=stderr"],
            env=self.environment,
            stderr=(folder / "pulse.log").open("w"),
        )
        wait_for(lambda: (folder / "run" / "native").exists(), "the sound server")
        self.plug_in()

    def pactl(self, *words: str) -> str:
        done = subprocess.run(["pactl", *words], env=self.environment, capture_output=True, text=True, check=True)
        return done.stdout.strip()

    def plug_in(self) -> None:
        self._headset = self.pactl("load-module", "module-null-sink", "sink_name=headset")
        # No microphone gives nothing but zeros.
        self._noise = self.play(0.001 * np.random.default_rng(0).standard_normal(120 * 16_000).astype(np.float32))

    def unplug(self) -> None:
        self._noise.kill()
        self.pactl("unload-module", self._headset)

    def play(self, samples: Samples) -> subprocess.Popen[bytes]:
        """Play into the headset's microphone."""
        path = self.folder / f"{time.monotonic_ns()}.wav"
        soundfile.write(path, samples, 16_000)
        return subprocess.Popen(["paplay", "--device=headset", str(path)], env=self.environment)

    def record(self, file: Path) -> subprocess.Popen[bytes]:
        """Record what the vet hears."""
        device = ["--device=ear.monitor", f"--rate={VOICE_RATE_HZ}", "--channels=1"]
        return subprocess.Popen(["parec", *device, "--file-format=wav", str(file)], env=self.environment)

    def close(self) -> None:
        self._noise.kill()
        self._server.terminate()
        self._server.wait(10)


def wait_for(is_there: Callable[[], bool], what: str, limit_s: float = 60.0) -> None:
    deadline_s = time.monotonic() + limit_s
    while not is_there():
        assert time.monotonic() < deadline_s, f"{what}: not there after {limit_s:g} s"
        time.sleep(0.05)


@pytest.fixture
def shed(tmp_path: Path) -> Iterator[Shed]:
    for command in ("pulseaudio", "pactl", "paplay", "parec"):
        if shutil.which(command) is None:
            pytest.skip(f"{command} is not installed")
    if find_library("portaudio") is None:
        pytest.skip("PortAudio is not installed")
    if not list(Path("/usr/lib").glob("*/alsa-lib/libasound_module_pcm_pulse.so")):
        pytest.skip("ALSA's plug-in for PulseAudio (libasound2-plugins) is not installed")
    shed = Shed(tmp_path)
    yield shed
    shed.close()


class Command:
    """`voicecapture listen`, and the lines that it prints."""

    def __init__(self, shed: Shed, *words: str) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "voicecapture", "listen", "--plain", *words],
            env=shed.environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self.lines: list[str] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            self.lines.append(line.rstrip())

    def await_lines(self, *parts: str, count: int = 1) -> None:
        """Wait for lines with one of the first parts and all of the others; `|` divides the first."""
        either, *others = parts

        def is_there() -> bool:
            found = [line for line in self.lines if any(part in line for part in either.split("|"))]
            return sum(all(part in line for part in others) for line in found) >= count

        try:
            wait_for(is_there, f"{count} lines with {parts}")
        except AssertionError as error:
            raise AssertionError(f"{error}; there are:\n" + "\n".join(self.lines)) from None

    def end(self) -> int:
        self._process.send_signal(signal.SIGINT)
        code = self._process.wait(60)
        self._reader.join(10)
        return code


def entries() -> list[tuple[str, Samples]]:
    """Cow and sound of entries of the demo morning that are taken without a question, in order."""
    herd = read_herd(demo.HERD)
    ear = Ear(Day(herd), load_grammar(), Listener(), Settings())
    found: list[tuple[str, Samples]] = []
    for heard in ear.hear(chunk for chunk in read_sound(demo.RECORDING) if chunk.start_s < 90):
        event = heard.decision.event
        if event.kind == "accepted" and event.entry is not None and event.entry.cow and not event.replaces:
            found.append((event.entry.cow, heard.utterance.samples))
    return found


def at_rotary_pace(*sounds: Samples) -> Samples:
    """One entry every six seconds."""
    return np.concatenate([np.pad(sound, (8000, max(0, 88_000 - len(sound)))) for sound in sounds])


def without_pauses(*sounds: Samples) -> Samples:
    """Sounds in one breath."""
    loud = [np.flatnonzero(np.abs(sound) > 0.1 * np.abs(sound).max()) for sound in sounds]
    return np.concatenate([sound[at[0] : at[-1]] for sound, at in zip(sounds, loud, strict=True)])


def likeness(sound: Samples, tone: Tone) -> float:
    """The correlation of a tone with the best place in sound at 24 kHz, 0 to 1."""
    shape = tone_samples(tone)
    energies = np.convolve(sound**2, np.ones(len(shape)), mode="valid")
    match = np.abs(fftconvolve(sound, shape[::-1], mode="valid"))
    return float(np.max(match / np.sqrt(np.maximum(energies, 1e-3) * np.sum(shape**2))))


_SOUNDS = """
import sys, time
from voicecapture.speaker import SoundCardSpeaker, Tone
from voicecapture.voice import ReadBackVoice
speaker = SoundCardSpeaker(ReadBackVoice())
speaker.tone(Tone.SAVED)
time.sleep(1)
for later_s in (0.02, 0.05, 0.1):
    sys.stdin.readline()
    speaker.tone(Tone.NOT_HEARD)
    time.sleep(later_s)
    speaker.tone(Tone.ALARM)
    time.sleep(3)
    print(speaker.failure, flush=True)
speaker.close()
"""


def test_an_alarm_sounds_whole_in_the_place_of_a_tone_that_has_begun(shed: Shed) -> None:
    command, pipes = [sys.executable, "-c", _SOUNDS], {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    with subprocess.Popen(command, env=shed.environment, text=True, **pipes) as sounding:  # type: ignore[call-overload]
        for number in range(3):
            file = shed.folder / f"ear{number}.wav"
            ear = shed.record(file)
            time.sleep(1)
            sounding.stdin.write("\n")
            sounding.stdin.flush()
            assert sounding.stdout.readline() == "None\n"
            ear.terminate()
            ear.wait(10)
            assert likeness(soundfile.read(file, dtype="float32")[0], Tone.ALARM) > 0.5


_NO_CARD = """
import ctypes
from voicecapture.audio import load_sounddevice
load_sounddevice()
assert ctypes.CDLL("libasound.so.2").snd_pcm_open(ctypes.byref(ctypes.c_void_p()), b"no such card", 0, 0) < 0
"""


def test_the_sound_library_writes_nothing_into_the_screen(shed: Shed) -> None:
    done = subprocess.run([sys.executable, "-c", _NO_CARD], env=shed.environment, capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_day_on_the_screen_at_a_microphone(shed: Shed) -> None:
    (cow, sound), *_ = entries()
    database, drawn = shed.folder / "day.db", bytearray()
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
    words = ("--herd", str(demo.HERD), "--device", "headset", "--database", str(database))
    day = subprocess.Popen(
        [sys.executable, "-m", "voicecapture", "listen", *words],
        env=shed.environment | {"TERM": "xterm-256color"},
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        start_new_session=True,
    )
    os.close(theirs)

    def read() -> None:
        with suppress(OSError):  # the screen has gone
            while block := os.read(ours, 65536):
                drawn.extend(block)

    reader = threading.Thread(target=read, daemon=True)
    reader.start()
    wait_for((shed.folder / "config" / "voicecapture" / "microphone.json").exists, "the first sound")
    shed.play(at_rotary_pace(sound)).wait(60)
    wait_for(lambda: f"TAKEN  {cow}".encode() in drawn or b"ASKED" in drawn, "the entry on the screen")
    os.write(ours, b"q")
    assert day.wait(60) == 0, drawn[-2000:]
    reader.join(10)
    os.close(ours)
    with sqlite3.connect(database) as record:
        # A busy machine loses sound, and then asks.
        kinds = record.execute("select distinct kind from event where cow = ?", (cow,)).fetchall()
    assert kinds in ([("accepted",)], [("question",)])


def test_a_day_at_a_microphone_that_is_unplugged_and_comes_back(shed: Shed) -> None:
    (first, a), (second, b), (_, c), (last, d), *_ = entries()
    ear_file = shed.folder / "ear.wav"
    ear = shed.record(ear_file)
    ear_began_s = time.monotonic()
    database = shed.folder / "day.db"
    # The vet's loudspeaker stands in the shed: the microphone hears all that is read back.
    loop = shed.pactl("load-module", "module-loopback", "source=ear.monitor", "sink=headset", "latency_msec=60")
    day = Command(shed, "--herd", str(demo.HERD), "--device", "headset", "--database", str(database))
    choice = shed.folder / "config" / "voicecapture" / "microphone.json"
    wait_for(choice.exists, "the first sound")
    shed.play(at_rotary_pace(a, b)).wait(60)
    day.await_lines("taken|asked|say it again", count=2)
    shed.pactl("unload-module", loop)

    # Eight seconds in one breath: the cable goes in the middle of it, however late a busy machine begins to play.
    begun = without_pauses(c, c, c, c)
    playing = shed.play(begun)
    time.sleep(4)
    shed.unplug()
    quiet_s = time.monotonic() - ear_began_s - 1.0
    day.await_lines("no sound from")
    playing.kill()
    shed.plug_in()
    day.await_lines("no sound from", " to ", " s)")
    count = sum("taken" in line or "asked" in line for line in day.lines)
    shed.play(at_rotary_pace(d)).wait(60)
    day.await_lines("taken|asked", count=count + 1)
    code = day.end()
    assert code == 0, "\n".join(day.lines)
    ear.terminate()
    ear.wait(10)

    with sqlite3.connect(database) as reader:
        events = reader.execute("select kind, reason, cow from event order by number").fetchall()
        sounds = [row[0] for row in reader.execute("select utterance from event order by number")]
    # A machine that is short of time plays with clicks in it, and reads back over the next entry; then it asks, or
    # says that it was not heard.
    taken = [cow for kind, _, cow in events if kind == "accepted"]
    asked = [cow for kind, _, cow in events if kind == "question"]
    assert first in taken and set(taken) <= {first, second, last}, events
    assert len(taken) + len(asked) + sum("say it again" in reason for _, reason, _ in events) >= 3, events
    # What was in the air when the cable went is on record, with its sound.
    lost, found = (i for i, (_, reason, _) in enumerate(events) if reason.startswith("no sound from"))
    assert found - lost == 2 and sounds[lost + 1] is not None, events
    # What was read back was never taken for the vet: it would be of a cow that has a result.
    assert not any("scanned already" in reason for _, reason, _ in events), events
    # On a busy machine a tone has a gap in it.
    sounded = soundfile.read(ear_file, dtype="float32")[0]
    before, after = sounded[: round(quiet_s * VOICE_RATE_HZ)], sounded[round(quiet_s * VOICE_RATE_HZ) :]
    assert likeness(before, Tone.ALARM) < 0.5 < likeness(after, Tone.ALARM), "\n".join(day.lines)
    assert json.loads(choice.read_text()) == {"name": "headset", "host_api": "ALSA", "leads_to": "headset.monitor"}

    spooled = list(read_sound(database.with_name("day_spool") / "day1"))
    assert sum(chunk.gap for chunk in spooled) == 1
    assert spooled[-1].start_s > 20
    # What was in the air when the cable went is heard again from the spool.
    gap = next(i for i, chunk in enumerate(spooled) if chunk.gap)
    air = joined(iter(spooled[gap - 120 : gap]))
    match = np.abs(fftconvolve(air, begun[8000:0:-1], mode="valid"))
    assert np.max(match) > 0.5 * np.sum(begun[:8000] ** 2)
