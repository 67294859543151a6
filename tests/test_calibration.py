"""Chances that hold: of each field by the readings, by the calibration, and how the calibration is fitted."""

import json
import math
from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from voicecapture.bench.reliability import FIELDS, expected_calibration_error, right_fields
from voicecapture.errors import ModelError
from voicecapture.language.phrase import Answer, Command, Entry, Phrase, Result
from voicecapture.recogniser import UNCERTAIN, Certainty, Hearing, Reading, certainty_of
from voicecapture.recogniser.acoustic import MODEL
from voicecapture.recogniser.calibration import Calibration, FieldModel, read_calibration
from voicecapture.segmenter import Utterance as Sound
from voicecapture.training.calibrate import Case, cases, fit
from voicecapture.training.trials import Trial, Utterance

PREGNANT = Entry("417", Result.PREGNANT, 56)
EMPTY = Entry("417", Result.EMPTY)
AS_IT_IS = FieldModel(intercept=0.0, log_odds=1.0, strangeness=0.0, snr_db=0.0)
"""Believes the posterior."""


def readings(*found: tuple[Entry | Command | Answer, float]) -> tuple[Reading, ...]:
    phrases = {Entry: "entry", Command: "command", Answer: "answer"}
    return tuple(Reading(Phrase(**{phrases[type(what)]: what}), "", p) for what, p in found)  # type: ignore[arg-type]


def heard(*found: tuple[Entry | Command | Answer, float], strangeness: float = 0.0) -> Hearing:
    all_readings = readings(*found)
    return Hearing(all_readings, "", strangeness, certainty_of(all_readings))


# ---- certainty of the fields ------------------------------------------------------------------------


def test_a_field_is_as_certain_as_all_readings_that_agree_on_it() -> None:
    certainty = certainty_of(
        readings(
            (PREGNANT, 0.5),
            (replace(PREGNANT, days=15), 0.2),
            (replace(PREGNANT, cow="419"), 0.15),
            (EMPTY, 0.1),
            (Command.GO_ON, 0.05),
        )
    )
    assert certainty.number == pytest.approx(0.8)
    assert certainty.result == pytest.approx(0.85)
    assert certainty.age == pytest.approx(0.65)
    assert certainty.phrase == pytest.approx(0.5)


@pytest.mark.parametrize("other", [{"twins": True}, {"findings": ("lame",)}, {"result": Result.EMPTY}])
def test_twins_and_findings_are_part_of_the_result(other: dict[str, object]) -> None:
    certainty = certainty_of(readings((PREGNANT, 0.7), (replace(PREGNANT, **other), 0.3)))  # type: ignore[arg-type]
    assert certainty == Certainty(number=1.0, result=0.7, age=1.0, phrase=0.7)


def test_a_field_that_all_readings_lack_is_certain() -> None:
    assert certainty_of(readings((EMPTY, 0.6), (Entry("419", Result.EMPTY), 0.4))).age == pytest.approx(1.0)


@pytest.mark.parametrize("spoken", [Command.TAKE_BACK, Answer.SECOND])
def test_a_command_or_an_answer_is_as_certain_as_itself(spoken: Command | Answer) -> None:
    assert certainty_of(readings((spoken, 0.9), (EMPTY, 0.1))) == Certainty(0.9, 0.9, 0.9, 0.9)


def test_nothing_heard_is_nothing_certain() -> None:
    assert certainty_of(()) == UNCERTAIN


# ---- the model of a field ---------------------------------------------------------------------------


def test_the_chance_is_the_logistic_of_the_weighted_inputs() -> None:
    model = FieldModel(intercept=0.3, log_odds=0.5, strangeness=-0.2, snr_db=0.04)
    odds = 0.3 + 0.5 * math.log(0.9 / 0.1) - 0.2 * 3.0 + 0.04 * 12.0
    assert model.chance(0.9, 3.0, 12.0) == pytest.approx(1 / (1 + math.exp(-odds)))


def test_inputs_beyond_their_range_change_nothing() -> None:
    model = FieldModel(intercept=0.1, log_odds=0.5, strangeness=-0.1, snr_db=0.1)
    assert model.chance(0.9, 1.0, -12.0) == model.chance(0.9, 1.0, 0.0)
    assert model.chance(0.9, 1.0, 45.0) == model.chance(0.9, 1.0, 30.0)
    assert model.chance(0.9, 80.0, 10.0) == model.chance(0.9, 30.0, 10.0)
    assert 0.5 < model.chance(1.0, 1.0, 10.0) < 1.0
    assert 0.0 < model.chance(0.0, 1.0, 10.0) < 0.5


# ---- a calibrated hearing ---------------------------------------------------------------------------

SURE = Calibration(*[AS_IT_IS] * 5)
WARY = Calibration(*(FieldModel(0.2, weight, -0.1, 0.02) for weight in (0.6, 0.7, 0.5, 0.4, 0.8)))


def test_a_calibration_that_believes_the_posterior_changes_nothing() -> None:
    hearing = heard((PREGNANT, 0.7), (replace(PREGNANT, days=15), 0.2), (EMPTY, 0.05), strangeness=2.0)
    found = SURE.applied(hearing, 15.0)
    assert [r.probability for r in found.readings] == pytest.approx([0.7, 0.2, 0.05])
    # An engine without calibration cannot tell talk; with it, that chance too comes from the phrase's posterior.
    assert asdict(found.certainty) == pytest.approx({**asdict(hearing.certainty), "entry": 0.7})


def test_each_field_gets_the_chance_of_its_own_model() -> None:
    hearing = heard((PREGNANT, 0.7), (replace(PREGNANT, days=15), 0.2), (EMPTY, 0.05), strangeness=2.0)
    found = WARY.applied(hearing, 15.0).certainty
    assert found == Certainty(
        number=WARY.number.chance(0.95, 2.0, 15.0),
        result=WARY.result.chance(hearing.certainty.result, 2.0, 15.0),
        age=WARY.age.chance(0.7, 2.0, 15.0),
        phrase=WARY.phrase.chance(0.7, 2.0, 15.0),
        entry=WARY.entry.chance(0.7, 2.0, 15.0),
    )


weights = st.builds(FieldModel, st.floats(-5, 5), st.floats(0, 2), st.floats(-0.5, 0), st.floats(-0.2, 0.2))


@settings(deadline=None)
@given(
    calibration=st.builds(Calibration, *[weights] * 5),
    shares=st.lists(st.floats(0, 1), min_size=1, max_size=6),
    unexplained=st.floats(0, 1),
    strangeness=st.floats(0, 60),
    snr_db=st.floats(-10, 60),
)
def test_chances_stay_probabilities_and_readings_stay_in_order(
    calibration: Calibration, shares: list[float], unexplained: float, strangeness: float, snr_db: float
) -> None:
    total = max(sum(shares) + unexplained, 1e-300)
    posteriors = sorted((share / total for share in shares), reverse=True)
    entries = [replace(PREGNANT, days=30 + i) for i in range(len(posteriors))]
    hearing = heard(*zip(entries, posteriors, strict=True), strangeness=strangeness)
    found = calibration.applied(hearing, snr_db)
    assert [r.phrase for r in found.readings] == [r.phrase for r in hearing.readings]
    chances = [r.probability for r in found.readings]
    assert all(0 <= chance <= 1 for chance in (*chances, *asdict(found.certainty).values()))
    assert sum(chances) <= 1 + 1e-9
    assert chances[1:] == sorted(chances[1:], reverse=True)


def test_nothing_heard_stays_nothing() -> None:
    nothing = Hearing((), "", 50.0)
    assert WARY.applied(nothing, 10.0) is nothing


# ---- the file ---------------------------------------------------------------------------------------


def test_the_shipped_calibration_trusts_likelier_readings_more_and_strange_sound_less() -> None:
    shipped = read_calibration(MODEL / "calibration.json")
    for model in (shipped.number, shipped.result, shipped.age, shipped.phrase):
        chances = [model.chance(posterior, 2.0, 15.0) for posterior in (0.1, 0.5, 0.9, 0.99, 0.9999)]
        assert chances == sorted(set(chances)) and chances[0] > 0 and chances[-1] < 1
    assert 0 < shipped.entry.chance(0.9, 25.0, 15.0) < shipped.entry.chance(0.9, 0.0, 15.0) < 1


def test_a_calibration_is_read_as_it_was_written(tmp_path: Path) -> None:
    file = tmp_path / "calibration.json"
    file.write_text(json.dumps({"fields": asdict(WARY), "cases": 9, "speakers": 2}), encoding="utf-8")
    assert read_calibration(file) == WARY


WHOLE = asdict(WARY)


@pytest.mark.parametrize(
    "content",
    [
        None,
        b"",
        b"\xff\xfe",
        b"[]",
        b"{}",
        json.dumps({"fields": {name: WHOLE[name] for name in ("number", "result", "phrase", "entry")}}).encode(),
        json.dumps({"fields": {**WHOLE, "weather": WHOLE["age"]}}).encode(),
        json.dumps({"fields": {**WHOLE, "age": {"intercept": 0.0}}}).encode(),
        json.dumps({"fields": {**WHOLE, "age": [0.0, 1.0, 0.0, 0.0]}}).encode(),
    ],
)
def test_a_broken_calibration_is_told_in_one_sentence(tmp_path: Path, content: bytes | None) -> None:
    file = tmp_path / "calibration.json"
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(ModelError) as caught:
        read_calibration(file)
    message = str(caught.value)
    assert message.startswith(f"{file}: the calibration cannot be read (")
    assert message.endswith("). Reinstall voicecapture.") and "\n" not in message


# ---- fitting it -------------------------------------------------------------------------------------


def simulated(truth: FieldModel, count: int, rng: np.random.Generator) -> list[Case]:
    """Cases whose number is right exactly as often as the model says."""
    posteriors = 1 / (1 + np.exp(-rng.uniform(-6, 12, count)))
    strangenesses, snrs_db = rng.uniform(0, 25, count), rng.uniform(0, 30, count)
    found = []
    for posterior, strangeness, snr_db in zip(
        posteriors.tolist(), strangenesses.tolist(), snrs_db.tolist(), strict=True
    ):
        is_right = bool(rng.random() < truth.chance(posterior, strangeness, snr_db))
        found.append(Case({"number": posterior}, strangeness, snr_db, {"number": is_right}, "clean"))
    return found


@pytest.mark.parametrize("truth", [FieldModel(0.5, 0.6, -0.1, 0.03), FieldModel(-1.0, 0.3, 0.0, 0.1)])
def test_fitting_recovers_the_model_that_the_cases_came_from(truth: FieldModel) -> None:
    found = fit(simulated(truth, 20_000, np.random.default_rng(5)), "number")
    # Four standard errors of each weight, the larger of both models, by the Fisher information of the cases.
    for name, error in {"intercept": 0.25, "log_odds": 0.034, "strangeness": 0.014, "snr_db": 0.011}.items():
        assert getattr(found, name) == pytest.approx(getattr(truth, name), abs=error), name


def test_fitting_leaves_out_cases_in_which_the_field_was_not_said() -> None:
    rng = np.random.default_rng(6)
    said = simulated(AS_IT_IS, 500, rng)
    other = [replace(case, is_right={"age": False}) for case in simulated(AS_IT_IS, 500, rng)]
    assert fit([*said, *other], "number") == fit(said, "number")


def test_fields_are_right_one_by_one() -> None:
    assert right_fields(replace(PREGNANT, days=15), PREGNANT) == {
        "number": True,
        "result": True,
        "age": False,
        "phrase": False,
        "entry": True,
    }
    assert not right_fields(replace(PREGNANT, twins=True), PREGNANT)["result"]
    assert right_fields(replace(EMPTY, findings=("a", "b")), replace(EMPTY, findings=("b", "a")))["phrase"]
    assert set(right_fields(PREGNANT, None).values()) == {False}


def trial(said: Entry | None, *hearings: Hearing) -> Trial:
    sound = Sound(np.zeros(0, np.float32), 1.0, 3.0, 15.0)
    utterances = tuple(Utterance(sound, hearing) for hearing in hearings)
    return Trial(1, "", "somebody", "simulated", said, True, "clean", utterances)


def rights(*trials: Trial) -> Sequence[dict[str, bool]]:
    return [case.is_right for case in cases(trials)]


def test_talk_taken_for_an_entry_is_wrong_in_every_field() -> None:
    assert rights(trial(None, heard((PREGNANT, 0.9)))) == [dict.fromkeys(FIELDS, False)]


def test_of_a_number_said_alone_only_the_number_counts_and_that_it_was_meant() -> None:
    alone = Entry("417")
    assert rights(trial(alone, heard((alone, 0.9))), trial(alone, heard((Entry("419"), 0.9)))) == [
        {"number": True, "entry": True},
        {"number": False, "entry": True},
    ]
    assert rights(trial(alone, heard((Entry(result=Result.EMPTY), 0.9)))) == []


def test_beyond_the_bar_for_talk_it_only_counts_whether_it_was_an_entry() -> None:
    strange = heard((PREGNANT, 0.9), strangeness=60.0)
    assert rights(trial(PREGNANT, strange), trial(None, strange)) == [{"entry": True}, {"entry": False}]


def test_the_posterior_of_being_an_entry_is_that_of_the_phrase() -> None:
    (case,) = cases([trial(PREGNANT, heard((PREGNANT, 0.6), (EMPTY, 0.3)))])
    assert case.posteriors == pytest.approx({"number": 0.9, "result": 0.6, "age": 0.6, "phrase": 0.6, "entry": 0.6})


def test_what_is_not_one_utterance_read_as_an_entry_is_left_out() -> None:
    assert not rights(
        trial(PREGNANT),
        trial(PREGNANT, Hearing((), "", 0.0)),
        trial(PREGNANT, heard((PREGNANT, 0.9)), heard((PREGNANT, 0.9))),
        trial(PREGNANT, heard((Command.GO_ON, 0.9))),
    )


# ---- how well it is calibrated ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("chances", "right", "bins", "expected"),
    [
        # Two bins of two: |0.1 - 1| and |1.9 - 2|, over four cases.
        ([0.05, 0.05, 0.95, 0.95], [0, 1, 1, 1], 15, 0.25),
        # Within a bin what is too sure and what is not sure enough cancel out.
        ([0.6, 0.8], [1, 0], 2, 0.2),
        ([0.6, 0.8], [1, 0], 10, 0.6),
        ([1.0, 1.0, 0.0], [1, 0, 0], 15, 1 / 3),
    ],
)
def test_calibration_error_by_hand(chances: list[float], right: list[float], bins: int, expected: float) -> None:
    """Naeini, Cooper and Hauskrecht 2015, equation of ECE: sum over bins of share times |right - mean chance|."""
    assert expected_calibration_error(np.array(chances), np.array(right, float), bins) == pytest.approx(expected)


def test_calibration_error_is_near_nothing_for_chances_that_hold() -> None:
    rng = np.random.default_rng(8)
    chances = rng.beta(4, 1, 100_000)
    right = (rng.random(len(chances)) < chances).astype(float)
    assert expected_calibration_error(chances, right) < 0.005
    # Squaring the odds makes them too sure.
    too_sure = chances**2 / (chances**2 + (1 - chances) ** 2)
    assert expected_calibration_error(too_sure, right) > 0.05
