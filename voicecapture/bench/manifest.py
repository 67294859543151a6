"""A folder of recordings and what is said in them, by its `manifest.jsonl`: audio_fixtures/README.md has the keys."""

import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from voicecapture.errors import AudioError
from voicecapture.language.grammar import Grammar
from voicecapture.language.phrase import Entry, Phrase, Result, interpret

TALK, NOISE = "talk", "noise"
"""Kinds of recording that hold nothing for the listener."""
_NUMBERS = ("days", "crown_rump_mm", "recheck_weeks")
_ENTRY_KEYS = {"cow", "result", "twins", "findings", *_NUMBERS}


@dataclass(frozen=True, slots=True)
class Recording:
    """One recording of one saying."""

    file: Path
    words: str
    said: Phrase | None
    """What it means; None for talk and noise."""
    kind: str
    voice: str
    snr_db: float | None
    """Active speech over the noise that it was recorded in; None if it is clean or nobody knows."""
    noise: str = ""
    """Name of the noise that it was recorded in; empty for clean."""

    @property
    def is_clean(self) -> bool:
        """Whether it was recorded without noise."""
        return self.snr_db is None and not self.noise


def read_manifest(folder: Path, grammar: Grammar) -> list[Recording]:
    """Read the manifest of a folder of recordings.

    Raises:
        AudioError: If there is none, a line of it is wrong, or a recording that it names is missing.
    """
    path = folder / "manifest.jsonl"
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except OSError as error:
        raise AudioError(
            f"{path}: cannot be read ({error.strerror}). Name a folder of recordings with a manifest, such as "
            "audio_fixtures/reporting of a checkout."
        ) from error
    except UnicodeDecodeError as error:
        raise AudioError(
            f"{path}: not text in UTF-8; expected a line of JSON for each recording. Mend it."
        ) from error
    recordings = [_recording(line, f"{path}:{n}", folder, grammar) for n, line in enumerate(lines, 1) if line.strip()]
    if not recordings:
        raise AudioError(f"{path}: names no recording; expected a line of JSON for each. Write one.")
    return recordings


def _recording(line: str, where: str, folder: Path, grammar: Grammar) -> Recording:
    try:
        row = json.loads(line)
    except ValueError as error:
        raise AudioError(f"{where}: no JSON ({error}); expected an object on one line. Mend it.") from error
    if not isinstance(row, dict) or not isinstance(row.get("file"), str):
        raise AudioError(f"{where}: names no file; expected an object with the key 'file'. Mend it.")
    file, expected = folder / row["file"], row.get("expected")
    if not file.is_file():
        raise AudioError(f"{where}: {file} is missing; expected a recording. Copy it there, or remove the line.")
    snr_db = row.get("snr_db")
    if isinstance(snr_db, bool) or not isinstance(snr_db, int | float | None):
        raise AudioError(f"{where}: snr_db is {snr_db!r}; expected decibels, or null for clean. Correct it.")
    words, kind = str(row.get("words") or ""), str(row.get("kind") or ("entry" if expected else TALK))
    if expected is not None:
        said: Phrase | None = Phrase(entry=_entry(expected, where))
    else:
        said = None if kind in (TALK, NOISE) else _meaning(words, grammar, where)
    # A shed of its own for each seed: so the shipped recordings were made.
    noise = row.get("noise") or (f"shed {row.get('seed', '')}".strip() if snr_db is not None else "")
    return Recording(file, words, said, kind, str(row.get("voice") or "unknown"), snr_db, str(noise))


def _entry(expected: Any, where: str) -> Entry:
    """The entry that was said, or the part of one."""
    if not isinstance(expected, dict) or set(expected) - _ENTRY_KEYS:
        raise AudioError(f"{where}: expected is {expected!r}; expected {', '.join(sorted(_ENTRY_KEYS))}. Correct it.")
    cow, result = expected.get("cow"), expected.get("result")
    if cow is not None and not (isinstance(cow, str) and cow.isdecimal()):
        raise AudioError(f'{where}: cow is {cow!r}; expected digits as text, such as "417". Correct it.')
    if result is not None and result not in list(Result):
        raise AudioError(f"{where}: result is {result!r}; expected {', '.join(Result)}. Correct it.")
    for key in _NUMBERS:
        if isinstance(expected.get(key), bool) or not isinstance(expected.get(key), int | None):
            raise AudioError(f"{where}: {key} is {expected[key]!r}; expected a whole number or null. Correct it.")
    return Entry(
        cow,
        Result(result) if result else None,
        expected.get("days"),
        bool(expected.get("twins")),
        tuple(expected.get("findings") or ()),
        recheck_weeks=expected.get("recheck_weeks"),
        crown_rump_mm=expected.get("crown_rump_mm"),
    )


def _meaning(words: str, grammar: Grammar, where: str) -> Phrase:
    """What words mean to the grammar."""
    meanings = grammar.meanings(words.split())
    if not meanings:
        raise AudioError(
            f"{where}: nobody can say '{words}' to voicecapture; expected words of `voicecapture words`, or a key "
            "'expected'. Correct it, or make its kind 'talk'."
        )
    likeliest, _ = max(meanings.items(), key=lambda pair: pair[1])
    return interpret(likeliest)


def same_meaning(a: Phrase | None, b: Phrase | None) -> bool:
    """Whether two phrases say the same: the same entry, command or answer."""
    if a is None or b is None:
        return a is b
    return (a.command, a.answer) == (b.command, b.answer) and same_entry(a.entry, b.entry)


def same_entry(a: Entry | None, b: Entry | None) -> bool:
    """Whether two entries agree in all that they say, in whatever order the findings were said."""
    if a is None or b is None:
        return a is b
    return replace(a, findings=tuple(sorted(a.findings))) == replace(b, findings=tuple(sorted(b.findings)))
