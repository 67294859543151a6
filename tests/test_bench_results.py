"""The results of a run as lines, as JSON and as a picture; and whether given chances held."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from tests.bench_trials import EMPTY, PREGNANT, heard, recording, trial
from voicecapture.bars import DecisionSettings
from voicecapture.bench.cases import shed_noise_cases
from voicecapture.bench.picture import check_picture, draw
from voicecapture.bench.reliability import calibration_errors, claims, reliability
from voicecapture.bench.results import Results, Run, as_json, results
from voicecapture.bench.tables import tables
from voicecapture.bench.trial import Trial
from voicecapture.errors import RecordError
from voicecapture.herd import Animal, Herd
from voicecapture.language.phrase import Entry, Result
from voicecapture.recogniser import Certainty

HERD = Herd([Animal("417")])
RUN = Run("a folder", 5, 5, 1 / 60, 1, "0.1.0", "a machine")
UNLISTED = recording("six oh eight empty", Entry("608", Result.EMPTY), "unlisted")
TALK = recording("shut that gate", None, "talk")


def trials() -> list[Trial]:
    return [
        trial(recording(), heard(PREGNANT)),
        trial(recording(voice="bob"), heard(EMPTY), mixed_db=10.0),
        trial(recording(), mixed_db=10.0),
        trial(UNLISTED, heard(EMPTY)),
        trial(TALK, heard(None)),
        Trial(shed_noise_cases(1 / 60)[0], (), 60.0),
    ]


def found(engine: str = "listener") -> Results:
    return results(engine, trials(), HERD, DecisionSettings(), 123.4)


def lines(run: Run = RUN, *more: Results) -> list[str]:
    return list(tables(run, [found(), *more]))


def row(name: str, of: list[str]) -> list[str]:
    """The first row of that name, in the table of all kinds."""
    line = next(line for line in of if line.startswith(name))
    return line.removeprefix(name).split()


def test_a_row_tells_clusters_shares_and_intervals() -> None:
    # Wilson's interval of 1 of 2 is 9.5 to 90.5 %, as statsmodels' proportion_confint gives it.
    assert row("10 dB  ", lines()) == [
        *("2", "2", "1"),
        *("0.0", "(0.0-65.8)", "50.0", "0.0", "50.0"),
        *("1", "50.00", "(9.45-90.55)"),
    ]
    assert row("clean  ", lines())[:3] == ["1", "1", "0"]


def test_false_entries_and_cows_outside_the_herd_are_told() -> None:
    text = "\n".join(lines())
    assert "cows outside the herd taken as cows of it: 1 of 1" in text
    assert "false entries in noise: 0 in 0.017 h" in text
    assert "peak memory of the engine's process: 123 MB" in text


def test_a_sample_and_a_stop_are_told() -> None:
    assert "5 recordings (all)" in lines()[0]
    assert "5 of 850 recordings (a stratified sample)" in lines(replace(RUN, planned=850))[0]
    assert "5 of 850 recordings (stopped early)" in lines(replace(RUN, planned=850, is_stopped=True))[0]


def test_engines_stand_side_by_side() -> None:
    text = lines(RUN, found("whisper"))
    side = text[text.index("") + 1 :]
    assert side[0].startswith("engines side by side")
    assert [line.split("  ")[0] for line in side[1:5]] == [
        *("clean, listener", "clean, whisper"),
        *("10 dB, listener", "10 dB, whisper"),
    ]
    assert "==== whisper ====" in text


def test_nothing_heard_is_no_fault() -> None:
    nothing = results("listener", [], HERD, DecisionSettings(), None)
    text = list(tables(replace(RUN, recordings=0, is_stopped=True), [nothing]))
    assert "not known on this system" in text[-1]


def test_json_holds_the_same_figures_and_every_trial() -> None:
    content = json.loads(json.dumps(as_json(RUN, [found()]), allow_nan=False))
    engine = content["engines"]["listener"]
    at_10 = engine["by_kind_and_condition"]["entry"]["10 dB"]
    assert (at_10["n"], at_10["voices"], at_10["wrong"]["count"], at_10["wrong"]["of"]) == (2, 2, 1, 2)
    assert at_10["wrong"]["high"] == pytest.approx(0.9055, abs=1e-4)
    assert engine["unlisted_taken_as_listed"]["count"] == 1
    assert engine["false_entries"]["noise"]["hours"] == pytest.approx(1 / 60)
    assert engine["peak_memory_mb"] == 123.4
    assert len(engine["trials"]) == 6
    assert engine["trials"][1]["first"] == {"cow": "417", "result": "empty"}
    assert [point["wrong_costs"] for point in engine["curve"]] == sorted(p["wrong_costs"] for p in engine["curve"])


@pytest.mark.parametrize("ending", [".svg", ".png", ".pdf"])
def test_a_picture_is_drawn_also_of_nothing(tmp_path: Path, ending: str) -> None:
    nothing = results("whisper", [], HERD, DecisionSettings(), None)
    file = tmp_path / f"bench{ending}"
    file.write_bytes(draw(RUN, [found(), nothing], file.suffix))
    assert file.stat().st_size > 5000
    if ending == ".svg":
        text = file.read_text(encoding="utf-8")
        assert all(part in text for part in ("listener: entries by noise", "whisper: reliability", "10 dB", "as set"))


def test_the_same_results_give_the_same_picture(tmp_path: Path) -> None:
    for name in ("a.svg", "b.svg"):
        (tmp_path / name).write_bytes(draw(RUN, [found()], Path(name).suffix))
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()


def test_a_picture_of_another_ending_is_refused() -> None:
    with pytest.raises(RecordError, match=r"bench\.doc: no picture of that name"):
        check_picture(Path("bench.doc"))


# ---- chances that hold -----------------------------------------------------------------------------


def test_a_chance_is_claimed_for_each_field_of_a_reading() -> None:
    sure = heard(replace(PREGNANT, days=66))
    chances = Certainty(number=0.99, result=0.98, age=0.6, phrase=0.58, entry=0.97)
    certain = replace(sure, hearing=replace(sure.hearing, certainty=chances))
    given = {c.field: (c.chance, c.is_right) for c in claims([trial(recording(), certain)], DecisionSettings())}
    assert given == {
        "number": (0.99, True),
        "result": (0.98, True),
        "age": (0.6, False),
        "phrase": (0.58, False),
        "entry": (0.97, True),
    }


def test_talk_read_as_an_entry_claims_what_is_wrong() -> None:
    near = trial(TALK, heard(EMPTY))
    far = trial(TALK, heard(EMPTY, strangeness=99.0))
    assert {c.field for c in claims([near], DecisionSettings())} == {"number", "result", "age", "phrase", "entry"}
    assert [(c.field, c.is_right) for c in claims([far], DecisionSettings())] == [("entry", False)]


def test_what_came_in_two_pieces_or_was_no_entry_claims_nothing() -> None:
    pieces = trial(recording(), heard(PREGNANT), heard(PREGNANT, start_s=9.0))
    number = trial(recording("four one seven", Entry("417"), "number"), heard(Entry("417")))
    assert list(claims([pieces, number, trial(recording(), heard(None))], DecisionSettings())) == []


def test_an_error_is_the_distance_between_chance_and_share() -> None:
    ten = [trial(recording(), heard(PREGNANT if n < 7 else EMPTY, 0.9)) for n in range(10)]
    given = list(claims(ten, DecisionSettings()))
    error, count = calibration_errors(given)["phrase"]
    assert count == 10
    assert error == pytest.approx(0.2)
    ((chance, right, n),) = reliability(given, "phrase", parts=1)
    assert n == 10
    assert chance == pytest.approx(0.9)
    assert right == pytest.approx(0.7)
