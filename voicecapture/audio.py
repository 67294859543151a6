"""Sound in: recordings as a stream of equal chunks; `microphone.py` gives the same live.

Times are on the audio clock: seconds from the start of the source.
"""

import ctypes
import time
from collections.abc import Generator, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

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
_VOICE_HZ, _BEYOND_VOICE_HZ, _NARROW_DB = (2000, 3400), (4600, 7000), -24.0
_RATES_HZ = (2_000, 768_000)
"""What recorders write. A header that claims one sample a second would fill the memory on its way to 16 kHz."""
_MISSING_S = 0.25
"""A recording shorter than it claims by more than this has lost sound; MP3 padding stays below it."""
_UNKNOWN_FRAMES = 2**62
"""libsndfile gives a length beyond this for a stream that does not tell its own."""
_OGG_HEADER_BYTES, _OGG_PAGE_BYTES, _OGG_LAST_PAGE = 27, 65_307, 4
"""Of an Ogg page: its header without the table of segments, the most it can take, the mark of the last one."""
_SEEK_FAILED = 39
"""libsndfile's number for "Internal psf_fseek() failed."."""

T = TypeVar("T")
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


Chunks = Generator[AudioChunk, None, None]
"""Sound in order, from one source; closing it lets go of the source."""


@dataclass(frozen=True, slots=True)
class Outage:
    """The source gives nothing at present; it goes on trying, and the audio clock goes on meanwhile."""

    reason: str
    """For a person to read."""


Source = Iterable[AudioChunk | Outage]
"""Live or from a file, in order."""


def level_dbfs(samples: Samples) -> float:
    """Root mean square level in dB relative to full scale, at least -120."""
    power = float(np.mean(np.square(samples, dtype=np.float64))) if len(samples) else 0.0
    return max(_FLOOR_DBFS, 10 * float(np.log10(power + 1e-30)))


def is_narrow_band(speech: Samples) -> bool:
    """Whether speech at 16 kHz has been through a line of 8 kHz, as of many a Bluetooth headset.

    Measured on 181 utterances of the tuning voices, clean and in noise: from 2 to 3.4 kHz to 4.6 to 7 kHz the density
    falls by 2 to 20 dB; by 28 to 74 dB where they were brought to 8 kHz and back, also at a twentieth of their level.
    """
    # By Welch's method with numpy alone: scipy.signal would cost a second and 60 MB.
    length = min(len(speech), CHUNK_SAMPLES)
    pieces = np.lib.stride_tricks.sliding_window_view(speech, length)[:: max(1, length // 2)]
    density = np.mean(np.abs(np.fft.rfft(pieces * np.hanning(length), axis=1)) ** 2, axis=0)
    frequency_hz = np.fft.rfftfreq(length, 1 / SAMPLE_RATE_HZ)
    below, above = (
        float(np.mean(density[(frequency_hz >= low) & (frequency_hz <= high)]))
        for low, high in (_VOICE_HZ, _BEYOND_VOICE_HZ)
    )
    return below > 0 and 10 * float(np.log10((above + 1e-30) / below)) < _NARROW_DB


def check_recording(path: Path) -> None:
    """Look at a recording before anything is written.

    Raises:
        AudioError: If it is missing, a folder, no audio, empty, or no sound can be had from its beginning.
    """
    with _open(path) as file:
        next(_blocks(file, path))


def _open(path: Path) -> soundfile.SoundFile:
    file = _opened(path)
    low, high = _RATES_HZ
    if not low <= file.samplerate <= high:
        file.close()
        raise AudioError(
            f"{path}: {file.samplerate} samples a second; expected {low} to {high}. The file is damaged: copy it "
            "again from the recorder."
        )
    return file


def _opened(path: Path) -> soundfile.SoundFile:
    try:
        if not path.exists():
            raise AudioError(f"{path}: no such file; expected a recording. Check the name.")
        if path.is_dir():
            raise AudioError(f"{path}: a folder; expected a recording. Name the files in it.")
        if path.stat().st_size == 0:
            raise AudioError(f"{path}: an empty file; expected a recording. Copy it again from the recorder.")
        return soundfile.SoundFile(str(path))
    except OSError as error:
        raise AudioError(f"{path}: cannot be reached ({error.strerror}); expected a recording. Check it.") from error
    except (soundfile.LibsndfileError, TypeError) as error:
        raise AudioError(
            f"{path}: not a recording that can be read; expected WAV, FLAC or Ogg. Convert it."
        ) from error


def read_recording(path: Path) -> Chunks:
    """Read a recording of any rate, channel count and bit depth as 16 kHz mono.

    A WAV file cut short is read to where it ends. Of a compressed file that breaks, all that decodes is yielded
    before the error.

    Raises:
        AudioError: If the file cannot be read, is empty, breaks, lacks some of its sound, or holds numbers that are
            no sound.
    """
    failures: list[AudioError] = []
    with _open(path) as file:
        yield from chunked(resampled(until_failure(_blocks(file, path), failures), file.samplerate))
    if failures:
        raise failures[0]


def until_failure(items: Iterable[T], failures: list[AudioError]) -> Iterator[T]:
    """Pass items on until their source fails; the failure is put into `failures` instead of being raised.

    Whoever gathers items can so hand on what it has gathered before it raises the failure: sound heard before a
    source broke is never lost.
    """
    try:
        yield from items
    except AudioError as error:
        failures.append(error)


def _blocks(file: soundfile.SoundFile, path: Path) -> Iterator[Samples]:
    """The sound as mono blocks; at least one, or an AudioError."""
    done = 0
    while True:
        block, failure = _read_block(file)
        is_sound = np.isfinite(block).all(axis=1)
        length = len(block) if is_sound.all() else int(np.argmin(is_sound))
        if length:
            yield block[:length].mean(axis=1)
        done += length
        if length < len(block):
            raise AudioError(f"{path}: numbers that are no sound at {done / file.samplerate:.1f} s. Record it again.")
        if failure is not None:
            raise AudioError(
                f"{path}: breaks off at {done / file.samplerate:.1f} s; what comes before was read. "
                "Copy it again from the recorder."
            ) from failure
        if not len(block):
            break
    if not done:
        raise AudioError(f"{path}: a recording without sound; expected samples. Record it again.")
    if _MISSING_S * file.samplerate < file.frames - done < _UNKNOWN_FRAMES:
        raise AudioError(
            f"{path}: {done / file.samplerate:.1f} s of sound; expected {file.frames / file.samplerate:.1f} s. "
            "Part of it is damaged: copy it again from the recorder."
        )
    if file.format == "OGG" and _is_cut_short(path):
        raise AudioError(
            f"{path}: ends at {done / file.samplerate:.1f} s without its end mark; what is there was read. "
            "Copy it again from the recorder."
        )


def _is_cut_short(path: Path) -> bool:
    """Whether an Ogg file ends without a whole page marked as the last; its length says nothing, unlike a FLAC's.

    Source: RFC 3533, section 6.
    """
    with path.open("rb") as data:
        data.seek(max(0, path.stat().st_size - _OGG_PAGE_BYTES))
        end = data.read()
    page = end[max(0, end.rfind(b"OggS")) :]
    if len(page) < _OGG_HEADER_BYTES:
        return True
    header_type, segments = page[5], page[26]
    length = _OGG_HEADER_BYTES + segments + sum(page[_OGG_HEADER_BYTES : _OGG_HEADER_BYTES + segments])
    return not header_type & _OGG_LAST_PAGE or len(page) < length


def _read_block(file: soundfile.SoundFile) -> tuple[Samples, soundfile.LibsndfileError | None]:
    """The next frames, shape (frames, channels); when the decoder fails, those that it still gave and the failure."""
    block = np.full((_BLOCK_FRAMES, file.channels), np.nan, np.float32)
    try:
        return file.read(out=block), None
    except soundfile.LibsndfileError as error:
        # What the decoder did not reach is still NaN. soundfile seeks after every read, which fails at the end of
        # a stream that does not tell its length: that is its end, not a fault.
        decoded = block[: np.count_nonzero(~np.isnan(block).all(axis=1))]
        is_end = file.frames > _UNKNOWN_FRAMES and error.code == _SEEK_FAILED
        return decoded, None if is_end else error


def resampled(blocks: Iterable[Samples], rate_hz: float) -> Iterator[Samples]:
    """Bring blocks of mono sound to 16 kHz, within -1 to 1: resampling overshoots a little, float files a lot."""
    resampler = soxr.ResampleStream(rate_hz, SAMPLE_RATE_HZ, 1, dtype="float32")
    for block in blocks:
        yield np.clip(resampler.resample_chunk(block), -1, 1)
    yield np.clip(resampler.resample_chunk(np.zeros(0, np.float32), last=True), -1, 1)


def chunked(blocks: Iterable[Samples]) -> Iterator[AudioChunk]:
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


def paced(chunks: Iterable[AudioChunk], speed: float) -> Chunks:
    """Hold back a recording so that it runs at `speed` times real time; late chunks are not dropped."""
    started_s = time.monotonic()
    first_s: float | None = None
    for chunk in chunks:
        first_s = chunk.start_s if first_s is None else first_s
        early_s = (chunk.start_s - first_s) / speed - (time.monotonic() - started_s)
        if early_s > 0:
            time.sleep(early_s)
        yield chunk


def after(chunks: Iterable[AudioChunk], from_s: float) -> Iterator[AudioChunk]:
    """The rest of a recording: the chunks that begin at `from_s` or later."""
    return (chunk for chunk in chunks if chunk.start_s >= from_s)


def later(source: Source, by_s: float) -> Source:
    """A source on an audio clock that has gone on for `by_s` seconds already."""
    return (replace(item, start_s=item.start_s + by_s) if isinstance(item, AudioChunk) else item for item in source)


def load_sounddevice() -> Any:
    """The sounddevice module, which needs the PortAudio library of the system.

    Raises:
        AudioError: If PortAudio is missing.
    """
    try:
        import sounddevice
    except OSError as error:
        raise AudioError(
            "live sound: PortAudio is missing; install it with `sudo apt install libportaudio2` on Debian, "
            "`brew install portaudio` on macOS, or `pip install --force-reinstall sounddevice` on Windows."
        ) from error
    _hush_alsa()
    return sounddevice


_no_message = ctypes.CFUNCTYPE(None, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p)(
    lambda *_: None
)


@cache
def _hush_alsa() -> None:
    """Linux's sound library writes its troubles to stderr, into the screen; PortAudio tells them too."""
    with suppress(OSError):  # on other systems
        ctypes.CDLL("libasound.so.2").snd_lib_error_set_handler(_no_message)


def refresh_devices() -> None:
    """Look for sound devices anew; PortAudio knows only those of its start.

    Every open stream of this process ends: it is for the thread that plays, and the microphone is in a process of
    its own.

    Raises:
        AudioError: If PortAudio is missing.

    Source: spatialaudio/python-sounddevice, issue 125.
    """
    sounddevice = load_sounddevice()
    sounddevice._terminate()
    sounddevice._initialize()
