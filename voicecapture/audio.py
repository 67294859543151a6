"""Sound in: recordings and the microphone, as a stream of equal chunks.

Times are on the audio clock: seconds from the start of the source.
"""

import queue
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from voicecapture.errors import AudioError

SAMPLE_RATE_HZ = 16_000
CHUNK_SAMPLES = 512
"""32 ms, the step of the voice-activity model."""
_BLOCK_FRAMES = 8192
_FLOOR_DBFS = -120.0
_DEVICE_SILENCE_S = 5.0
"""A microphone that delivers nothing for so long is gone."""

Samples = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class AudioChunk:
    """A short piece of sound."""

    samples: Samples
    """Mono, 16 kHz, -1 to 1, shape (512,)."""
    start_s: float
    """Seconds from the start of the source."""
    gap: bool = False
    """Samples before this chunk were lost."""


def level_dbfs(samples: Samples) -> float:
    """Root mean square level in dB relative to full scale, at least -120."""
    power = float(np.mean(np.square(samples, dtype=np.float64))) if len(samples) else 0.0
    return max(_FLOOR_DBFS, 10 * float(np.log10(power + 1e-30)))


def check_recording(path: Path) -> None:
    """Look at a recording before anything is written.

    Raises:
        AudioError: If it is missing, a folder, no audio, or empty.
    """
    with _open(path) as file:
        if file.frames == 0:
            raise AudioError(f"{path}: a recording without sound; expected samples. Record it again.")


def _open(path: Path) -> soundfile.SoundFile:
    if not path.exists():
        raise AudioError(f"{path}: no such file; expected a recording. Check the name.")
    if path.is_dir():
        raise AudioError(f"{path}: a folder; expected a recording. Name the files in it.")
    if path.stat().st_size == 0:
        raise AudioError(f"{path}: an empty file; expected a recording. Copy it again from the recorder.")
    try:
        return soundfile.SoundFile(str(path))
    except (soundfile.LibsndfileError, TypeError) as error:
        raise AudioError(
            f"{path}: not a recording that can be read; expected WAV, FLAC or Ogg. Convert it."
        ) from error


def read_recording(path: Path) -> Iterator[AudioChunk]:
    """Read a recording of any rate, channel count and bit depth as 16 kHz mono.

    A WAV file cut short is read to where it ends. A compressed file that breaks is read to where it breaks.

    Raises:
        AudioError: If the file cannot be read, breaks in the middle, or holds numbers that are no sound.
    """
    with _open(path) as file:
        yield from _chunks(_resampled(_blocks(file, path), file.samplerate))


def _blocks(file: soundfile.SoundFile, path: Path) -> Iterator[Samples]:
    done = 0
    while True:
        try:
            block = file.read(_BLOCK_FRAMES, dtype="float32", always_2d=True)
        except soundfile.LibsndfileError as error:
            raise AudioError(
                f"{path}: breaks off at {done / file.samplerate:.1f} s; what comes before was read. "
                "Copy it again from the recorder."
            ) from error
        if not len(block):
            return
        if not np.isfinite(block).all():
            raise AudioError(f"{path}: numbers that are no sound at {done / file.samplerate:.1f} s. Record it again.")
        done += len(block)
        yield block.mean(axis=1)


def _resampled(blocks: Iterable[Samples], rate_hz: float) -> Iterator[Samples]:
    """Bring blocks of mono sound to 16 kHz."""
    resampler = soxr.ResampleStream(rate_hz, SAMPLE_RATE_HZ, 1, dtype="float32")
    for block in blocks:
        yield resampler.resample_chunk(block)
    yield resampler.resample_chunk(np.zeros(0, np.float32), last=True)


def _chunks(blocks: Iterable[Samples]) -> Iterator[AudioChunk]:
    """Cut blocks of any length into chunks; the last one is filled up with silence."""
    held = np.zeros(0, np.float32)
    count = 0
    for block in blocks:
        held = np.concatenate((held, block))
        while len(held) >= CHUNK_SAMPLES:
            yield AudioChunk(held[:CHUNK_SAMPLES], count * CHUNK_SAMPLES / SAMPLE_RATE_HZ)
            held, count = held[CHUNK_SAMPLES:], count + 1
    if len(held):
        yield AudioChunk(np.pad(held, (0, CHUNK_SAMPLES - len(held))), count * CHUNK_SAMPLES / SAMPLE_RATE_HZ)


def paced(chunks: Iterable[AudioChunk], speed: float) -> Iterator[AudioChunk]:
    """Hold back a recording so that it runs at `speed` times real time; late chunks are not dropped."""
    started_s = time.monotonic()
    for chunk in chunks:
        early_s = chunk.start_s / speed - (time.monotonic() - started_s)
        if early_s > 0:
            time.sleep(early_s)
        yield chunk


def _sounddevice() -> Any:
    try:
        import sounddevice
    except OSError as error:
        raise AudioError(
            "live sound: PortAudio is missing; install it with `sudo apt install libportaudio2` on Debian, "
            "`brew install portaudio` on macOS, or `pip install --force-reinstall sounddevice` on Windows."
        ) from error
    return sounddevice


def list_devices() -> str:
    """The sound devices of this machine, one a line.

    Raises:
        AudioError: If PortAudio is missing.
    """
    return str(_sounddevice().query_devices()) or "no sound devices"


def open_microphone(device: str | int | None = None) -> Iterator[AudioChunk]:
    """Listen to a microphone until the caller stops. The callback of the sound card only queues.

    Raises:
        AudioError: If PortAudio or the device is missing, or the device falls silent altogether.
    """
    sounddevice = _sounddevice()
    blocks: queue.SimpleQueue[tuple[Samples, bool]] = queue.SimpleQueue()

    def take(block: Samples, _frames: int, _time: Any, status: Any) -> None:
        blocks.put((block[:, 0].copy(), bool(status.input_overflow)))

    try:
        rate_hz = float(sounddevice.query_devices(device, "input")["default_samplerate"])
        stream = sounddevice.InputStream(
            samplerate=rate_hz, device=device, channels=1, dtype="float32", callback=take
        )
    except (ValueError, sounddevice.PortAudioError) as error:
        name = "the default microphone" if device is None else f"microphone '{device}'"
        raise AudioError(
            f"{name}: cannot be opened ({error}); expected an input device. See `voicecapture listen --list-devices`."
        ) from error
    with stream:
        yield from _live_chunks(blocks, rate_hz)


def _live_chunks(blocks: "queue.SimpleQueue[tuple[Samples, bool]]", rate_hz: float) -> Iterator[AudioChunk]:
    """Chunks of what the sound card queues, with the places marked where it lost something."""
    lost: list[bool] = [False]

    def arriving() -> Iterator[Samples]:
        while True:
            try:
                block, overflowed = blocks.get(timeout=_DEVICE_SILENCE_S)
            except queue.Empty:
                raise AudioError("the microphone: delivers nothing any more. Plug it in and start again.") from None
            lost[0] = lost[0] or overflowed
            yield block

    for chunk in _chunks(_resampled(arriving(), rate_hz)):
        yield AudioChunk(chunk.samples, chunk.start_s, lost[0])
        lost[0] = False
