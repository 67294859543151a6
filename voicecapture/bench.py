"""Measures the listening on recordings whose words are known: right, asked and silently wrong, by voice and noise.

"Right first time": the first reading is what was said, whether it was taken or asked about. "Taken wrong": taken
without asking, and not what was said.
"""

import json
import resource
import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from voicecapture.decision import Outcome
from voicecapture.errors import AudioError
from voicecapture.hear import hear_file
from voicecapture.herd import Herd
from voicecapture.language.grammar import Grammar
from voicecapture.language.phrase import Entry
from voicecapture.recogniser import Recogniser
from voicecapture.settings import Settings


@dataclass(frozen=True, slots=True)
class Row:
    """One recording of a manifest."""

    file: Path
    words: str
    expected: Entry | None
    kind: str
    voice: str
    snr_db: float | None
    """Active-speech signal-to-noise ratio; None for clean."""


@dataclass(frozen=True, slots=True)
class Outcomes:
    """What became of one recording."""

    row: Row
    first: Entry | None
    """The entry read first, whether taken or asked."""
    is_accepted: bool
    is_question: bool
    probability: float
    strangeness: float
    latency_s: float
    duration_s: float
    """Of the utterances in it."""
    heard: str

    @property
    def is_right(self) -> bool:
        """The first reading is the entry that was spoken; for talk, nothing was read as an entry."""
        return same_entry(self.first, self.row.expected)

    @property
    def is_taken_wrong(self) -> bool:
        """Taken without asking, and not what was said."""
        return self.is_accepted and not self.is_right


def same_entry(a: Entry | None, b: Entry | None) -> bool:
    """Whether two entries agree in cow, result, age, twins and findings."""
    if a is None or b is None:
        return a is b
    return (a.cow, a.result, a.days, a.crown_rump_mm, a.twins, sorted(a.findings)) == (
        b.cow,
        b.result,
        b.days,
        b.crown_rump_mm,
        b.twins,
        sorted(b.findings),
    )


def read_manifest(folder: Path) -> list[Row]:
    """Read `manifest.jsonl` of a folder of recordings.

    Raises:
        AudioError: If there is none.
    """
    path = folder / "manifest.jsonl"
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except OSError as error:
        raise AudioError(
            f"{path}: cannot be read ({error.strerror}). Name a folder of recordings with a manifest, such as "
            "audio_fixtures/reporting of a checkout."
        ) from error
    rows = []
    for line in lines:
        row = json.loads(line)
        expected = row["expected"]
        entry = Entry(**{**expected, "findings": tuple(expected["findings"])}) if expected else None
        rows.append(Row(folder / row["file"], row["words"], entry, row["kind"], row["voice"], row["snr_db"]))
    return rows


def measure(
    rows: Iterable[Row],
    herd: Herd,
    grammar: Grammar,
    recogniser: Recogniser,
    settings: Settings,
    progress: Callable[[], None] = lambda: None,
) -> list[Outcomes]:
    """Hear every recording, each as a fresh start, through the same path as a day."""
    return [_after(progress, measure_one(row, herd, grammar, recogniser, settings)) for row in rows]


def _after(progress: Callable[[], None], outcome: Outcomes) -> Outcomes:
    progress()
    return outcome


def measure_one(row: Row, herd: Herd, grammar: Grammar, recogniser: Recogniser, settings: Settings) -> Outcomes:
    """Hear one recording. A recording cut into several utterances counts with its worst."""
    heard = list(hear_file(row.file, herd, grammar, recogniser, settings))
    accepted = [h for h in heard if h.decision.outcome is Outcome.ACCEPTED and h.decision.command is None]
    asked = [h for h in heard if h.decision.outcome is Outcome.QUESTION]
    chosen = (accepted or asked or heard)[-1:]
    event = chosen[0].decision.event if chosen else None
    entry = event.entry if event is not None and event.entry is not None and event.entry.is_whole else None
    if accepted and any(not same_entry(h.decision.event.entry, row.expected) for h in accepted):
        entry = next(h.decision.event.entry for h in accepted if not same_entry(h.decision.event.entry, row.expected))
    return Outcomes(
        row=row,
        first=entry,
        is_accepted=bool(accepted),
        is_question=bool(asked) and not accepted,
        probability=(event.probability or 0.0) if event else 0.0,
        strangeness=chosen[0].hearing.strangeness if chosen else float("inf"),
        latency_s=max((h.latency_s for h in heard), default=0.0),
        duration_s=sum(h.utterance.end_s - h.utterance.start_s for h in heard),
        heard=" | ".join(h.decision.event.heard for h in heard),
    )


def table(outcomes: Sequence[Outcomes]) -> list[str]:
    """The first table: by noise, then by voice within it; then what is not an entry; latency and memory."""
    lines = [
        f"{'entries':<24}{'n':>5}{'right':>8}{'taken':>8}{'asked':>8}{'lost':>8}{'taken wrong':>13}{'at most':>9}"
    ]
    entries = [o for o in outcomes if o.row.kind == "entry"]
    for snr in sorted({o.row.snr_db for o in entries}, key=lambda snr: -(snr if snr is not None else 99)):
        group = [o for o in entries if o.row.snr_db == snr]
        lines.append(_line("clean" if snr is None else f"{snr:g} dB", group))
        for voice in sorted({o.row.voice for o in group}):
            lines.append(_line(f"  {voice}", [o for o in group if o.row.voice == voice]))
    lines.append("")
    for kind in ("lookalike", "unlisted", "talk", "command", "number", "result"):
        for snr in sorted(
            {o.row.snr_db for o in outcomes if o.row.kind == kind},
            key=lambda s: -(s if s is not None else 99),
        ):
            group = [o for o in outcomes if o.row.kind == kind and o.row.snr_db == snr]
            lines.append(_line(f"{kind} {'clean' if snr is None else f'{snr:g} dB'}", group))
    latencies = [o.latency_s for o in outcomes]
    lines += [
        "",
        f"latency, end of utterance to decision: median {np.median(latencies):.2f} s, "
        f"95 % below {np.percentile(latencies, 95):.2f} s; "
        f"{sum(latencies) / max(sum(o.duration_s for o in outcomes), 1e-9):.2f} of the utterances' own time",
        f"peak memory of the process: {peak_memory_mb():.0f} MB",
    ]
    return lines


def _line(name: str, group: Sequence[Outcomes]) -> str:
    n = len(group)
    right, taken = sum(o.is_right for o in group), sum(o.is_accepted for o in group)
    asked, wrong = sum(o.is_question for o in group), sum(o.is_taken_wrong for o in group)
    shares = "".join(f"{100 * k / n:7.1f}%" for k in (right, taken, asked, n - taken - asked))
    return f"{name:<24}{n:>5}{shares}{wrong:>6}{100 * wrong / n:6.1f}%{100 * at_most(wrong, n):8.1f}%"


def at_most(count: int, n: int) -> float:
    """Upper end of the 95 % interval of a share, 0-1 (Wilson 1927), for `count` of `n`; 1 for none of none."""
    # Half a second to load, at the start of every command; only the bench asks for it.
    from scipy.stats import binomtest

    return float(binomtest(count, n).proportion_ci(method="wilson").high) if n else 1.0


def peak_memory_mb() -> float:
    """Largest resident size of this process so far, in megabytes."""
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1024 * 1024) if sys.platform == "darwin" else peak / 1024
