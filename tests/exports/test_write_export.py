"""A file is written whole or not at all, wherever it was to go."""

import os
from datetime import date
from pathlib import Path

import pytest

from tests.seasons import in_calf, scan_day
from voicecapture.errors import RecordError
from voicecapture.exports import write_export
from voicecapture.reckoning.season import Season
from voicecapture.reckoning.settings import ReckoningSettings

SEASON = Season((scan_day(date(2026, 12, 10), [in_calf("417", 56)]),))


def test_a_place_below_a_file_is_refused_in_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "notes").write_text("kept")
    with pytest.raises(RecordError, match="cannot be written"):
        write_export(SEASON, ReckoningSettings(), tmp_path / "notes" / "season.csv")
    assert (tmp_path / "notes").read_text() == "kept"


def test_a_name_that_is_too_long_is_refused_in_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="cannot be written"):
        write_export(SEASON, ReckoningSettings(), tmp_path / ("n" * 300 + ".csv"))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("stop", [KeyboardInterrupt, OSError])
def test_a_stop_before_the_end_leaves_the_older_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stop: type[BaseException]
) -> None:
    file = tmp_path / "season.csv"
    file.write_text("older")

    def stopped(*_: object) -> None:
        raise stop

    monkeypatch.setattr(os, "replace", stopped)
    with pytest.raises((KeyboardInterrupt, RecordError)):
        write_export(SEASON, ReckoningSettings(), file)
    assert [path.name for path in tmp_path.iterdir()] == ["season.csv"] and file.read_text() == "older"


def test_the_ending_may_be_in_capitals(tmp_path: Path) -> None:
    assert write_export(SEASON, ReckoningSettings(), tmp_path / "SEASON.CSV") == 1
