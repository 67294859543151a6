"""The shipped listener is what its card says, and no voice is in two parts."""

import hashlib
import json
from itertools import combinations

import pytest

from voicecapture.recogniser.acoustic import MODEL
from voicecapture.training.evaluate import rows

PARTS = ("training", "calibration", "reporting")


@pytest.fixture(scope="module")
def voices() -> dict[str, dict[str, list[object]]]:
    loaded: dict[str, dict[str, list[object]]] = json.loads((MODEL / "voices.json").read_text(encoding="utf-8"))
    return loaded


def test_the_card_names_the_weights_that_are_shipped() -> None:
    digest = hashlib.sha256((MODEL / "listener.onnx").read_bytes()).hexdigest()
    assert digest in (MODEL / "MODEL_CARD.md").read_text(encoding="utf-8")


def test_the_cards_table_is_that_of_the_figures() -> None:
    figures = json.loads((MODEL / "figures.json").read_text(encoding="utf-8"))
    card = (MODEL / "MODEL_CARD.md").read_text(encoding="utf-8")
    assert "\n".join(rows(figures)) in card


def test_the_weights_are_under_20_megabytes() -> None:
    assert (MODEL / "listener.onnx").stat().st_size < 20e6


@pytest.mark.parametrize(("one", "other"), [*combinations(PARTS, 2)])
def test_no_voice_is_in_two_parts(voices: dict[str, dict[str, list[object]]], one: str, other: str) -> None:
    for kind in ("other_voices", "people"):
        assert set(voices[one][kind]).isdisjoint(voices[other][kind])
        assert voices[one][kind] and voices[other][kind]
    first, last = voices[one]["kokoro_seeds"], voices[other]["kokoro_seeds"]
    assert max(map(int, map(str, first))) < min(map(int, map(str, last)))


def test_speakers_kept_for_others_are_in_no_part(voices: dict[str, dict[str, list[object]]]) -> None:
    people = {str(speaker) for part in PARTS for speaker in voices[part]["people"]}
    assert not [s for s in people for held in ("theo", "nicolas", "yweweler") if held in s]
