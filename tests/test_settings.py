"""The reminder of a break in the settings file."""

from pathlib import Path

import pytest

from voicecapture.errors import GrammarError
from voicecapture.settings import Settings, read_settings


def test_no_break_is_reminded_of_unless_it_is_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text("break_after_minutes = 45\n")
    assert Settings().break_after_minutes is None
    assert read_settings(path).break_after_minutes == 45


@pytest.mark.parametrize("value", ["5", "601", "true", '"often"'])
def test_a_reminder_out_of_reason_is_refused(value: str, tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text(f"break_after_minutes = {value}\n")
    with pytest.raises(GrammarError, match=r"break_after_minutes is .*; expected minutes from 10 to 600"):
        read_settings(path)


def test_the_time_that_a_cow_stands_at_the_gate_is_set_in_seconds(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text("reader_window_seconds = 8.5\n")
    assert read_settings(path).decision.reader_window_s == 8.5
    path.write_text("reader_window_seconds = 2\n")
    with pytest.raises(GrammarError, match="reader_window_seconds is 2; expected seconds from 3 to 120"):
        read_settings(path)
