"""`voicecapture new` by flags, and on a screen from the form to the day."""
# ruff: noqa: F811 - the fixtures of another file are arguments here.

import json
import sqlite3
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.fakes import with_pauses
from tests.test_cli import Run, herd, killed_after, recording, run, sentence  # noqa: F401
from tests.test_microphone import LID, Machine, machine  # noqa: F401
from voicecapture.cli import new
from voicecapture.guide.app import GuideApp
from voicecapture.live import unbroken
from voicecapture.microphone import choose, remember
from voicecapture.rehearsal import Begun, Source
from voicecapture.voice_check import PHRASES


@pytest.fixture(scope="module")
def lines(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The first two lines of the check; too few to be relied on."""
    path = tmp_path_factory.mktemp("check") / "lines.wav"
    soundfile.write(path, with_pauses(1.0, PHRASES[0], 1.5, PHRASES[1], 1.5), 16_000)
    return path


def begin(herd: Path, recording: Path, database: Path, *others: str | Path) -> tuple[str | Path, ...]:
    return (
        *("new", "--plain", "--quiet", "--herd", herd, "--vet", "A Vet", "--from", recording, "--speed", "1000"),
        *("--database", database, *others),
    )


def test_a_day_begins_by_flags_alone(run: Run, herd: Path, recording: Path, tmp_path: Path) -> None:
    matings, database = tmp_path / "matings.csv", tmp_path / "day.db"
    matings.write_text("cow,served_on\n417,2026-12-15\n")
    flags = ("--matings", matings, "--scan", "yes_no", "--date", "9/2/2027", "--mating-start", "2026-11-15")
    code, out, _ = run(*begin(herd, recording, database, *flags))
    assert code == 0 and str(database) in out and "2 of 2, 100 %" in out
    with sqlite3.connect(database) as reader:
        assert reader.execute("select scanned_on, scan_kind, vet, herd_file from day").fetchall() == [
            ("2027-02-09", "yes_no", "A Vet", str(herd))
        ]
        assert reader.execute("select first_on from mating_start").fetchall() == [("2026-11-15",)]
        assert reader.execute("select kind from farm_list").fetchall() == [("matings",)]
        assert reader.execute("select cow from current_result order by cow").fetchall() == [("417",), ("608",)]
        assert reader.execute("select count(*) from voice_check").fetchone() == (0,)


@pytest.mark.parametrize("given", [(), ("--herd", "HERD"), ("--vet", "A Vet")])
def test_without_a_screen_what_is_missing_is_wrong_usage(
    run: Run, herd: Path, recording: Path, given: tuple[str, ...]
) -> None:
    arguments = [str(herd) if word == "HERD" else word for word in given]
    code, _, errors = run("new", "--plain", "--from", recording, *arguments)
    assert code == 2
    for flag in {"--herd", "--vet"} - set(given):
        assert flag in errors


@pytest.mark.parametrize(
    ("flag", "value"), [("--date", "31/2/2027"), ("--scan", "weekly"), ("--mating-start", "2100-01-01")]
)
def test_a_wrong_flag_is_named(run: Run, herd: Path, recording: Path, tmp_path: Path, flag: str, value: str) -> None:
    database = tmp_path / "day.db"
    code, _, errors = run(*begin(herd, recording, database, flag, value))
    assert code == 2 and flag in errors and not database.exists()


def test_every_wrong_line_of_a_list_is_told_and_no_day_begins(
    run: Run,
    recording: Path,
    tmp_path: Path,
) -> None:
    wrong, database = tmp_path / "wrong.csv", tmp_path / "day.db"
    wrong.write_text("cow\nred\nblue\n")
    code, _, errors = run(*begin(wrong, recording, database))
    assert code == 1 and "line 2" in errors and "line 3" in errors and not database.exists()


def test_a_check_that_advises_against_it_begins_no_day_without_a_person(
    run: Run,
    herd: Path,
    recording: Path,
    lines: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)
    database = tmp_path / "day.db"
    code, out, errors = run(*begin(herd, recording, database, "--check-from", lines))
    assert code == 1 and "only 2 of 20 lines were said" in out and "--no-check" in sentence(errors)
    assert not database.exists()


def test_a_person_may_begin_all_the_same_and_the_check_is_kept_with_the_day(
    run: Run,
    herd: Path,
    recording: Path,
    lines: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("typer.confirm", lambda question: True)
    database = tmp_path / "day.db"
    assert run(*begin(herd, recording, database, "--check-from", lines))[0] == 0
    with sqlite3.connect(database) as reader:
        ((day_id, spoken, right, verdict, said),) = reader.execute(
            "select day_id, lines, heard_right, verdict, said from voice_check"
        )
    assert (day_id, spoken, right, verdict) == (1, 2, 2, "do not rely on it today")
    assert [line["phrase"] for line in json.loads(said)] == list(PHRASES[:2])


def test_no_check_is_made_where_none_is_wanted(
    run: Run,
    herd: Path,
    recording: Path,
    lines: Path,
    tmp_path: Path,
) -> None:
    code, out, _ = run(*begin(herd, recording, tmp_path / "day.db", "--check-from", lines, "--no-check"))
    assert code == 0 and "of 20: say" not in out


def test_the_farm_names_the_days_file(
    run: Run,
    herd: Path,
    recording: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("platformdirs.user_data_path", lambda name: tmp_path)
    flags = [
        word
        for word in begin(herd, recording, tmp_path / "x", "--farm", "Alder Bank / home")
        if word != tmp_path / "x"
    ]
    flags.remove("--database")
    assert run(*flags)[0] == 0
    (kept,) = (tmp_path / "days").glob("*.db")
    assert kept.stem.endswith("_alder-bank-home")


def test_a_day_that_was_cut_off_goes_on(
    run: Run, herd: Path, recording: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    asked = ("--herd", herd, "--vet", "A Vet", "--farm", "Alder Bank", "--from", recording, "--speed", "20")
    new = ("new", "--plain", "--quiet", "--no-check", *asked)
    killed_after(1, *new)
    code, out, _ = run(*new, "--scan", "yes_no")
    assert code == 0 and "A day that was cut off (morning.wav) is in" in out and "Going on" not in out
    code, out, _ = run(*new)
    assert code == 0 and "Going on with the day that was cut off: 1 scanned, 0 open" in out and "2 of 2, 100 %" in out
    assert len(list(tmp_path.rglob("*alder-bank*.db"))) == 2
    assert "Going on" not in run(*new)[1]


def test_on_a_terminal_the_form_comes_first_and_then_the_day(
    run: Run,
    herd: Path,
    recording: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Only the screens are left out: what the form was left with begins a day."""
    offered: list[tuple[list[Source], str]] = []

    def ask(app: GuideApp) -> Begun | None:
        offered.append((list(app._guide.sources), app._guide.no_source))
        # From here on there is no terminal, so that the day runs in lines.
        monkeypatch.setattr("sys.stdout.isatty", lambda: False, raising=False)
        return Begun(app._form._start, app._guide.sources[0], ())

    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    monkeypatch.setattr(GuideApp, "ask", ask)
    database = tmp_path / "day.db"
    code, out, _ = run(*(word for word in begin(herd, recording, database) if word != "--plain"))
    assert code == 0 and "2 of 2, 100 %" in out
    ((source,), _) = offered[0]
    assert source.name == recording.name and not source.is_live


def test_leaving_the_form_keeps_nothing(
    run: Run,
    herd: Path,
    recording: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    monkeypatch.setattr(GuideApp, "ask", lambda app: None)
    database = tmp_path / "day.db"
    code, out, _ = run(*(word for word in begin(herd, recording, database) if word != "--plain"))
    assert (code, out) == (0, "No day was begun.\n") and not database.exists()


def test_every_microphone_is_offered_the_one_used_last_first(machine: Machine) -> None:
    def offered() -> list[str]:
        return [source.name for source in new._sources(None, None, None, 1.0)]

    assert offered() == ["Lid: Analog, ALSA", "Barn headset: USB Audio, ALSA"]
    remember(choose("headset"))
    assert offered() == ["Barn headset: USB Audio, ALSA", "Lid: Analog, ALSA"]
    machine.devices = [(LID, 0, 2)]
    assert offered() == ["Lid: Analog, ALSA"]


def test_recordings_take_the_place_of_the_microphone_for_check_and_day(recording: Path, lines: Path) -> None:
    (source,) = new._sources(None, recording, lines, 1000.0)
    rehearsed = np.concatenate([chunk.samples for chunk in source.rehearse()])
    listened = np.concatenate([chunk.samples for chunk in unbroken(source.listen(0.0))])
    assert abs(len(rehearsed) - soundfile.info(lines).frames) < 512
    assert abs(len(listened) - soundfile.info(recording).frames) < 512
