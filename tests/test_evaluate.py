"""What the figures of the model card count as taken, asked and wrong."""

import pickle
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from tests.bench_trials import PREGNANT, heard
from voicecapture.bars import DecisionSettings
from voicecapture.language.phrase import Command, Entry, Result
from voicecapture.recogniser.calibration import Calibration, FieldModel
from voicecapture.training.evaluate import figures, is_right, outcome, report, rows
from voicecapture.training.trials import NEXT_DRAW, Trial, Utterance, in_condition, kept, tasks_of

AS_IT_IS = Calibration(*[FieldModel(0.0, 1.0, 0.0, 0.0)] * 5)
"""Chances equal to the posteriors."""
SETTINGS = DecisionSettings()
LAME = Entry(findings=("lame",))


def trial(said: Entry | None, *read: Entry | Command) -> Trial:
    parts = [heard(what, start_s=1.0 + 4 * place) for place, what in enumerate(read)]
    utterances = tuple(Utterance(part.utterance, part.hearing) for part in parts)
    return Trial(0, "", "anna", "kokoro", said, True, "10", utterances)


def became(of: Trial) -> tuple[Entry | None, str]:
    found = outcome(of, AS_IT_IS, SETTINGS)
    return found.first.entry if found.first else None, found.became


def test_what_was_taken_and_is_right_is_taken() -> None:
    assert became(trial(PREGNANT, PREGNANT)) == (PREGNANT, "taken")


def test_a_finding_that_comes_late_is_asked_about_with_the_entry() -> None:
    lame = replace(PREGNANT, findings=LAME.findings)
    assert became(trial(lame, PREGNANT, LAME)) == (lame, "asked")


def test_a_wrong_entry_still_counts_when_another_is_asked_about() -> None:
    other = Entry("608", Result.EMPTY)
    of = trial(PREGNANT, other, PREGNANT, LAME)
    assert became(of) == (other, "taken")
    assert figures([of], AS_IT_IS, SETTINGS)["taken_wrong"] == 1


def test_a_command_taken_out_of_an_entry_or_out_of_talk_is_taken_wrong() -> None:
    found = figures([trial(PREGNANT, Command.STOP), trial(None, Command.STOP)], AS_IT_IS, SETTINGS)
    assert found["taken_wrong"] == 2
    assert found["right"] == 0


def test_a_result_that_nobody_said_with_a_number_is_taken_wrong() -> None:
    found = figures([trial(Entry("417"), PREGNANT)], AS_IT_IS, SETTINGS)
    assert (found["right"], found["taken_wrong"]) == (1, 1), "the number is right, the entry is not"


def test_draws_of_one_recording_are_counted_as_trials_and_told_as_one_recording() -> None:
    found = figures([trial(PREGNANT, PREGNANT), trial(PREGNANT, PREGNANT)], AS_IT_IS, SETTINGS)
    assert (found["n"], found["recordings"], found["voices"]) == (2, 1, 1)


def test_of_a_number_said_alone_the_number_must_be_right() -> None:
    of = [trial(Entry("417"), Entry("417")), trial(Entry("417"), PREGNANT), trial(Entry("417"), Entry("41"))]
    assert [is_right(outcome(one, AS_IT_IS, SETTINGS), one.entry) for one in of] == [True, True, False]


@pytest.mark.parametrize("said", [PREGNANT, None])
def test_nothing_heard_is_lost(said: Entry | None) -> None:
    assert became(trial(said)) == (None, "lost")


def test_a_condition_that_is_named_again_is_drawn_again() -> None:
    assert tasks_of(2, ["clean", "10", "10"]) == [
        *((0, "clean", 0), (0, "10", 0), (0, "10", 1)),
        *((1, "clean", 0), (1, "10", 0), (1, "10", 1)),
    ]


def test_trials_that_were_stopped_go_on_after_the_last_whole_one(tmp_path: Path) -> None:
    part, tasks = tmp_path / "trials.part", tasks_of(2, ["clean", "10"])
    assert kept(part, "a model and clips") == {}
    whole = part.read_bytes() + b"".join(pickle.dumps((task, trial(PREGNANT, PREGNANT))) for task in tasks[:2])
    part.write_bytes(whole + pickle.dumps((tasks[2], trial(PREGNANT)))[:-20])
    assert list(kept(part, "a model and clips")) == tasks[:2]
    assert part.read_bytes() == whole, "what comes next is added here"


def test_trials_of_another_model_are_not_gone_on_with(tmp_path: Path) -> None:
    part, tasks = tmp_path / "trials.part", tasks_of(1, ["clean"])
    kept(part, "a model and clips")
    with part.open("ab") as file:
        pickle.dump((tasks[0], trial(PREGNANT, PREGNANT)), file)
    assert kept(part, "another model") == {}
    assert kept(part, "another model") == {} and pickle.loads(part.read_bytes()) == "another model"


def test_every_draw_is_another_noise_at_the_same_ratio() -> None:
    speech = np.zeros(32_000, np.float32)
    speech[8000:24_000] = np.random.default_rng(1).normal(0, 0.1, 16_000)
    quiet = slice(0, 8000)
    powers, noises = [], []
    for draw in range(3):
        noise = in_condition(speech, "10", 3 + draw * NEXT_DRAW)[quiet]
        noises.append(noise)
        powers.append(10 * np.log10(np.mean(noise.astype(float) ** 2)))
    assert max(powers) - min(powers) < 8, "noises of one mean power over all of it differ from moment to moment"
    for one, other in combinations(noises, 2):
        alike = np.dot(one, other) / np.sqrt(np.dot(one, one) * np.dot(other, other))
        assert abs(alike) < 0.4, "the hum of the mains is in all of them; the same noise would give 1"


def test_a_report_is_told_by_condition_from_quiet_to_loud() -> None:
    quiet, narrow, loud, odd = (replace(trial(PREGNANT, PREGNANT), condition=c) for c in ("clean", "10n", "5", "15"))
    told = "\n".join(rows(report([odd, loud, narrow, quiet], AS_IT_IS, SETTINGS)))
    assert [line.split(": entries")[0] for line in told.splitlines() if ": entries" in line] == [
        *("clean", "10 dB, 8 kHz band", "5 dB", "15 dB")
    ]
    assert told.count("calibration error: number 0.001") == 4
