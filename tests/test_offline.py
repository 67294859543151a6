"""The commands of a whole season without any network: no address is looked up, nothing is reached."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from voicecapture import demo

CLIP = Path(__file__).parents[1] / "audio_fixtures/reporting/000-entry-clean.ogg"

GUARDED = """
import sys
# What each of these is, is told in https://docs.python.org/3/library/audit_events.html
NETWORK = {"socket.connect", "socket.bind", "socket.sendto", "socket.sendmsg", "socket.getaddrinfo",
           "socket.gethostbyname", "socket.gethostbyaddr", "socket.getnameinfo", "urllib.Request"}

def guard(event, arguments):
    if event in NETWORK:
        print("NETWORK:", event, arguments, file=sys.stderr, flush=True)
        raise SystemExit(99)

sys.addaudithook(guard)
"""
COMMANDS = """
listen --from {clip} --speed 1000 --plain --quiet --herd {herd} --database day.db --vet Vet
hear --herd {herd} --json {clip}
check --from {clip}
herd check {herd}
visit {herd} visit.csv --on 2027-02-09
amend day.db 1 empty --by Vet --unlisted
sign day.db --vet Vet --list-open
verify day.db
season add day.db --season season.db
season records --herd {herd} --mating-start 2026-11-09 --season season.db
season outcomes calvings.csv --season season.db
report season.db
export season.db out.csv out.xlsx out.json out.ics
purge day.db --audio --older-than 0 --yes
words --page words.html
doctor
"""


def run(code: str, folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run Python in a process of its own, where the system can do so without any network device."""
    command = [sys.executable, "-c", code, *arguments]
    unshare = shutil.which("unshare")
    if unshare and subprocess.run([unshare, "-rn", "true"], capture_output=True, check=False).returncode == 0:
        command = [unshare, "-rn", *command]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)


@pytest.mark.parametrize(
    "attempt",
    [
        "import socket; socket.create_connection(('127.0.0.1', 9))",
        "import socket; socket.getaddrinfo('example.org', 80)",
        "import urllib.request; urllib.request.urlopen('http://127.0.0.1:9')",
    ],
)
def test_the_guard_sees_an_attempt(tmp_path: Path, attempt: str) -> None:
    done = run(GUARDED + attempt, tmp_path)
    assert done.returncode == 99 and "NETWORK:" in done.stderr


def test_no_library_reaches_for_the_network_below_python(tmp_path: Path) -> None:
    """The guard sees Python's sockets; onnxruntime 1.32 was seen to look up its maker's address by itself."""
    strace = shutil.which("strace")
    trace = tmp_path / "trace.txt"
    command = [sys.executable, "-m", "voicecapture", "doctor"]
    if strace is None or subprocess.run([strace, "-o", trace, "true"], capture_output=True, check=False).returncode:
        pytest.skip("strace is not installed, or may not be used here")
    traced = [strace, "-f", "-e", "trace=network", "-o", str(trace)]
    attempt = "import socket; socket.socket(socket.AF_INET, socket.SOCK_DGRAM)"
    subprocess.run([*traced, sys.executable, "-c", attempt], check=True)
    assert "AF_INET" in trace.read_text()
    # Long enough for what is gathered to be sent: after one utterance nothing had been.
    subprocess.run([*traced, *command], check=True, capture_output=True)
    assert "+++ exited" in trace.read_text() and "AF_INET" not in trace.read_text()


def test_no_library_gathers_anything_to_send_later(tmp_path: Path) -> None:
    """onnxruntime 1.32 was seen to keep an identity of the machine and a store of events in the cache folder."""
    home = {"HOME": str(tmp_path), "XDG_CACHE_HOME": str(tmp_path / "cache"), "LOCALAPPDATA": str(tmp_path / "local")}
    command = [sys.executable, "-m", "voicecapture", "hear", str(CLIP)]
    subprocess.run(command, env={**os.environ, **home}, check=True, capture_output=True)
    assert [file for file in tmp_path.rglob("*") if file.is_file()] == []


def test_every_command_works_without_a_network(tmp_path: Path) -> None:
    (tmp_path / "calvings.csv").write_text("cow,calved_on\n1,2027-08-01\n")
    lines = [line.format(clip=CLIP, herd=demo.HERD) for line in COMMANDS.strip().splitlines()]
    code = GUARDED + (
        "from voicecapture import cli\n"
        f"for line in {lines!r}:\n"
        "    sys.argv = ['voicecapture', *line.split()]\n"
        "    try:\n"
        "        cli.main()\n"
        "    except SystemExit as ended:\n"
        "        print('ENDED:', ended.code or 0, line, flush=True)\n"
    )
    done = run(code, tmp_path)
    ended = [line for line in done.stdout.splitlines() if line.startswith("ENDED:")]
    assert "NETWORK:" not in done.stderr and done.returncode == 0, done.stderr
    # A check with words that are not asked for tells so, and no more was wrong.
    assert [line.split()[1] for line in ended if " check --from" not in line] == ["0"] * (len(lines) - 1), (
        done.stdout + done.stderr
    )
