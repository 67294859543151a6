"""All sound of a day on the disk, and heard again."""

import shutil
import time
from collections import namedtuple
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.fakes import Samples, in_chunks, joined
from voicecapture.audio import CHUNK_SAMPLES, AudioChunk
from voicecapture.errors import AudioError
from voicecapture.spool import Spool, check_sound, read_sound

ROOM = namedtuple("ROOM", "free")


def noise(duration_s: float, seed: int = 0) -> Samples:
    """Noise as a 16-bit converter gives it, so that a FLAC gives the same back."""
    sound = 0.1 * np.random.default_rng(seed).standard_normal(round(duration_s * 16_000))
    return np.asarray(np.round(sound * 32768) / 32768, np.float32)


def kept(folder: Path, *parts: Iterator[AudioChunk], hours: float = 1.0, drops_oldest: bool = False) -> Spool:
    """A spool that has taken some sound."""
    one = Spool(folder, hours, drops_oldest)
    for part in parts:
        for chunk in part:
            one.put(chunk)
    one.close()
    return one


def later(chunks: Iterator[AudioChunk], by_s: float) -> Iterator[AudioChunk]:
    for chunk in chunks:
        yield replace(chunk, start_s=chunk.start_s + by_s)


def test_sound_comes_back_from_short_files_as_it_was(tmp_path: Path) -> None:
    sound = noise(24.96)
    assert kept(tmp_path / "day1", in_chunks(sound)).failure is None
    durations = [soundfile.info(path).duration for path in sorted((tmp_path / "day1").iterdir())]
    assert len(durations) == 3 and max(durations) < 10.1
    chunks = list(read_sound(tmp_path / "day1"))
    assert joined(iter(chunks)) == pytest.approx(sound, abs=1e-6)
    assert [c.start_s for c in chunks] == pytest.approx([i * 0.032 for i in range(len(chunks))], abs=1e-3)
    assert not any(chunk.gap for chunk in chunks)


def test_what_was_in_the_air_at_a_power_cut_is_there(tmp_path: Path) -> None:
    """The folder as it is on the disk while the spool is still at work."""
    one = Spool(tmp_path / "day1", 1.0, drops_oldest=False)
    sound = noise(14.0)
    for chunk in in_chunks(sound):
        one.put(chunk)
    deadline_s = time.monotonic() + 10
    while one._waiting.qsize() and time.monotonic() < deadline_s:
        time.sleep(0.01)
    shutil.copytree(tmp_path / "day1", tmp_path / "after the cut")
    one.close()
    heard = joined(read_sound(tmp_path / "after the cut"))
    assert len(heard) > 16_000 * 12.5
    assert heard[:200_000] == pytest.approx(sound[:200_000], abs=1e-6)


def test_a_hole_in_the_sound_keeps_its_time_and_is_marked(tmp_path: Path) -> None:
    kept(tmp_path / "day1", in_chunks(noise(3.2)), later(in_chunks(noise(3.2, 1)), 60.0))
    chunks = list(read_sound(tmp_path / "day1"))
    assert [chunk.start_s for chunk in chunks if chunk.gap] == [60.0]


def test_a_program_started_anew_goes_on_in_the_same_folder(tmp_path: Path) -> None:
    kept(tmp_path / "day1", in_chunks(noise(3.2)))
    kept(tmp_path / "day1", in_chunks(noise(3.2, 1)))
    assert joined(read_sound(tmp_path / "day1")) == pytest.approx(
        np.concatenate([noise(3.2), noise(3.2, 1)]), abs=1e-6
    )


def test_a_full_spool_stops_and_tells_unless_the_oldest_may_go(tmp_path: Path) -> None:
    hours = 2 * 10 / 3600
    full = kept(tmp_path / "full", in_chunks(noise(35.0)), hours=hours)
    assert full.failure is not None and "spool_hours" in full.failure
    assert min(chunk.start_s for chunk in read_sound(tmp_path / "full")) == 0
    rolling = kept(tmp_path / "rolling", in_chunks(noise(35.0)), hours=hours, drops_oldest=True)
    assert rolling.failure is None
    assert len(list((tmp_path / "rolling").iterdir())) == 2
    assert min(chunk.start_s for chunk in read_sound(tmp_path / "rolling")) > 19


def test_the_last_room_on_the_disk_is_left_to_the_record(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("voicecapture.spool.shutil.disk_usage", lambda path: ROOM(1000))
    one = kept(tmp_path / "day1", in_chunks(noise(1.0)))
    assert one.failure is not None and "left to the record" in one.failure
    assert not list((tmp_path / "day1").iterdir())


def test_a_folder_that_cannot_be_written_is_told_and_stops_nothing(tmp_path: Path) -> None:
    (tmp_path / "day1").write_text("a file where the folder should be")
    one = kept(tmp_path / "day1", in_chunks(noise(1.0)))
    assert one.failure is not None and "sound is not kept" in one.failure


def test_the_files_are_private_to_the_user(tmp_path: Path) -> None:
    kept(tmp_path / "day1", in_chunks(noise(1.0)))
    (file,) = (tmp_path / "day1").iterdir()
    assert file.stat().st_mode & 0o077 == 0 and (tmp_path / "day1").stat().st_mode & 0o077 == 0


def test_a_broken_file_in_the_middle_is_told_after_the_rest_was_read(tmp_path: Path) -> None:
    kept(tmp_path / "day1", in_chunks(noise(25.0)))
    second = sorted((tmp_path / "day1").iterdir())[1]
    second.write_bytes(second.read_bytes()[:60_000])
    heard = []
    with pytest.raises(AudioError, match=second.name):
        for chunk in read_sound(tmp_path / "day1"):
            heard.append(chunk)
    assert heard[-1].start_s > 24 and sum(chunk.gap for chunk in heard) == 1
    assert all(chunk.samples.shape == (CHUNK_SAMPLES,) for chunk in heard)


def test_a_folder_of_several_days_asks_which(tmp_path: Path) -> None:
    for day in ("day1", "day2"):
        kept(tmp_path / "a_spool" / day, in_chunks(noise(1.0)))
    with pytest.raises(AudioError, match=r"sound of 2 days.*day1"):
        check_sound(tmp_path / "a_spool")
    (tmp_path / "empty").mkdir()
    with pytest.raises(AudioError, match="without the sound of a day"):
        check_sound(tmp_path / "empty")
