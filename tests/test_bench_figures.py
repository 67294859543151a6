"""From outcomes made by hand to figures."""

from dataclasses import replace

import pytest
from statsmodels.stats.rates import confint_poisson  # type: ignore[import-untyped]

from tests.bench_trials import EMPTY, PREGNANT, TIMING, heard, recording, trial
from voicecapture.bars import DecisionSettings
from voicecapture.bench.figures import (
    Rate,
    curve,
    decoding_share,
    false_entries,
    figures,
    grouped,
    latency,
    questions,
)
from voicecapture.bench.outcomes import Outcome, judged
from voicecapture.bench.trial import Trial
from voicecapture.herd import Animal, Herd
from voicecapture.language.phrase import Entry, Result
from voicecapture.reckoning.intervals import Share

HERD = Herd([Animal("417")])
BARS = DecisionSettings()
TALK = recording("shut that gate", None, "talk")


def outcomes(*trials: Trial) -> list[Outcome]:
    return judged(trials, HERD, BARS)


def test_a_group_is_counted_once_each_way_with_its_clusters() -> None:
    in_shed = recording(voice="bob", snr_db=10, noise="shed 7")
    found = figures(
        outcomes(
            trial(recording(), heard(PREGNANT)),
            trial(in_shed, heard(PREGNANT, 0.9)),
            trial(in_shed, heard(EMPTY)),
            trial(in_shed, heard(None)),
        )
    )
    assert found.n == 4
    assert (found.right, found.taken, found.asked, found.lost, found.wrong) == (
        *(Share(2, 4), Share(2, 4)),
        *(Share(1, 4), Share(1, 4), Share(1, 4)),
    )
    assert (found.voices, found.noises) == (2, 1)


def test_groups_come_in_order() -> None:
    found = outcomes(*(trial(recording(voice=voice)) for voice in ("bob", "anna", "bob")))
    groups = grouped(found, lambda o: o.trial.case.recording.voice)
    assert [(name, len(group)) for name, group in groups.items()] == [("anna", 1), ("bob", 2)]


def test_along_the_curve_fewer_are_taken_and_fewer_are_wrong() -> None:
    trials = [trial(recording(), heard(PREGNANT, p)) for p in (0.5, 0.9, 0.98, 0.995, 0.9999)]
    trials += [trial(recording(), heard(EMPTY, p)) for p in (0.6, 0.97)]
    trials.append(trial(TALK, heard(EMPTY)))
    points = {point.wrong_costs: point.figures for point in curve(trials, HERD, DecisionSettings(wrong_costs=30))}
    assert {bar: (f.taken.count, f.wrong.count) for bar, f in points.items() if bar in (2, 10, 30, 100, 1000)} == {
        2: (7, 2),
        10: (5, 1),
        30: (4, 1),
        100: (2, 0),
        1000: (1, 0),
    }
    assert all(f.n == 7 and f.taken.count + f.asked.count == 7 for f in points.values())


def test_cows_outside_the_herd_are_not_on_the_curve() -> None:
    unlisted = trial(recording("six oh eight empty", Entry("608", Result.EMPTY), "unlisted"), heard(PREGNANT))
    assert curve([unlisted], HERD, BARS)[0].figures.n == 0


def test_false_entries_are_counted_by_the_hour_of_all_sound() -> None:
    talk = outcomes(
        trial(TALK, heard(None), duration_s=1800),
        trial(TALK, heard(EMPTY), heard(PREGNANT, start_s=9), duration_s=1800),
        trial(TALK, heard(EMPTY, 0.9), duration_s=3600),
    )
    # The second entry is for a cow that has one, so that it is asked about.
    assert false_entries(talk) == Rate(1, 2.0)
    assert questions(talk) == Rate(1, 2.0)
    assert false_entries(talk).per_hour == 0.5
    assert false_entries([]).per_hour is None


@pytest.mark.parametrize(("count", "hours"), [(0, 10.0), (1, 0.5), (7, 12.0)])
def test_the_interval_of_a_rate_is_exact(count: int, hours: float) -> None:
    """Against statsmodels, `confint_poisson(method="exact-c")`."""
    low, high = confint_poisson(count, hours, method="exact-c")
    assert Rate(count, hours).interval == pytest.approx((low if count else 0.0, high), rel=1e-9)


def test_decoding_inside_the_pause_costs_no_time() -> None:
    assert TIMING.total_s == pytest.approx(0.5 + 0.2 + 0.01 + 0.02 + 0.3)
    assert replace(TIMING, early_s=0.15).total_s == pytest.approx(0.5 + 0.05 + 0.01 + 0.02 + 0.3)
    assert replace(TIMING, early_s=0.9).total_s == pytest.approx(0.5 + 0.01 + 0.02 + 0.3)
    assert replace(TIMING, wait_s=None).total_s is None
    assert replace(TIMING, voice_s=None).total_s is None


def test_latency_is_that_of_what_was_said_to_the_listener() -> None:
    slow = replace(TIMING, decode_s=9.0)
    found = outcomes(
        trial(recording(), heard(PREGNANT)),
        trial(recording(), heard(PREGNANT, timing=replace(TIMING, wait_s=None, decode_s=0.4))),
        trial(TALK, heard(None, timing=slow)),
    )
    steps = latency(found)
    assert steps["decoding"].n == 2
    assert steps["decoding"].median_s == pytest.approx(0.3)
    assert (steps["waiting for the pause"].n, steps["waiting for the pause"].median_s) == (1, 0.5)
    assert latency([]) == {}


def test_decoding_is_told_as_a_share_of_the_utterances() -> None:
    assert decoding_share(outcomes(trial(recording(), heard(PREGNANT)))) == pytest.approx(0.2 / 3)
    assert decoding_share([]) is None
