"""Recordings to entries, for a vet who carried a dictation recorder. Nothing is stored.

`as_json` is a promise: scripts rely on its keys.
"""

import json
from collections.abc import Iterator
from pathlib import Path

from voicecapture.day import Day
from voicecapture.ear import Ear, Heard
from voicecapture.herd import Herd
from voicecapture.language.grammar import Grammar
from voicecapture.language.phrase import Entry
from voicecapture.reckoning.foetus import CROWN_RUMP_MM, crown_rump_age
from voicecapture.recogniser import Recogniser
from voicecapture.settings import Settings
from voicecapture.spool import read_sound


def hear_file(
    path: Path, herd: Herd, grammar: Grammar, recogniser: Recogniser, settings: Settings
) -> Iterator[Heard]:
    """Every utterance of a recording with its decision. Each file is a fresh start: a new day.

    Raises:
        AudioError: If the file is not a recording.
    """
    ear = Ear(Day(herd, settings.scan), grammar, recogniser, settings)
    yield from ear.hear(read_sound(path))


def as_json(path: Path, heard: Heard) -> str:
    """One utterance as one line of JSON.

    Keys: file, start_s, end_s, heard (the words), decision ("accepted", "question" or "ignored"), reason,
    entry (null or {cow, result, days, twins, findings}), posterior (0-1), alternatives (list of {entry,
    posterior}), latency_s (wall-clock seconds from the end of the utterance to its decision).
    """
    event = heard.decision.event
    is_entry = event.entry is not None and event.entry.is_whole and heard.decision.command is None
    heard_entries = [(r.phrase.entry, r.probability) for r in heard.hearing.readings]
    alternatives = [(e, p) for e, p in heard_entries if e is not None and e.is_whole and e != event.entry]
    return json.dumps(
        {
            "file": str(path),
            "start_s": round(heard.utterance.start_s, 3),
            "end_s": round(heard.utterance.end_s, 3),
            "heard": event.heard,
            "decision": heard.decision.outcome.value,
            "reason": heard.decision.reason,
            "entry": _entry(event.entry) if is_entry else None,
            "posterior": round(event.probability or 0.0, 4),
            "alternatives": [
                {"entry": _entry(e), "posterior": round(p, 4)} for e, p in alternatives if e != event.entry
            ],
            "latency_s": round(heard.latency_s, 3),
        },
        ensure_ascii=False,
    )


def _days(entry: Entry) -> int | None:
    """The age as it was said; of a crown-rump length, the age that it tells."""
    if entry.days is None and entry.crown_rump_mm is not None:
        low, high = CROWN_RUMP_MM
        return round(crown_rump_age(entry.crown_rump_mm)) if low <= entry.crown_rump_mm <= high else None
    return entry.days


def _entry(entry: Entry | None) -> dict[str, object] | None:
    if entry is None:
        return None
    return {
        "cow": entry.cow,
        "result": entry.result.value if entry.result else None,
        "days": _days(entry),
        "twins": entry.twins,
        "findings": list(entry.findings),
    }
