"""How the steps of one utterance are timed. What goes by the audio clock is exact."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from tests.bench_trials import EMPTY, recording
from tests.fakes import with_pauses
from voicecapture.bench.cases import Case
from voicecapture.bench.worker import Bench
from voicecapture.herd import Animal, Herd
from voicecapture.language.phrase import Entry, Phrase
from voicecapture.recogniser import Certainty, Hearing, Language, Reading
from voicecapture.segmenter import SegmenterSettings, Utterance

PAUSES = SegmenterSettings()
CHUNK_S = 0.032
SAYING = "four one seven, empty."


class ScriptedRecogniser:
    """Hears the same in everything."""

    def __init__(self, entry: Entry) -> None:
        self.reading = Reading(Phrase(entry=entry), "four one seven empty", 0.9999)

    def recognise(self, utterance: Utterance, language: Language) -> Hearing:
        return Hearing((self.reading,), "", 0.5, Certainty(*[0.9999] * 4))


@pytest.fixture
def benches(tmp_path: Path) -> Iterator[list[Bench]]:
    """Benches for a whole entry and for a number alone."""
    made = []
    for name, entry in (("whole", EMPTY), ("number", Entry("417"))):
        (tmp_path / name).mkdir()
        made.append(Bench(ScriptedRecogniser(entry), Herd([Animal("417")]), tmp_path / name))
    yield made
    for bench in made:
        bench.close()


def test_the_wait_is_the_pause_that_the_words_need(benches: list[Bench]) -> None:
    samples = with_pauses(0.5, SAYING, 2.0)
    whole, number = (bench.hear(Case(recording(), 0), samples).utterances for bench in benches)
    # A whole entry ends first; a number alone is decoded at the same look and then waited for.
    assert whole[0].timing.wait_s == pytest.approx(PAUSES.early_pause_ms / 1000, abs=CHUNK_S)
    assert number[0].timing.wait_s == pytest.approx(PAUSES.long_pause_ms / 1000, abs=CHUNK_S)
    assert whole[0].timing.early_s is not None and number[0].timing.early_s is not None
    later_s = (PAUSES.long_pause_ms - PAUSES.early_pause_ms) / 1000
    assert number[0].timing.early_s - whole[0].timing.early_s == pytest.approx(later_s, abs=CHUNK_S)


def test_a_recording_that_ends_before_the_pause_tells_no_wait(benches: list[Bench]) -> None:
    samples = with_pauses(0.5, SAYING)
    voiced = np.flatnonzero(np.abs(samples) > 0.05 * np.abs(samples).max())
    (heard,) = benches[0].hear(Case(recording(), 0), samples[: voiced[-1] + 1600]).utterances
    assert heard.timing.wait_s is None
    assert heard.timing.total_s is None


def test_each_case_is_a_day_of_its_own_and_no_sound_is_kept(benches: list[Bench]) -> None:
    samples = with_pauses(0.5, SAYING, 2.0)
    trials = [benches[0].hear(Case(recording(), 0), samples) for _ in range(2)]
    for trial in trials:
        (heard,) = trial.utterances
        assert len(heard.utterance.samples) == 0
        assert heard.timing.voice_s is not None  # taken both times: she was not scanned already
    assert trials[0].duration_s == pytest.approx(len(samples) / 16_000)


def test_nothing_is_heard_in_silence(benches: list[Bench]) -> None:
    assert benches[0].hear(Case(recording(), 0), np.zeros(32_000, np.float32)).utterances == ()
