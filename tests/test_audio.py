"""Sound in: every recording that a dictation recorder may write."""

import queue
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from scipy.signal import resample_poly

from tests.fakes import joined
from voicecapture.audio import (
    CHUNK_SAMPLES,
    SAMPLE_RATE_HZ,
    _live_chunks,
    check_recording,
    level_dbfs,
    open_microphone,
    read_recording,
)
from voicecapture.errors import AudioError


def tone(rate_hz: int, duration_s: float = 1.0) -> NDArray[np.float64]:
    """1 kHz at half of full scale."""
    return 0.5 * np.sin(2 * np.pi * 1000 * np.arange(round(rate_hz * duration_s)) / rate_hz)


@pytest.mark.parametrize("rate_hz", [8_000, 16_000, 44_100, 48_000, 96_000])
@pytest.mark.parametrize(
    ("suffix", "subtype"),
    [
        *(("wav", subtype) for subtype in ("PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "ULAW")),
        *(("flac", subtype) for subtype in ("PCM_16", "PCM_24")),
        ("ogg", "VORBIS"),
    ],
)
@pytest.mark.parametrize("channels", [1, 2, 6])
def test_every_kind_of_recording_gives_the_same_tone(
    tmp_path: Path, rate_hz: int, suffix: str, subtype: str, channels: int
) -> None:
    path = tmp_path / f"tone.{suffix}"
    soundfile.write(path, np.repeat(tone(rate_hz)[:, None], channels, axis=1), rate_hz, subtype=subtype)
    samples = joined(read_recording(path))
    assert samples.dtype == np.float32
    assert len(samples) == pytest.approx(SAMPLE_RATE_HZ, abs=CHUNK_SAMPLES)
    middle = samples[4000:12_000]
    spectrum = np.abs(np.fft.rfft(middle * np.hanning(len(middle))))
    assert np.argmax(spectrum) * SAMPLE_RATE_HZ / len(middle) == pytest.approx(1000, abs=2)
    assert level_dbfs(middle) == pytest.approx(20 * np.log10(0.5 / np.sqrt(2)), abs=2 if subtype == "VORBIS" else 0.3)


def test_opus_is_read(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "tone.ogg", tone(48_000), 48_000, format="OGG", subtype="OPUS")
    samples = joined(read_recording(tmp_path / "tone.ogg"))
    assert level_dbfs(samples[4000:12_000]) == pytest.approx(-9, abs=0.5)


def test_resampling_agrees_with_scipy(tmp_path: Path) -> None:
    """An independent polyphase resampler; music-like sound well below half the lower rate."""
    t = np.arange(48_000) / 48_000
    sound = sum(0.1 * np.sin(2 * np.pi * f * t + f) for f in (120, 440, 1234, 3000, 5000))
    soundfile.write(tmp_path / "sound.wav", sound, 48_000, subtype="FLOAT")
    ours = joined(read_recording(tmp_path / "sound.wav"))[:16_000]
    assert ours[500:-500] == pytest.approx(resample_poly(sound, 1, 3)[500:-500], abs=2e-3)


def test_chunks_follow_each_other_on_the_audio_clock(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "tone.wav", tone(16_000, 2.0), 16_000)
    chunks = list(read_recording(tmp_path / "tone.wav"))
    assert all(chunk.samples.shape == (CHUNK_SAMPLES,) for chunk in chunks)
    assert [chunk.start_s for chunk in chunks] == pytest.approx([i * 0.032 for i in range(len(chunks))])


def test_a_recording_cut_short_is_read_to_where_it_ends(tmp_path: Path) -> None:
    path = tmp_path / "tone.wav"
    soundfile.write(path, tone(16_000, 2.0), 16_000)
    path.write_bytes(path.read_bytes()[:32_044])
    assert len(joined(read_recording(path))) == pytest.approx(16_000, abs=CHUNK_SAMPLES)


def test_a_compressed_recording_cut_short_loses_nothing_before_the_cut(tmp_path: Path) -> None:
    path = tmp_path / "tone.flac"
    rng = np.random.default_rng(0)
    soundfile.write(path, 0.1 * rng.standard_normal(160_000), 16_000)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    heard = 0
    try:
        for chunk in read_recording(path):
            heard += len(chunk.samples)
    except AudioError as error:
        assert "breaks off at" in str(error)
    assert heard > 60_000


@pytest.mark.parametrize(
    ("name", "data", "reason"),
    [
        ("none.wav", None, "no such file"),
        ("empty.wav", b"", "an empty file"),
        ("text.wav", b"four one seven, pregnant", "not a recording"),
        ("header.wav", b"RIFF\x24\0\0\0WAVEfmt ", "not a recording"),
    ],
)
def test_what_is_no_recording_is_one_sentence(tmp_path: Path, name: str, data: bytes | None, reason: str) -> None:
    path = tmp_path / name
    if data is not None:
        path.write_bytes(data)
    with pytest.raises(AudioError, match=reason):
        check_recording(path)
    with pytest.raises(AudioError, match=reason):
        list(read_recording(path))


def test_a_folder_is_no_recording(tmp_path: Path) -> None:
    with pytest.raises(AudioError, match="a folder"):
        check_recording(tmp_path)


def test_a_recording_without_samples_is_refused(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "empty.wav", np.zeros(0), 16_000)
    with pytest.raises(AudioError, match="without sound"):
        check_recording(tmp_path / "empty.wav")


def test_numbers_that_are_no_sound_are_refused(tmp_path: Path) -> None:
    sound = tone(16_000)
    sound[9000] = np.nan
    soundfile.write(tmp_path / "nan.wav", sound, 16_000, subtype="FLOAT")
    with pytest.raises(AudioError, match="no sound at"):
        list(read_recording(tmp_path / "nan.wav"))


def test_levels() -> None:
    assert level_dbfs(np.ones(100, np.float32)) == pytest.approx(0)
    assert level_dbfs(np.zeros(100, np.float32)) == -120


def test_sound_that_the_card_lost_is_marked(monkeypatch: pytest.MonkeyPatch) -> None:
    blocks: queue.SimpleQueue[tuple[NDArray[np.float32], bool]] = queue.SimpleQueue()
    for overflowed in (False, False, True, False):
        blocks.put((np.zeros(1024, np.float32), overflowed))
    monkeypatch.setattr("voicecapture.audio._DEVICE_SILENCE_S", 0.05)
    chunks = []
    with pytest.raises(AudioError, match="delivers nothing any more"):
        for chunk in _live_chunks(blocks, 16_000):
            chunks.append(chunk)
    assert [chunk.gap for chunk in chunks].count(True) == 1


def test_an_unknown_microphone_is_one_sentence() -> None:
    try:
        import sounddevice  # noqa: F401
    except OSError:
        pytest.skip("PortAudio is not installed")
    with pytest.raises(AudioError, match="--list-devices"):
        next(open_microphone("no such microphone"))
