"""The bench as a user runs it: a folder of recordings through a real engine in a process of its own."""

import json
import shutil
import sys
from pathlib import Path
from typing import Any

import pytest

from voicecapture import cli, demo
from voicecapture.bench.run import run
from voicecapture.lists.herd import read_herd

FIXTURES = Path(__file__).parents[1] / "audio_fixtures" / "reporting"
FILES = ("000-entry-clean.ogg", "000-entry-10db.ogg", "281-talk-clean.ogg")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two conditions of one entry, and talk."""
    place = tmp_path / "recordings"
    place.mkdir()
    lines = (FIXTURES / "manifest.jsonl").read_text(encoding="utf-8").splitlines()
    (place / "manifest.jsonl").write_text("\n".join(line for line in lines if json.loads(line)["file"] in FILES))
    for file in FILES:
        shutil.copy(FIXTURES / file, place)
    return place


def bench(monkeypatch: pytest.MonkeyPatch, *arguments: str | Path) -> int:
    monkeypatch.setattr(sys, "argv", ["voicecapture", "bench", *map(str, arguments)])
    try:
        cli.main()
    except SystemExit as ended:
        return int(ended.code or 0)
    return 0


def test_recordings_are_heard_as_they_are_and_everything_is_written(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    figures, picture = tmp_path / "bench.json", tmp_path / "bench.svg"
    assert bench(monkeypatch, folder, "--noise-hours", "0.017", "--json", figures, "--picture", picture) == 0
    shown = capsys.readouterr()
    assert "3 recordings (all), 0.017 h of shed noise, a herd of 240" in shown.out
    assert "Traceback" not in shown.err
    found = json.loads(figures.read_text())["engines"]["listener"]
    kinds: dict[str, Any] = found["by_kind_and_condition"]
    assert {kind: set(conditions) for kind, conditions in kinds.items()} == {
        "entry": {"clean", "10 dB"},
        "talk": {"clean"},
        "noise": {"noise"},
    }
    assert kinds["entry"]["clean"]["right"]["count"] == 1
    assert found["latency"]["waiting for the pause"]["n"] == 1  # the noisy recording ends before the pause does
    assert found["latency"]["decoding"]["n"] == 2
    assert found["peak_memory_mb"] is None or found["peak_memory_mb"] > 50
    assert picture.read_text(encoding="utf-8").rstrip().endswith("</svg>")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bench.json", "bench.svg", "recordings"]


def test_clean_recordings_are_mixed_at_every_ratio(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    figures = tmp_path / "bench.json"
    assert bench(monkeypatch, folder, "--snr", "clean, 20, 20n", "--noise-hours", "0", "--json", figures) == 0
    found = json.loads(figures.read_text())["engines"]["listener"]
    assert set(found["by_kind_and_condition"]["entry"]) == {"clean", "20 dB", "20 dB, 8 kHz"}
    assert found["by_kind_and_condition"]["entry"]["20 dB"]["noises"] == 1
    assert found["latency"]["waiting for the pause"]["n"] == 3


def test_ctrl_c_keeps_what_was_heard(folder: Path) -> None:
    def interrupt(_engine: str, done: int, _total: int) -> None:
        if done == 2:
            raise KeyboardInterrupt

    described, (found,) = run(folder, read_herd(demo.HERD), ["listener"], None, None, (), 1, 0.0, False, interrupt)
    assert (described.is_stopped, described.recordings, described.planned) == (True, 2, 3)
    assert len(found.outcomes) == 2


def test_quick_hears_a_sample(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("voicecapture.bench.run.QUICK_RECORDINGS", 1)
    herd = read_herd(demo.HERD)
    described, (found,) = run(folder, herd, ["listener"], None, None, (), 1, 0.0, True, lambda *_: None)
    assert (described.recordings, described.planned, len(found.outcomes)) == (1, 3, 1)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--engine", "ear"), "--engine ear: unknown"),
        (("--engine", "listener", "--engine", "vosk"), "--engine vosk: no model was named"),
        (("--snr", "loud"), "--snr: 'loud'"),
        (("--snr", ""), "--snr: ''"),
        (("--snr", "99"), "--snr: '99'"),
        (("--picture", "bench.doc"), "bench.doc: no picture of that name"),
        (("--json", "nowhere/bench.json"), "nowhere/bench.json: cannot be written"),
    ],
)
def test_what_cannot_be_done_is_told_in_one_sentence_before_anything_is_heard(
    arguments: tuple[str, ...],
    told: str,
    folder: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert bench(monkeypatch, folder, *arguments) == 1
    shown = capsys.readouterr()
    assert sum(told in line for line in shown.err.splitlines()) == 1
    assert shown.out == ""
    assert "Traceback" not in shown.err


@pytest.mark.parametrize(
    ("arguments", "told"), [(("--draws", "2"), "only with --snr"), (("--snr", "10", "--draws", "13"), "1<=x<=12")]
)
def test_draws_are_of_different_sheds_alone(
    arguments: tuple[str, ...],
    told: str,
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert bench(monkeypatch, folder, *arguments) == 2
    shown = capsys.readouterr()
    assert told in shown.err
    assert shown.out == ""


def test_a_broken_recording_is_named_before_anything_is_heard(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / FILES[2]).write_bytes(b"no sound")
    assert bench(monkeypatch, folder) == 1
    assert f"{FILES[2]}: not a recording" in capsys.readouterr().err


def test_the_herd_of_another_farm_is_refused(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    herd = tmp_path / "herd.csv"
    herd.write_text("cow\n1\n")
    assert bench(monkeypatch, folder, "--herd", herd) == 1
    assert "--herd: none of the 1 cows in the manifest is in the herd list" in capsys.readouterr().err
