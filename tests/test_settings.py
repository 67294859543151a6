"""What a settings file may hold, and how it is refused."""

from pathlib import Path

import pytest

from voicecapture.errors import GrammarError
from voicecapture.language.grammar_file import load_grammar
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


def test_how_much_sound_is_kept_is_set_in_hours(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    assert (Settings().spool_hours, Settings().spool_drops_oldest) == (12, False)
    path.write_text("spool_hours = 30\nspool_drops_oldest = true\n")
    assert (read_settings(path).spool_hours, read_settings(path).spool_drops_oldest) == (30, True)
    path.write_text("spool_hours = 0.5\n")
    with pytest.raises(GrammarError, match=r"spool_hours is 0\.5; expected hours from 1 to 240"):
        read_settings(path)
    path.write_text('spool_drops_oldest = "yes"\n')
    with pytest.raises(GrammarError, match="spool_drops_oldest is 'yes'; expected true or false"):
        read_settings(path)


@pytest.mark.parametrize("name", ["empty", "Pregnant", "four", "twins", "yes", "dead_calf", "take_back", "bare"])
def test_a_finding_named_like_something_that_is_said_already_is_refused(name: str, tmp_path: Path) -> None:
    """Its name would be taken for the result, number or command of that name."""
    path = tmp_path / "settings.toml"
    path.write_text(f'[findings]\n{name} = "M AE S T AY T AH S"\n')
    with pytest.raises(GrammarError, match="word of the grammar already"):
        load_grammar(practice_findings=read_settings(path).findings)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("scan = " + "9" * 5000, "not a TOML file"),
        ("scan = " + "[" * 5000, "not a TOML file"),
        ("#" * 200_000, "over 100000 bytes"),
        ("[findings]\nlumpy = []\n", "said in no way"),
        ("[findings]\nlumpy = [1]\n", "no text"),
        ('[findings]\nlumpy = "L"\nLumpy = "L"\n', "there twice"),
        ('[reckoning]\nageing_sd_days = { "\u00b2" = 4.6 }\n', "expected ages in days"),
    ],
)
def test_settings_out_of_reason_are_refused_in_one_line(text: str, fault: str, tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(GrammarError, match=fault) as refused:
        read_settings(path)
    assert len(str(refused.value).splitlines()) == 1
