"""The commands as a user types them: exit codes, one clear sentence, nothing half written."""

import io
import json
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from importlib import import_module
from pathlib import Path

import numpy as np
import pytest
import soundfile
from typer.main import get_group

from tests.fakes import in_chunks, with_pauses
from voicecapture import __version__, cli, demo
from voicecapture.audio import paced
from voicecapture.cli import day
from voicecapture.cli.begin import new_database

Run = Callable[..., tuple[int, str, str]]

COMMANDS = (
    *(
        "demo",
        "new",
        "listen",
        "review",
        "check",
        "hear",
        "herd check",
        "visit",
        "model add",
        "words",
        "doctor",
        "bench",
    ),
    *("backup", "repair", "purge", "drill"),
    *("report", "export", "sign", "amend", "verify", "season add", "season records", "season outcomes"),
)


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run a command line in this process; returns exit code, output, errors."""

    def running(*arguments: str | Path) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["voicecapture", *map(str, arguments)])
        try:
            cli.main()
            code = 0
        except SystemExit as ended:
            code = int(ended.code or 0)
        captured = capsys.readouterr()
        return code, captured.out, captured.err

    return running


@pytest.fixture
def herd(tmp_path: Path) -> Path:
    path = tmp_path / "herd.csv"
    path.write_text("cow\n417\n608\n")
    return path


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    path = tmp_path / "morning.wav"
    samples = with_pauses(0.6, "four one seven, pregnant fifty six days.", 2.0, "six oh eight, empty.", 1.0)
    soundfile.write(path, samples, 16_000)
    return path


def sentence(errors: str) -> str:
    """The one line of an error."""
    assert "Traceback" not in errors
    (line,) = errors.strip().splitlines()
    return line


def test_version(run: Run) -> None:
    assert run("--version")[:2] == (0, f"voicecapture {__version__}\n")


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_a_help_text(run: Run, command: str) -> None:
    code, out, _ = run(*command.split(), "--help")
    assert code == 0 and "Usage" in out


def test_every_command_of_the_modules_is_listed_with_its_line_of_help() -> None:
    modules = dict.fromkeys(module for module, _ in cli.COMMANDS.values())
    found = {
        name: (module, " ".join((command.help or "").split("\n\n")[0].split()))
        for module in modules
        for name, command in get_group(import_module(f"voicecapture.cli.{module}").app).commands.items()
    }
    assert found == cli.COMMANDS


def test_help_lists_every_command_and_loads_none() -> None:
    code = "import sys; from voicecapture import cli; sys.argv[1:] = ['--help']\ntry: cli.main()\nfinally: " + (
        "print([name for name in sys.modules if name.startswith('voicecapture.') and 'cli' not in name])"
    )
    shown = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout
    assert all(f"│ {name} " in shown for name in cli.COMMANDS)
    assert shown.splitlines()[-1] == "['voicecapture.plain_text', 'voicecapture.errors']"


def test_the_demo_hears_its_recording_with_its_herd(
    run: Run, herd: Path, recording: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(demo, "RECORDING", recording)
    monkeypatch.setattr(demo, "HERD", herd)
    code, out, _ = run("demo", "--plain", "--speed", "1000", "--database", tmp_path / "day.db")
    assert code == 0 and "2 of 2, 100 %" in out and "The day is kept in" in out


@pytest.mark.parametrize("arguments", [("hear",), ("dance",), ("demo", "--speed", "fast")])
def test_wrong_usage_is_2(run: Run, arguments: tuple[str, ...]) -> None:
    assert run(*arguments)[0] == 2


def test_hear_keeps_its_promise(run: Run, herd: Path, recording: Path) -> None:
    code, out, _ = run("hear", "--herd", herd, "--json", recording, recording)
    lines = [json.loads(line) for line in out.splitlines()]
    assert code == 0 and len(lines) == 4
    keys = [
        "file",
        "start_s",
        "end_s",
        "heard",
        "decision",
        "reason",
        "entry",
        "posterior",
        "alternatives",
        "latency_s",
    ]
    assert all(list(line) == keys for line in lines)
    # The second file is a fresh start: the same cows are taken again.
    assert [line["decision"] for line in lines] == ["accepted"] * 4
    assert lines[0]["entry"] == {"cow": "417", "result": "pregnant", "days": 56, "twins": False, "findings": []}
    assert lines[3]["entry"] == {"cow": "608", "result": "empty", "days": None, "twins": False, "findings": []}
    assert lines[0]["heard"] == "four one seven pregnant fifty six days"
    assert 0.5 < lines[0]["start_s"] + 0.4 < lines[0]["end_s"] < lines[1]["start_s"]
    assert 0.9 < lines[0]["posterior"] <= 1


def test_listen_from_a_recording_stores_the_day(run: Run, herd: Path, recording: Path, tmp_path: Path) -> None:
    database = tmp_path / "day.db"
    code, out, _ = run(
        *("listen", "--from", recording, "--speed", "1000", "--herd", herd),
        *("--database", database, "--plain", "--quiet"),
    )
    assert code == 0 and str(database) in out and "2 of 2, 100 %" in out
    with sqlite3.connect(database) as reader:
        assert reader.execute("select cow from current_result order by cow").fetchall() == [("417",), ("608",)]


@pytest.mark.parametrize(
    ("name", "data", "reason"),
    [
        ("notes.wav", b"muddy notebook", "not a recording"),
        ("empty.wav", b"", "empty file"),
        ("herd.csv", b"cow\n1\n", "not a recording"),
    ],
)
def test_what_is_no_recording_is_refused_before_anything_is_written(
    run: Run, tmp_path: Path, name: str, data: bytes, reason: str
) -> None:
    path = tmp_path / name
    path.write_bytes(data)
    code, out, errors = run("hear", path)
    assert (code, out) == (1, "") and reason in sentence(errors)
    database = tmp_path / "day.db"
    code, _, errors = run("listen", "--from", path, "--database", database, "--plain", "--quiet")
    assert code == 1 and reason in sentence(errors) and not database.exists()


def test_silence_gives_nothing(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "silence.wav"
    soundfile.write(path, np.zeros(48_000), 16_000)
    assert run("hear", "--json", path) == (0, "", "")


def test_a_wrong_herd_list_is_refused_before_anything_is_written(run: Run, recording: Path, tmp_path: Path) -> None:
    path, database = tmp_path / "herd.csv", tmp_path / "day.db"
    path.write_text("cow\n417\n417\nx\n")
    code, _, errors = run("herd", "check", path)
    assert code == 1 and "line 3" in errors and "line 4" in errors and "Traceback" not in errors
    code, _, errors = run("listen", "--from", recording, "--herd", path, "--database", database, "--plain", "--quiet")
    assert code == 1 and "line 3" in errors and not database.exists()


def test_an_unwritable_place_is_one_sentence(run: Run, recording: Path, tmp_path: Path) -> None:
    code, _, errors = run("listen", "--from", recording, "--database", recording / "day.db", "--plain", "--quiet")
    assert code == 1 and "Name a file that can be written" in sentence(errors)


@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        (("--engine", "ears"), "listener, vosk, whisper"),
        (("--engine", "vosk"), "model"),
        (("--engine", "vosk", "--model", "nowhere"), "nowhere"),
        (("--settings", "nowhere.toml"), "nowhere.toml"),
    ],
)
def test_unknown_engines_and_files_are_named(
    run: Run, recording: Path, arguments: tuple[str, ...], reason: str
) -> None:
    code, out, errors = run("hear", *arguments, recording)
    assert (code, out) == (1, "") and reason in sentence(errors)


def test_without_portaudio_listen_says_how_to_get_it(
    run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """sounddevice raises OSError at import where the library is missing."""

    class Missing:
        def find_spec(self, name: str, *_: object) -> None:
            if name == "sounddevice":
                raise OSError("PortAudio library not found")

    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Missing(), *sys.meta_path])
    code, _, errors = run("listen", "--database", tmp_path / "day.db", "--plain", "--quiet")
    line = sentence(errors)
    assert code == 1 and "apt install" in line and "brew install" in line and "Windows" in line


def test_a_settings_file_adds_a_finding(run: Run, recording: Path, tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text('[findings]\nmastitis = "M AE S T AY T AH Q"\n')
    code, _, errors = run("hear", "--settings", path, recording)
    assert code == 1 and "'Q'" in sentence(errors)
    path.write_text('[findings]\nmastitis = "M AE S T AY T AH S"\n')
    spoken = tmp_path / "mastitis.wav"
    soundfile.write(spoken, with_pauses(0.5, "four one seven, empty, mastitis.", 1.0), 16_000)
    code, out, _ = run("hear", "--settings", path, "--json", spoken)
    assert json.loads(out)["entry"]["findings"] == ["mastitis"]


def test_the_program_starts_as_a_module() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "voicecapture", "--version"], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout) == (0, f"voicecapture {__version__}\n")


def test_a_recording_that_breaks_off_does_not_stop_the_ones_after_it(
    run: Run, herd: Path, recording: Path, tmp_path: Path
) -> None:
    broken = tmp_path / "broken.ogg"
    samples, rate_hz = soundfile.read(recording)
    soundfile.write(broken, samples, rate_hz, format="OGG", subtype="VORBIS")
    broken.write_bytes(broken.read_bytes()[: broken.stat().st_size * 3 // 4])
    code, out, errors = run("hear", "--herd", herd, "--json", broken, recording)
    files = [json.loads(line)["file"] for line in out.splitlines()]
    assert code == 1 and str(broken) in sentence(errors)
    assert files.count(str(recording)) == 2 and str(broken) in files


@pytest.fixture
def microphone(monkeypatch: pytest.MonkeyPatch) -> None:
    """A microphone that hears six seconds of an empty shed, as they go by."""
    monkeypatch.setattr(day, "choose", lambda device: "barn headset")
    monkeypatch.setattr(day, "listen_live", lambda microphone: paced(in_chunks(with_pauses(6.0)), 1.0))


@pytest.mark.usefixtures("microphone")
def test_plain_takes_typed_lines_and_the_codes_of_a_reader_that_is_a_keyboard(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    herd = tmp_path / "herd.csv"
    herd.write_text("cow,electronic_id\n417,982000000000417\n608,982000000000608\n")
    monkeypatch.setattr(sys, "stdin", io.StringIO("608 empty\n982 000000000417\n\npregnant 58\n"))
    code, out, _ = run("listen", "--herd", herd, "--database", tmp_path / "day.db", "--plain", "--quiet")
    assert code == 0
    told = [line.split(maxsplit=1)[1] for line in out.splitlines() if " scanned " in line]
    assert [line.split()[0] for line in told[:3]] == ["taken", "read", "ignored"]
    # The last line was typed before the cow of the one before it was on the screen.
    assert "417" in told[1] and "something else happened meanwhile" in told[2]
    assert "read, no result   417" in out and "result, not read  608" in out


def test_a_reader_is_refused_without_electronic_ids_or_a_port(run: Run, herd: Path, tmp_path: Path) -> None:
    day = ("--database", tmp_path / "day.db", "--plain", "--quiet", "--from", demo.RECORDING)
    code, _, errors = run("listen", "--herd", herd, "--reader", "no-such-port", *day)
    assert code == 1 and "expected a column electronic_id" in sentence(errors)
    herd.write_text("cow,electronic_id\n417,982000000000417\n")
    code, _, errors = run("listen", "--herd", herd, "--reader", "no-such-port", *day)
    assert code == 1 and "--reader no-such-port: cannot be opened" in sentence(errors)
    assert not (tmp_path / "day.db").exists()


def killed_after(lines: int, *arguments: str | Path) -> list[str]:
    """Run a command in a process of its own, and kill it once it has printed so many decisions."""
    command = [sys.executable, "-m", "voicecapture", *map(str, arguments)]
    seen: list[str] = []
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        for line in process.stdout:
            seen.append(line)
            if sum(" taken " in line for line in seen) == lines:
                process.kill()
                break
    return seen


def test_a_day_that_was_killed_goes_on_and_a_new_one_is_begun_on_purpose(
    run: Run, herd: Path, recording: Path, tmp_path: Path
) -> None:
    database = tmp_path / "day.db"
    listen = ("listen", "--from", recording, "--speed", "20", "--herd", herd, "--database", database, "--plain")
    killed_after(1, *listen, "--quiet")
    other = tmp_path / "other.csv"
    other.write_text("cow\n1\n")
    code, _, errors = run(*listen[:6], other, *listen[7:], "--quiet")
    assert code == 1 and "another herd list" in sentence(errors)
    code, out, _ = run(*listen, "--quiet")
    assert code == 0 and "Going on with the day that was cut off: 1 scanned, 0 open" in out
    assert out.count(" taken ") == 1 and "2 of 2, 100 %" in out
    with sqlite3.connect(database) as reader:
        starts = [round(start) for (start,) in reader.execute("select start_s from utterance order by number")]
        assert starts == sorted(set(starts)) and len(starts) == 2
    # It has ended: the next one is another day of the same file.
    code, out, _ = run(*listen, "--quiet")
    assert code == 0 and "Going on" not in out and out.count(" taken ") == 2
    killed_after(1, *listen, "--quiet")
    code, out, _ = run(*listen, "--quiet", "--new-day")
    assert code == 0 and "Going on" not in out and out.count(" taken ") == 2
    with sqlite3.connect(database) as reader:
        assert reader.execute("select count(*), count(distinct day_id) from ending").fetchone() == (4, 4)


def test_a_record_is_copied_and_a_damaged_one_is_rebuilt_at_the_start(
    run: Run, herd: Path, recording: Path, tmp_path: Path
) -> None:
    database = tmp_path / "day.db"
    listen = ("listen", "--from", recording, "--speed", "1000", "--herd", herd, "--database", database, "--plain")
    assert run(*listen, "--quiet")[0] == 0
    code, out, _ = run("backup", database, tmp_path / "stick")
    assert code == 0 and "2 sounds copied" in out
    assert "whole" in run("repair", tmp_path / "stick" / "day.db")[1]
    data = bytearray(database.read_bytes())
    with sqlite3.connect(database) as reader:
        ((root,),) = reader.execute("select rootpage from sqlite_master where name = 'event'")
    data[(root - 1) * 4096 : root * 4096] = b"\xff" * 4096
    database.write_bytes(data)
    code, _, errors = run("review", database, "--by", "Vet")
    assert code == 1 and "voicecapture repair" in sentence(errors)
    code, out, _ = run(*listen, "--quiet")
    assert code == 0 and "has been rebuilt" in out and out.count("it is an open question") == 2


@pytest.mark.skipif(sys.platform != "linux", reason="the data folder is chosen by XDG_DATA_HOME")
def test_days_that_begin_in_the_same_second_have_files_of_their_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    files = set()
    for _ in range(20):
        files.add(file := new_database("Alder Bank"))
        file.touch()
    assert len(files) == 20 and all("_alder-bank" in file.name for file in files)


@pytest.mark.skipif(sys.platform != "linux", reason="the data folder is chosen by XDG_DATA_HOME")
def test_without_a_name_the_day_that_was_cut_off_with_this_source_goes_on(
    run: Run, herd: Path, recording: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    listen = ("listen", "--from", recording, "--speed", "20", "--plain", "--quiet", "--herd")
    killed_after(1, *listen, herd)
    other = tmp_path / "other.csv"
    other.write_text("cow\n1\n")
    code, out, _ = run(*listen, other)
    assert code == 0 and "A day that was cut off (morning.wav) is in" in out and out.count(" asked ") == 2
    code, out, _ = run(*listen, herd)
    assert code == 0 and "Going on with the day" in out and "2 of 2, 100 %" in out
    assert len(list((tmp_path / "data").rglob("*.db"))) == 2
