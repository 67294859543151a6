"""One run of the bench: every engine on the same cases, in the same order."""

import os
import platform
from collections.abc import Callable, Sequence
from pathlib import Path

from voicecapture import __version__
from voicecapture.audio import check_recording
from voicecapture.bars import DecisionSettings
from voicecapture.bench.cases import as_they_are, in_turns, mixed, shed_noise_cases
from voicecapture.bench.manifest import NOISE, Recording, read_manifest
from voicecapture.bench.measure import measure
from voicecapture.bench.results import Results, Run, results
from voicecapture.bench.trial import Trial
from voicecapture.errors import HerdError
from voicecapture.herd import Herd
from voicecapture.language.grammar_file import load_grammar

QUICK_RECORDINGS, QUICK_NOISE_HOURS = 120, 0.05
"""What `--quick` hears, all engines together: under two minutes on two cores."""

Progress = Callable[[str, int, int], None]
"""Told the engine, the cases heard and the cases to hear."""


def run(
    folder: Path,
    herd: Herd,
    engines: Sequence[str],
    model: str | None,
    snrs_db: Sequence[float | None] | None,
    narrow_db: Sequence[float],
    draws: int,
    noise_hours: float,
    is_quick: bool,
    progress: Progress,
) -> tuple[Run, list[Results]]:
    """Measure engines on a folder of recordings. After Ctrl-C, what was heard until then.

    Args:
        folder: Recordings with a manifest.
        herd: The herd of every case.
        engines: Their names.
        model: Of the Vosk engine.
        snrs_db: Ratios at which the clean recordings are mixed with shed noise (None: clean); None for all
            recordings as they are.
        narrow_db: Such ratios through a line of 8 kHz.
        draws: How often each recording is mixed at each ratio, every time with another shed.
        noise_hours: Hours of shed noise with nobody in it.
        is_quick: Only a stratified sample.
        progress: Told how far it is.

    Raises:
        AudioError: If the manifest or a recording cannot be used.
        HerdError: If no cow of the manifest is in the herd.
        ModelError: If an engine cannot be loaded.
    """
    recordings = read_manifest(folder, load_grammar())
    _check_herd(recordings, herd)
    planned = in_turns(as_they_are(recordings) if snrs_db is None else mixed(recordings, snrs_db, narrow_db, draws))
    spoken = planned[: max(1, QUICK_RECORDINGS // len(engines))] if is_quick else planned
    # Noise last: what is heard before a Ctrl-C is the recordings.
    noise = shed_noise_cases(min(noise_hours, QUICK_NOISE_HOURS) if is_quick else noise_hours)
    cases = [*spoken, *noise]
    for file in sorted({case.recording.file for case in spoken}):
        check_recording(file)
    if len(engines) > 1:
        # An engine that cannot be loaded is better known before the others have listened for minutes.
        for engine in engines:
            measure((), engine, model, herd, lambda trial: None)
    found, is_stopped = [], False
    for engine in engines:
        trials: list[Trial] = []
        memory_mb: float | None = None

        def keep(trial: Trial, engine: str = engine, trials: list[Trial] = trials) -> None:
            trials.append(trial)
            progress(engine, len(trials), len(cases))

        progress(engine, 0, len(cases))
        try:
            memory_mb = measure(cases, engine, model, herd, keep)
        except KeyboardInterrupt:
            is_stopped = True
        found.append(results(engine, trials, herd, DecisionSettings(), memory_mb))
        if is_stopped:
            break
    return _described(folder, len(planned), herd, found, is_stopped), found


def _check_herd(recordings: Sequence[Recording], herd: Herd) -> None:
    """Refuse the herd of another farm: every entry would be asked about."""
    said = [recording.said.entry for recording in recordings if recording.said and recording.said.entry]
    cows = {entry.cow for entry in said if entry.is_whole and entry.cow}
    if cows and not any(cow in herd for cow in cows):
        raise HerdError(
            f"--herd: none of the {len(cows)} cows in the manifest is in the herd list; expected the herd of the "
            "recordings. Name its list."
        )


def _described(folder: Path, planned: int, herd: Herd, found: Sequence[Results], is_stopped: bool) -> Run:
    fewest = min(found, key=lambda one: len(one.outcomes))
    noise = fewest.of(NOISE)
    return Run(
        folder=str(folder),
        recordings=len(fewest.outcomes) - len(noise),
        planned=planned,
        noise_hours=sum(outcome.trial.duration_s for outcome in noise) / 3600,
        herd=len(herd),
        version=__version__,
        machine=f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}",
        is_stopped=is_stopped,
    )
