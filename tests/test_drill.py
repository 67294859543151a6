"""The quick part of the drill: kills and faults, and nothing lost."""

from contextlib import nullcontext
from pathlib import Path

import pytest

pytest.importorskip("resource")  # the drill needs a POSIX system

from voicecapture.drill import row
from voicecapture.drill.faults import try_fault, try_faults
from voicecapture.drill.kills import kill_at_every_line, kill_at_random
from voicecapture.drill.script import Script, write_script
from voicecapture.store.keeper import Keeper


@pytest.fixture(scope="module")
def script() -> Script:
    return write_script(12)


def test_a_killed_day_has_all_that_was_announced_and_goes_on_to_its_end(tmp_path: Path, script: Script) -> None:
    tried = kill_at_random(tmp_path, script, 14, seed=1, longest_s=0.5)
    assert tried.times >= 14 and tried.is_good, tried


def test_a_kill_at_any_line_of_a_save_loses_nothing(tmp_path: Path, script: Script) -> None:
    tried = kill_at_every_line(tmp_path, script, every=40)
    assert tried.times >= 6 and tried.is_good, tried


def test_a_broken_disk_is_told_of_and_loses_nothing(tmp_path: Path, script: Script) -> None:
    tried = list(try_faults(tmp_path, script, 1))
    assert all(one.times for one in tried) and all(one.is_good for one in tried), "\n".join(map(row, tried))


def test_the_drill_sees_what_is_lost_and_what_is_falsely_called_saved(
    tmp_path: Path, script: Script, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Keeper, "keep", lambda self, *_: True)
    tried = try_fault("none", lambda path: nullcontext(), tmp_path, script, 0, seed=1, days=1)
    assert tried.lost == tried.false_saved == 12
