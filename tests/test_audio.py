"""Sound in: every recording that a dictation recorder may write."""

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
    check_recording,
    level_dbfs,
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


def heard_until_failure(path: Path) -> tuple[NDArray[np.float32], str]:
    """What a broken recording gives, and the failure that follows."""
    chunks = []
    with pytest.raises(AudioError) as failure:
        for chunk in read_recording(path):
            chunks.append(chunk)
    return joined(chunks), str(failure.value)


def noise_flac(path: Path) -> NDArray[np.float64]:
    """Ten seconds of noise, in frames of 4096 samples (libsndfile's FLAC default)."""
    noise = 0.1 * np.random.default_rng(0).standard_normal(160_000)
    soundfile.write(path, noise, 16_000)
    return noise


def test_a_compressed_recording_cut_short_gives_all_that_decodes_and_says_where_it_broke(tmp_path: Path) -> None:
    path = tmp_path / "noise.flac"
    noise = noise_flac(path)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    heard, failure = heard_until_failure(path)
    # Half of the bytes are half of the noise; the frame of 4096 samples that was cut cannot be decoded.
    assert 80_000 - 2 * 4096 < len(heard) <= 80_000
    assert heard[:75_000] == pytest.approx(noise[:75_000], abs=1e-4)
    assert f"breaks off at {len(heard) / 16_000:.1f} s" in failure


def test_a_flac_that_was_never_finished_is_read_to_its_end(tmp_path: Path) -> None:
    """A recorder that loses its battery leaves the count of samples at 0, unknown (RFC 9639, section 8.2)."""
    path = tmp_path / "noise.flac"
    noise = noise_flac(path)
    data = bytearray(path.read_bytes())
    data[21] &= 0xF0  # 4 bytes marker, 4 bytes block header, 13 bytes of STREAMINFO before the 36-bit count
    data[22:26] = bytes(4)
    path.write_bytes(data)
    check_recording(path)
    assert joined(read_recording(path))[: len(noise)] == pytest.approx(noise, abs=1e-4)


def test_sound_missing_in_the_middle_of_a_compressed_recording_is_told(tmp_path: Path) -> None:
    path = tmp_path / "noise.ogg"
    soundfile.write(path, 0.1 * np.random.default_rng(0).standard_normal(160_000), 16_000)
    data = bytearray(path.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 4000] = bytes(4000)
    path.write_bytes(data)
    heard, failure = heard_until_failure(path)
    assert len(heard) > 100_000
    assert "expected 10.0 s" in failure


def test_sound_beyond_full_scale_is_brought_within_it(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "loud.wav", 40 * tone(44_100), 44_100, subtype="FLOAT")
    assert np.abs(joined(read_recording(tmp_path / "loud.wav"))).max() == 1.0


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


def test_a_recording_without_samples_yields_nothing_but_the_error(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "empty.wav", np.zeros(0), 16_000)
    with pytest.raises(AudioError, match="without sound"):
        next(read_recording(tmp_path / "empty.wav"))


def test_a_recording_that_breaks_before_its_first_sound_is_refused_up_front(tmp_path: Path) -> None:
    path = tmp_path / "noise.flac"
    noise_flac(path)
    path.write_bytes(path.read_bytes()[:100])  # the header of 86 bytes and the start of the first frame
    with pytest.raises(AudioError, match=r"breaks off at 0\.0 s"):
        check_recording(path)


@pytest.mark.parametrize("subtype", ["VORBIS", "OPUS"])
@pytest.mark.parametrize("share", [0.5, 0.999])
def test_an_ogg_cut_short_gives_all_that_decodes_and_says_where_it_ends(
    tmp_path: Path, subtype: str, share: float
) -> None:
    path = tmp_path / "noise.ogg"
    soundfile.write(
        path, 0.1 * np.random.default_rng(0).standard_normal(160_000), 16_000, format="OGG", subtype=subtype
    )
    path.write_bytes(path.read_bytes()[: round(share * path.stat().st_size)])
    heard, failure = heard_until_failure(path)
    # A page of libogg holds about 4 kB, of these at most 1.5 s, and only whole pages decode.
    assert share * 160_000 - 1.5 * 16_000 < len(heard) < 160_000
    said_s = float(failure.split("ends at ")[1].split(" s ")[0])
    assert said_s == pytest.approx(len(heard) / 16_000, abs=0.1)


@pytest.mark.parametrize("number", [np.nan, np.inf])
def test_numbers_that_are_no_sound_are_refused_and_what_comes_before_is_read(tmp_path: Path, number: float) -> None:
    sound = tone(16_000)
    sound[9600] = number
    soundfile.write(tmp_path / "nan.wav", sound, 16_000, subtype="FLOAT")
    heard, failure = heard_until_failure(tmp_path / "nan.wav")
    assert "no sound at 0.6 s" in failure
    assert heard[:9600] == pytest.approx(sound[:9600], abs=1e-6)


def test_levels() -> None:
    assert level_dbfs(np.ones(100, np.float32)) == pytest.approx(0)
    assert level_dbfs(np.zeros(100, np.float32)) == -120


@pytest.mark.parametrize("rate_hz", [1, 100, 2_000_000_000])
def test_a_header_that_claims_a_rate_of_no_recorder_is_refused(tmp_path: Path, rate_hz: int) -> None:
    """One sample a second would fill the memory on its way to 16,000. Rate: bytes 24 to 27 of the RIFF header."""
    path = tmp_path / "slow.wav"
    soundfile.write(path, np.zeros(16_000, np.int16), 16_000)
    data = path.read_bytes()
    path.write_bytes(data[:24] + rate_hz.to_bytes(4, "little") + data[28:])
    with pytest.raises(AudioError, match="samples a second; expected"):
        list(read_recording(path))
