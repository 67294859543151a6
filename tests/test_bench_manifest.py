"""Manifests of recordings: what is said, and one clear sentence for every line that is wrong."""

import json
from pathlib import Path
from typing import Any

import pytest

from voicecapture.bench.manifest import Recording, read_manifest, same_meaning
from voicecapture.errors import AudioError
from voicecapture.language.grammar_file import load_grammar
from voicecapture.language.phrase import Command, Entry, Phrase, Result

GRAMMAR = load_grammar()
FIXTURES = Path(__file__).parents[1] / "audio_fixtures"


def read(folder: Path, *rows: dict[str, Any] | str) -> list[Recording]:
    (folder / "a.ogg").touch()
    lines = [row if isinstance(row, str) else json.dumps({"file": "a.ogg"} | row) for row in rows]
    (folder / "manifest.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return read_manifest(folder, GRAMMAR)


def test_an_entry_needs_no_more_than_its_file_and_what_was_said(tmp_path: Path) -> None:
    (row,) = read(tmp_path, {"expected": {"cow": "417", "result": "empty"}})
    assert row.said == Phrase(entry=Entry("417", Result.EMPTY))
    assert (row.kind, row.voice, row.is_clean) == ("entry", "unknown", True)


def test_a_recording_of_which_nothing_is_expected_is_talk(tmp_path: Path) -> None:
    (row,) = read(tmp_path, {"words": "shut that gate"})
    assert (row.kind, row.said) == ("talk", None)


def test_a_number_a_result_and_a_command_mean_what_the_grammar_says(tmp_path: Path) -> None:
    number, result, command = read(
        tmp_path,
        {"words": "four one seven", "kind": "number"},
        {"words": "pregnant eight weeks", "kind": "result"},
        {"words": "take that back", "kind": "command"},
    )
    assert number.said == Phrase(entry=Entry("417"))
    assert result.said == Phrase(entry=Entry(result=Result.PREGNANT, days=56))
    assert command.said == Phrase(command=Command.TAKE_BACK)


def test_noise_of_its_own_makes_a_recording_unclean_also_where_its_level_is_unknown(tmp_path: Path) -> None:
    named, measured, both = read(
        tmp_path,
        {"noise": "yard"},
        {"snr_db": 10, "seed": 7},
        {"snr_db": 10, "noise": "yard"},
    )
    assert not any(row.is_clean for row in (named, measured, both))
    assert [row.noise for row in (named, measured, both)] == ["yard", "shed 7", "yard"]


@pytest.mark.parametrize("group", ["reporting", "tuning"])
def test_every_shipped_recording_is_read(group: str) -> None:
    rows = read_manifest(FIXTURES / group, GRAMMAR)
    lines = (FIXTURES / group / "manifest.jsonl").read_text(encoding="utf-8").splitlines()
    assert len(rows) == len(lines)
    assert {row.kind for row in rows if row.said is None} == {"talk"}


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ("{", "no JSON"),
        ("[]", "names no file"),
        ('{"words": "empty"}', "names no file"),
        ('{"file": "b.ogg"}', "is missing"),
        ('{"file": "a.ogg", "snr_db": "loud"}', "snr_db is 'loud'"),
        ('{"file": "a.ogg", "expected": {"number": "417"}}', "expected is"),
        ('{"file": "a.ogg", "expected": {"cow": 417, "result": "empty"}}', "cow is 417"),
        ('{"file": "a.ogg", "expected": {"cow": "417", "result": "in calf"}}', "result is 'in calf'"),
        ('{"file": "a.ogg", "expected": {"cow": "417", "result": "pregnant", "days": "56"}}', "days is '56'"),
        ('{"file": "a.ogg", "kind": "command", "words": "open the gate"}', "nobody can say 'open the gate'"),
    ],
)
def test_a_wrong_line_is_named(tmp_path: Path, line: str, found: str) -> None:
    with pytest.raises(AudioError, match=r"manifest\.jsonl:2: ") as raised:
        read(tmp_path, {}, line)
    assert found in str(raised.value)


def test_a_manifest_that_is_missing_or_empty_is_told(tmp_path: Path) -> None:
    with pytest.raises(AudioError, match="cannot be read"):
        read_manifest(tmp_path, GRAMMAR)
    with pytest.raises(AudioError, match="names no recording"):
        read(tmp_path, "")
    (tmp_path / "manifest.jsonl").write_bytes(b"\xff\xfe")
    with pytest.raises(AudioError, match="not text in UTF-8"):
        read_manifest(tmp_path, GRAMMAR)


def test_findings_mean_the_same_in_any_order() -> None:
    a = Phrase(entry=Entry("417", Result.EMPTY, findings=("lame", "cystic")))
    b = Phrase(entry=Entry("417", Result.EMPTY, findings=("cystic", "lame")))
    assert same_meaning(a, b)
    assert not same_meaning(a, Phrase(entry=Entry("417", Result.EMPTY)))
    assert not same_meaning(a, Phrase(command=Command.STOP))
    assert not same_meaning(a, None)
