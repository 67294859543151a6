"""The committed recordings are what their manifests and the README of the folder say."""

import csv
import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import soundfile

from voicecapture.electronic_id import read_electronic_id
from voicecapture.synthesis.voices import BYSTANDERS, REPORTING_VOICES, TUNING_VOICES, VET

FOLDER = Path(__file__).parents[1] / "audio_fixtures"
GROUPS = ("reporting", "tuning")
SCANNED_ON = date(2027, 2, 9)


def _rows(path: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def _manifest(group: str) -> list[dict[str, Any]]:
    return _rows(FOLDER / group / "manifest.jsonl")


def _herd() -> list[dict[str, str]]:
    with (FOLDER / "demo" / "alder_bank.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _script() -> list[dict[str, Any]]:
    return _rows(FOLDER / "demo" / "morning.jsonl")


def test_herd_list_has_240_different_cows() -> None:
    herd = _herd()
    assert len(herd) == 240
    for column in ("cow", "electronic_id"):
        assert len({line[column] for line in herd}) == 240
    assert {"13", "30", "17", "70", "415", "417", "419"} <= {line["cow"] for line in herd}


def test_electronic_ids_are_codes_and_no_animals() -> None:
    for line in _herd():
        assert read_electronic_id(line["electronic_id"]) == line["electronic_id"]
        # No herd's numbers begin so low.
        assert int(line["electronic_id"][3:]) < 10_000


def test_matings_are_those_of_a_herd_that_calves_in_autumn() -> None:
    for line in _herd():
        assert date(2026, 11, 1) <= date.fromisoformat(line["mated_on"]) <= date(2027, 1, 31)


@pytest.mark.parametrize("group", GROUPS)
def test_a_manifest_names_exactly_the_recordings_of_its_folder(group: str) -> None:
    files = [row["file"] for row in _manifest(group)]
    assert len(files) == len(set(files))
    assert set(files) == {path.name for path in (FOLDER / group).glob("*.ogg")}


@pytest.mark.parametrize("group", GROUPS)
def test_recordings_are_mono_at_16_khz(group: str) -> None:
    for path in (FOLDER / group).glob("*.ogg"):
        info = soundfile.info(path)
        assert (info.samplerate, info.channels) == (16_000, 1), path.name
        assert 0.8 < info.duration < 9, path.name


@pytest.mark.parametrize("group", GROUPS)
def test_recordings_can_be_heard_and_are_not_clipped(group: str) -> None:
    for row in _manifest(group)[::25]:
        samples, _ = soundfile.read(FOLDER / group / row["file"], dtype="float32")
        assert 0.05 < max(abs(samples)) < 1.0, row["file"]


def test_recordings_stay_small() -> None:
    assert sum(path.stat().st_size for path in FOLDER.rglob("*") if path.is_file()) < 8_000_000


@pytest.mark.parametrize("group", GROUPS)
def test_entries_are_of_the_herd_and_unlisted_ones_are_not(group: str) -> None:
    cows = {line["cow"] for line in _herd()}
    for row in _manifest(group):
        if row["kind"] in ("entry", "lookalike"):
            assert row["expected"]["cow"] in cows, row["file"]
        elif row["kind"] == "unlisted":
            assert row["expected"]["cow"] not in cows, row["file"]
        else:
            assert row["expected"] is None, row["file"]


@pytest.mark.parametrize("group", GROUPS)
def test_only_pregnant_cows_have_an_age(group: str) -> None:
    for row in _manifest(group):
        if entry := row["expected"]:
            assert entry["result"] in ("pregnant", "empty", "recheck")
            assert (entry["days"] is not None) == (entry["result"] == "pregnant"), row["file"]
            assert entry["days"] is None or 25 <= entry["days"] <= 160


def test_no_voice_is_in_both_groups() -> None:
    tuning, reporting = ({row["voice"] for row in _manifest(group)} for group in ("tuning", "reporting"))
    assert tuning == {voice.name for voice in TUNING_VOICES}
    assert reporting == {voice.name for voice in REPORTING_VOICES}
    assert not tuning & reporting
    assert not {voice.name for voice in (VET, *BYSTANDERS)} & (tuning | reporting)


def test_every_reporting_voice_says_thirty_entries_clean_and_at_10_db() -> None:
    entries = [row for row in _manifest("reporting") if row["kind"] == "entry"]
    for voice in REPORTING_VOICES:
        for snr_db in (None, 10):
            assert sum(row["voice"] == voice.name and row["snr_db"] == snr_db for row in entries) == 30
    for snr_db in (20, 5):
        assert sum(row["snr_db"] == snr_db for row in entries) == 60


def test_morning_lasts_about_ten_minutes() -> None:
    info = soundfile.info(FOLDER / "demo" / "morning.ogg")
    assert (info.samplerate, info.channels) == (16_000, 1)
    assert 9 * 60 < info.duration < 12 * 60
    assert _script()[-1]["end_s"] < info.duration


def test_morning_lines_follow_one_another() -> None:
    times_s = [time_s for row in _script() for time_s in (row["start_s"], row["end_s"])]
    assert times_s == sorted(times_s)


def test_morning_has_sixty_cows_and_the_mishaps_promised() -> None:
    script = _script()
    assert len({row["expected"]["cow"] for row in script if row["expected"]}) == 60
    kinds = [row["kind"] for row in script]
    assert {kind: kinds.count(kind) for kind in ("unlisted", "repeat", "correction")} == {
        "unlisted": 1,
        "repeat": 1,
        "correction": 2,
    }
    commands = [row["words"] for row in script if row["kind"] == "command"]
    assert sorted(commands) == ["how many left", "how many so far", "say again", "take that back"]
    assert {row["role"] for row in script if row["kind"] == "talk"} == {"shed"}


def test_morning_agrees_with_the_herd_list() -> None:
    """Spoken ages are within three days of the recorded mating, but for those that the vet corrects at once."""
    mated_on = {line["cow"]: date.fromisoformat(line["mated_on"]) for line in _herd()}
    script = _script()
    for row, following in zip(script, [*script[1:], None], strict=True):
        if row["expected"] is None or (following and following["kind"] == "correction"):
            continue
        cow, days = row["expected"]["cow"], row["expected"]["days"]
        assert (cow in mated_on) == (row["kind"] != "unlisted")
        if days is not None and cow in mated_on:
            assert abs((SCANNED_ON - mated_on[cow]).days - days) <= 3, row["words"]
