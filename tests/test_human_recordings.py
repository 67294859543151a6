"""Outside check on real human speech: recordings of the Debian package pocketsphinx-testdata, where installed."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.fakes import Samples, in_chunks
from voicecapture.day import Day
from voicecapture.decision import Outcome
from voicecapture.ear import Ear, Heard
from voicecapture.herd import Animal, Herd
from voicecapture.language.grammar_file import load_grammar
from voicecapture.recogniser.listener import Listener
from voicecapture.settings import Settings

DATA = Path("/usr/share/pocketsphinx/test/data")
pytestmark = pytest.mark.skipif(not DATA.is_dir(), reason="the Debian package pocketsphinx-testdata is not installed")
LISTENER = Listener()


def hear(samples: Samples) -> list[Heard]:
    herd = Herd(Animal(cow) for cow in ("29340", "417", "608"))
    padded = np.pad(samples, 8000)
    return list(Ear(Day(herd), load_grammar(), LISTENER, Settings()).hear(in_chunks(padded)))


def raw(name: str) -> Samples:
    """Headerless 16-bit mono at 16 kHz."""
    samples: Samples = (np.fromfile(DATA / name, "<i2") / 32768).astype(np.float32)
    return samples


def test_digits_of_tidigits_are_heard() -> None:
    """TIDIGITS sample dhd.2934z: "two nine three four zero" (tests of CMU PocketSphinx)."""
    (heard,) = hear(raw("tidigits/dhd.2934z.raw"))
    entry = heard.hearing.readings[0].phrase.entry
    assert entry is not None and entry.cow == "29340"
    assert heard.decision.outcome is Outcome.QUESTION


def test_numbers_whose_words_are_not_known_are_asked_about() -> None:
    """numbers.raw, of which the package gives no words."""
    outcomes = {heard.decision.outcome for heard in hear(raw("numbers.raw"))}
    assert outcomes == {Outcome.QUESTION}


@pytest.mark.parametrize("number", range(1, 6))
def test_playing_cards_are_no_entry(number: int) -> None:
    samples, rate_hz = soundfile.read(DATA / f"cards/{number:03d}.wav", dtype="float32")
    assert rate_hz == 16_000
    assert all(heard.decision.outcome is not Outcome.ACCEPTED for heard in hear(samples))


def test_a_read_novel_is_no_entry() -> None:
    for path in sorted((DATA / "librivox").glob("*.wav")):
        samples, _ = soundfile.read(path, dtype="float32")
        assert all(heard.decision.outcome is not Outcome.ACCEPTED for heard in hear(samples))
