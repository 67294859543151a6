"""Everything that a run gave for one engine, and all of it as JSON. Pure."""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from voicecapture.bars import DecisionSettings
from voicecapture.bench.confusions import common_pairs, confusions
from voicecapture.bench.figures import (
    Figures,
    Point,
    Rate,
    curve,
    decoding_share,
    false_entries,
    figures,
    grouped,
    latency,
    questions,
)
from voicecapture.bench.manifest import NOISE, TALK
from voicecapture.bench.outcomes import Outcome, judged, number_type, result_type
from voicecapture.bench.reliability import FIELDS, Claim, calibration_errors, claims, reliability
from voicecapture.bench.trial import Trial
from voicecapture.herd import Herd
from voicecapture.language.phrase import Entry, Phrase
from voicecapture.reckoning.intervals import Share

ENTRY = "entry"


@dataclass(frozen=True, slots=True)
class Run:
    """What was measured."""

    folder: str
    recordings: int
    """Cases heard, shed noise alone not counted."""
    planned: int
    """Cases that there are; more than were heard in a sample, or after Ctrl-C."""
    noise_hours: float
    herd: int
    """Cows in it."""
    version: str
    machine: str
    is_stopped: bool = False
    """Ended by Ctrl-C."""


@dataclass(frozen=True, slots=True)
class Results:
    """What one engine made of a run."""

    engine: str
    outcomes: Sequence[Outcome]
    curve: Sequence[Point]
    claims: Sequence[Claim]
    memory_mb: float | None
    """Peak of the engine's process; None if unknown."""

    def of(self, *kinds: str) -> list[Outcome]:
        """The outcomes of some kinds of recording."""
        return [outcome for outcome in self.outcomes if outcome.kind in kinds]

    @property
    def unlisted(self) -> list[Outcome]:
        """Whole entries for cows outside the herd."""
        return [outcome for outcome in self.outcomes if outcome.is_whole_entry and not outcome.is_listed]

    @property
    def foreign_taken(self) -> Share:
        """Of these, taken as a cow of the herd."""
        return Share(sum(o.is_foreign_taken for o in self.unlisted), len(self.unlisted))


def results(
    engine: str, trials: Sequence[Trial], herd: Herd, settings: DecisionSettings, memory_mb: float | None
) -> Results:
    """Everything that follows from the trials of one engine."""
    return Results(
        engine,
        judged(trials, herd, settings),
        curve(trials, herd, settings),
        list(claims(trials, settings)),
        memory_mb,
    )


def condition(outcome: Outcome) -> str:
    """Signal-to-noise ratio, or clean."""
    return outcome.trial.case.condition


def voice(outcome: Outcome) -> str:
    """Who speaks."""
    return outcome.trial.case.recording.voice


def noise(outcome: Outcome) -> str:
    """In which noise."""
    return outcome.trial.case.noise or "none"


TABLES: Mapping[str, Callable[[Outcome], str]] = {
    "voice": voice,
    "noise": noise,
    "cow number": number_type,
    "result": result_type,
}
"""The tables of entries besides that by condition."""


def as_json(run: Run, all_results: Iterable[Results]) -> dict[str, Any]:
    """A run as JSON: shares as {count, of, low, high} with Wilson's 95 % interval, times in seconds."""
    return {"run": asdict(run), "engines": {found.engine: _engine(found) for found in all_results}}


def _engine(found: Results) -> dict[str, Any]:
    entries = found.of(ENTRY)
    by_condition = grouped(found.outcomes, condition)
    return {
        "by_kind_and_condition": {
            kind: _by(group, condition) for kind, group in grouped(found.outcomes, lambda o: o.kind).items()
        },
        "entries": {name: _by(entries, key) for name, key in TABLES.items()},
        "curve": [{"wrong_costs": point.wrong_costs, **_figures(point.figures)} for point in found.curve],
        "false_entries": {kind: _rate(false_entries(found.of(kind))) for kind in (TALK, NOISE)},
        "questions_about_nothing": {kind: _rate(questions(found.of(kind))) for kind in (TALK, NOISE)},
        "unlisted_taken_as_listed": _share(found.foreign_taken),
        "confusions": [{"name": c.name, **_share(c.share), "silent": c.silent} for c in confusions(found.outcomes)],
        "words_taken_for_others": [
            {"said": said, "heard": heard, "count": count} for said, heard, count in common_pairs(found.outcomes)
        ],
        "calibration_error": {
            name: {field: {"error": error, "n": n} for field, (error, n) in calibration_errors(part).items()}
            for name, part in {
                "all": found.claims,
                **{name: [c for c in found.claims if c.condition == name] for name in by_condition},
            }.items()
        },
        "reliability": {
            field: [{"chance": chance, "right": right, "n": n} for chance, right, n in parts]
            for field in FIELDS
            if (parts := reliability(found.claims, field))
        },
        "latency": {step: asdict(times) for step, times in latency(found.outcomes).items()},
        "decoding_per_second_of_utterance": decoding_share(found.outcomes),
        "peak_memory_mb": found.memory_mb,
        "trials": [_trial(outcome) for outcome in found.outcomes],
    }


def _by(outcomes: Iterable[Outcome], name: Callable[[Outcome], str]) -> dict[str, Any]:
    return {group: _figures(figures(members)) for group, members in grouped(outcomes, name).items()}


def _figures(found: Figures) -> dict[str, Any]:
    shares = {name: getattr(found, name) for name in ("right", "taken", "asked", "lost", "wrong")}
    return {
        "n": found.n,
        **{name: _share(share) for name, share in shares.items()},
        "voices": found.voices,
        "noises": found.noises,
    }


def _share(share: Share) -> dict[str, Any]:
    low, high = share.interval
    return {"count": share.count, "of": share.of, "low": round(low, 6), "high": round(high, 6)}


def _rate(rate: Rate) -> dict[str, Any]:
    low, high = rate.interval
    return {"count": rate.count, "hours": rate.hours, "low": low, "high": high if math.isfinite(high) else None}


def _trial(outcome: Outcome) -> dict[str, Any]:
    case, utterances = outcome.trial.case, outcome.trial.utterances
    strangeness = utterances[-1].hearing.strangeness if utterances else math.inf
    return {
        "file": case.recording.file.name,
        "kind": outcome.kind,
        "condition": case.condition,
        "voice": case.recording.voice,
        "noise": case.noise,
        "words": case.recording.words,
        "said": _phrase(outcome.said),
        "heard": outcome.heard,
        "first": _phrase(outcome.first),
        "became": outcome.became.value,
        "is_right": outcome.is_right,
        "probability": round(outcome.probability, 6),
        "strangeness": round(strangeness, 3) if math.isfinite(strangeness) else None,
        "utterances": len(utterances),
    }


def _phrase(phrase: Phrase | None) -> Any:
    if phrase is None:
        return None
    if phrase.entry is not None:
        return _entry(phrase.entry)
    return phrase.command or phrase.answer


def _entry(entry: Entry) -> dict[str, Any]:
    return {key: value for key, value in asdict(entry).items() if value not in (None, False, ())}
