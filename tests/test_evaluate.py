"""What the figures of the model card count as taken, asked and wrong."""

from dataclasses import replace

import pytest

from tests.bench_trials import PREGNANT, heard
from voicecapture.bars import DecisionSettings
from voicecapture.language.phrase import Entry, Result
from voicecapture.recogniser.calibration import Calibration, FieldModel
from voicecapture.training.evaluate import figures, outcome
from voicecapture.training.trials import Trial, Utterance

AS_IT_IS = Calibration(*[FieldModel(0.0, 1.0, 0.0, 0.0)] * 5)
"""Chances equal to the posteriors."""
SETTINGS = DecisionSettings()
LAME = Entry(findings=("lame",))


def trial(said: Entry | None, *read: Entry) -> Trial:
    utterances = tuple(Utterance(heard(entry).hearing, 30.0, False, 3.0) for entry in read)
    return Trial(0, "", "anna", "kokoro", said, True, "10", utterances)


def test_what_was_taken_and_is_right_is_taken() -> None:
    assert outcome(trial(PREGNANT, PREGNANT), AS_IT_IS, SETTINGS) == (PREGNANT, "taken")


def test_a_finding_that_comes_late_is_asked_about_with_the_entry() -> None:
    lame = replace(PREGNANT, findings=LAME.findings)
    assert outcome(trial(lame, PREGNANT, LAME), AS_IT_IS, SETTINGS) == (lame, "asked")


def test_a_wrong_entry_still_counts_when_another_is_asked_about() -> None:
    other = Entry("608", Result.EMPTY)
    of = trial(PREGNANT, other, PREGNANT, LAME)
    assert outcome(of, AS_IT_IS, SETTINGS) == (other, "taken")
    assert figures([of], AS_IT_IS, SETTINGS)["taken_wrong"] == 1


@pytest.mark.parametrize("said", [PREGNANT, None])
def test_nothing_heard_is_lost(said: Entry | None) -> None:
    assert outcome(trial(said), AS_IT_IS, SETTINGS) == (None, "lost")
