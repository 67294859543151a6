"""The record and its sounds are their owner's alone, whatever the umask; old sounds go when they are told to."""

import os
import stat
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest

from tests.seasons import empty, in_calf
from tests.test_cli import Run, run  # noqa: F401
from tests.test_season_store import a_day, joined, season_in
from voicecapture.cli import begin
from voicecapture.errors import AudioError, RecordError
from voicecapture.store.clips import read_clips, read_utterance
from voicecapture.store.purging import old_audio, purge
from voicecapture.store.record import Record
from voicecapture.store.season import read_season

posix_only = pytest.mark.skipif(os.name == "nt", reason="a user's folders are private there, and modes say nothing")


@pytest.fixture(params=[0o000, 0o022, 0o077], ids=oct)
def umask(request: pytest.FixtureRequest) -> Iterator[None]:
    before = os.umask(request.param)
    yield
    os.umask(before)


def modes(folder: Path) -> dict[str, int]:
    return {str(file.relative_to(folder)): stat.S_IMODE(file.stat().st_mode) for file in folder.rglob("*")}


def is_private(folder: Path) -> bool:
    return all(mode == (0o700 if (folder / name).is_dir() else 0o600) for name, mode in modes(folder).items())


@posix_only
@pytest.mark.usefixtures("umask")
def test_a_day_and_its_sounds_are_private(tmp_path: Path) -> None:
    record = Record.open(tmp_path / "day.db")
    a_day(tmp_path / "other.db", in_calf("417", 56))
    assert (tmp_path / "day.db-wal").exists()  # SQLite's own files are among those looked at
    assert is_private(tmp_path), modes(tmp_path)
    record.close()


@posix_only
@pytest.mark.usefixtures("umask")
def test_a_season_and_the_sounds_copied_to_it_are_private(tmp_path: Path) -> None:
    path = a_day(tmp_path / "day.db", in_calf("417", 56))
    for file in (*(tmp_path / "day_clips").iterdir(), path):
        file.chmod(0o644)
    (tmp_path / "s").mkdir()
    joined(tmp_path / "s/season.db", path)
    assert is_private(tmp_path / "s"), modes(tmp_path / "s")
    assert len(list((tmp_path / "s/season_clips").iterdir())) == 1


@posix_only
@pytest.mark.usefixtures("umask")
def test_the_folder_of_days_is_private(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("platformdirs.user_data_path", lambda _name: tmp_path / "data")
    assert begin.new_database().parent == tmp_path / "data/days"
    assert modes(tmp_path)["data/days"] == 0o700


# ---- purging -------------------------------------------------------------------------------------


@pytest.fixture
def season(tmp_path: Path) -> Path:
    """A season of an old day and a new one, and an old piece of sound that no day names."""
    today = date.today()
    old = a_day(tmp_path / "old.db", in_calf("417", 56), empty("608"), on=today - timedelta(days=40))
    new = a_day(tmp_path / "new.db", empty("4"), on=today - timedelta(days=3))
    path = tmp_path / "season/season.db"
    path.parent.mkdir()
    joined(path, old, new)
    spool = path.with_name("season_spool") / "day1"
    spool.mkdir(parents=True)
    for name, days in (("old.flac", 40), ("new.flac", 1)):
        (spool / name).write_bytes(b"sound")
        at = (today - timedelta(days=days)).toordinal() - date(1970, 1, 1).toordinal()
        os.utime(spool / name, (at * 86_400 + 43_200,) * 2)
    return path


def sounds(path: Path) -> set[str]:
    return {file.name for file in path.parent.rglob("*.flac")}


def test_only_the_sounds_of_old_days_go_and_the_record_stays(run: Run, season: Path) -> None:  # noqa: F811
    before, was = sounds(season), season_in(season)
    old_day, digests = was.days[0].name, [day.digest for day in was.days]
    code, out, _ = run("purge", season, "--audio", "--older-than", "30", "--yes")
    assert code == 0 and "3 sounds" in out and str(was.days[0].scanned_on) in out
    assert str(was.days[1].scanned_on) not in out
    assert sounds(season) == {name for name in before if old_day not in name and name != "old.flac"}
    assert len(sounds(season)) == 2 and [day.digest for day in season_in(season).days] == digests
    assert run("purge", season, "--audio", "--older-than", "30")[1].endswith("no sound is so old.\n")


@pytest.mark.parametrize(("answer", "code", "left"), [("n\n", 1, 5), ("", 1, 5), ("y\n", 0, 2)])
def test_it_asks_first(
    season: Path,
    answer: str,
    code: int,
    left: int,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    run: Run,  # noqa: F811
) -> None:
    (tmp_path / "answer").write_text(answer)
    with (tmp_path / "answer").open() as answered:
        monkeypatch.setattr("sys.stdin", answered)
        assert run("purge", season, "--audio", "--older-than", "30")[0] == code
    assert len(sounds(season)) == left


def test_nothing_but_sounds_can_be_purged(run: Run, season: Path) -> None:  # noqa: F811
    code, _, errors = run("purge", season, "--older-than", "30", "--yes")
    assert code == 2 and "--audio" in errors and len(sounds(season)) == 5


def test_a_day_that_is_listened_to_keeps_its_sounds(season: Path) -> None:
    record, listening = Record.open(season), Record.open(season)
    with listening.alone(), pytest.raises(RecordError, match="another program"):
        purge(record, old_audio(record, date.today()).files)
    assert len(sounds(season)) == 5
    record.close()
    listening.close()


def test_without_its_sounds_a_day_is_joined_and_looked_through_and_says_so(tmp_path: Path, run: Run) -> None:  # noqa: F811
    path = a_day(tmp_path / "day.db", in_calf("417", 56), empty("608"), on=date.today() - timedelta(days=40))
    assert run("purge", path, "--audio", "--older-than", "30", "--yes")[0] == 0
    with Record.reading(path) as record:
        clips = read_clips(record, read_season(record).days[0].name)
        with pytest.raises(AudioError, match="unless it was purged"):
            read_utterance(clips[1])
    code, out, _ = run("season", "add", path, "--season", tmp_path / "season.db")
    assert code == 0 and "1 new days, 2 new events" in out and "2 sounds were not beside it" in out
