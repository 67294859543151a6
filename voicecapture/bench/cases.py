"""Which recording is heard in which noise, and in which order. Pure."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from voicecapture.bench.manifest import NOISE, Recording
from voicecapture.errors import AudioError

CLEAN = "clean"
_NARROW = ", 8 kHz"
SHEDS = 12
"""Different sheds that clean recordings are mixed with; it shares no divisor with the seven shipped voices."""
NOISE_S = 60.0
"""Length of a piece of noise alone, seconds."""


@dataclass(frozen=True, slots=True)
class Case:
    """One recording in one condition."""

    recording: Recording
    number: int
    """Its place in the manifest or, where it is mixed, what chooses the noise: the same at every ratio."""
    mixed_db: float | None = None
    """Signal-to-noise ratio at which it is mixed with shed noise; None for heard as it is."""
    is_narrow: bool = False
    """It comes through a line of 8 kHz, as of many a Bluetooth headset."""

    @property
    def condition(self) -> str:
        """ "clean", "10 dB", "10 dB, 8 kHz", "as recorded" in noise of no known level, "noise" without speech."""
        if self.recording.kind == NOISE:
            return NOISE
        snr_db = self.recording.snr_db if self.mixed_db is None else self.mixed_db
        if snr_db is not None:
            return f"{snr_db:g} dB{_NARROW if self.is_narrow else ''}"
        return CLEAN if self.recording.is_clean else "as recorded"

    @property
    def noise(self) -> str:
        """Name of the noise it is heard in; empty for none."""
        return self.recording.noise if self.mixed_db is None else f"shed {1 + self.number % SHEDS}"


def conditions_in_order(conditions: Iterable[str]) -> list[str]:
    """Clean first, then from quiet to loud, wide before narrow band, then the unknown."""

    def loudness(condition: str) -> tuple[int, float, bool]:
        snr, is_level, _ = condition.partition(" dB")
        if is_level:
            return 1, -float(snr), condition.endswith(_NARROW)
        return (0 if condition == CLEAN else 2), 0.0, False

    return sorted(set(conditions), key=loudness)


def as_they_are(recordings: Sequence[Recording]) -> list[Case]:
    """Every recording once, in the noise that it was recorded in."""
    return [Case(recording, number) for number, recording in enumerate(recordings)]


def mixed(
    recordings: Sequence[Recording],
    snrs_db: Sequence[float | None],
    narrow_db: Sequence[float] = (),
    draws: int = 1,
) -> list[Case]:
    """The clean recordings in each condition; those with noise of their own are left out.

    Args:
        recordings: Of one manifest.
        snrs_db: Ratios, None for clean.
        narrow_db: Ratios that are heard through a line of 8 kHz.
        draws: How often each is heard at each ratio, every time in another shed; clean, once is enough.

    Raises:
        AudioError: If none is clean.
    """
    clean = [recording for recording in recordings if recording.is_clean]
    if not clean:
        raise AudioError("--snr: no recording is clean; expected some to mix noise into. Leave --snr out.")
    conditions = [*((snr_db, False) for snr_db in snrs_db), *((snr_db, True) for snr_db in narrow_db)]
    return [
        Case(recording, place * draws + draw, *condition)
        for condition in conditions
        for draw in range(draws if condition[0] is not None else 1)
        for place, recording in enumerate(clean)
    ]


def shed_noise_cases(hours: float) -> list[Case]:
    """Noise of a shed with nobody in it, a minute from each of many sheds."""
    count = round(hours * 3600 / NOISE_S)
    return [Case(Recording(Path(), "", None, NOISE, "", None, f"empty shed {n + 1}"), n) for n in range(count)]


def in_turns(cases: Sequence[Case], seed: int = 1) -> list[Case]:
    """The cases in an order of which every beginning is a stratified sample.

    The strata are condition and kind, each represented in proportion; within one the voices take turns.
    """
    shuffled = [cases[int(place)] for place in np.random.default_rng(seed).permutation(len(cases))]
    strata: dict[tuple[str, str], list[tuple[int, Case]]] = defaultdict(list)
    turns: Counter[tuple[str, str, str]] = Counter()
    for case in shuffled:
        stratum = (case.condition, case.recording.kind)
        strata[stratum].append((turns[*stratum, case.recording.voice], case))
        turns[*stratum, case.recording.voice] += 1
    ranked = [
        ((place + 0.5) / len(members), case)
        for members in strata.values()
        for place, (_, case) in enumerate(sorted(members, key=lambda member: member[0]))
    ]
    return [case for _, case in sorted(ranked, key=lambda pair: pair[0])]
