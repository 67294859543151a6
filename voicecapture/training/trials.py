"""Lets the listener hear known speech in known noise, and keeps what it made of it before any calibration.

    python -m voicecapture.training.trials MODEL CLIPS OUT [CONDITION...]

MODEL is a listener's folder, CLIPS a folder of packed clips, OUT a file of pickled trials. Conditions are clean,
a signal-to-noise ratio in dB such as 10, or one with an n for the band of a headset at 8 kHz, such as 10n. The
clips of people are single digits mostly: those of one speaker, or of one set, are joined to cow numbers. A condition
that is named several times is heard as often, each time in another noise and room. What is taken early is chosen by
posteriors here, by chances in the product: where an entry was not yet likely enough, its pause was longer. A run that
was stopped goes on where it was.
"""

import pickle
import sys
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cache
from hashlib import sha256
from multiprocessing import Pool
from pathlib import Path
from typing import Any

import numpy as np
from scipy.signal import butter, sosfiltfilt

from voicecapture.audio import chunked
from voicecapture.day import Day
from voicecapture.ear import Ear, Heard
from voicecapture.herd import Animal, Herd
from voicecapture.language.grammar import Grammar
from voicecapture.language.grammar_file import load_grammar
from voicecapture.language.phrase import Entry
from voicecapture.recogniser import Hearing
from voicecapture.recogniser.listener import Listener
from voicecapture.segmenter import Utterance as Sound
from voicecapture.settings import Settings
from voicecapture.synthesis.shed import SAMPLE_RATE_HZ, Samples, mix, room, shed_noise
from voicecapture.training.clips import read_clips

_NO_SAMPLES = np.zeros(0, np.float32)
_LEAD_S, _TAIL_S = 4.0, 1.0
"""Noise before the words is as in a shed: how loud it is is told from the last seconds."""
_SHEDS, _SHED_S = 60, 40
NEXT_DRAW = 7919
"""Between the seeds of two draws: more than there are recordings, and another shed."""
_COWS = 1000
_UNLISTED = 12
"""One entry in so many is for a cow that is not in the herd."""
_DIGITS = {
    "zero": "0",
    "oh": "0",
    **{
        word: str(n)
        for n, word in enumerate(["one", "two", "three", "four", "five", "six", "seven", "eight", "nine"], 1)
    },
}
_HUMAN_NUMBERS = 400
_LEAST_RECORDINGS, _LEAST_WORDS = 11, 4
"""With fewer the same few recordings, good or bad, would be in every number."""


@dataclass(frozen=True, slots=True)
class Spoken:
    """What is played to the listener."""

    samples: Samples
    words: str
    speaker: str
    source: str
    """The family of a voice, or the set of recordings of people."""
    entry: Entry | None
    """What was said; a cow alone where people say digits; None for talk."""
    is_listed: bool = True


@dataclass(frozen=True, slots=True)
class Utterance:
    """One utterance as the listener heard it."""

    sound: Sound
    """Without its samples."""
    hearing: Hearing
    """Not calibrated."""


@dataclass(frozen=True, slots=True)
class Trial:
    """One recording in one condition, and all utterances that the segmenter found in it."""

    number: int
    words: str
    speaker: str
    source: str
    entry: Entry | None
    is_listed: bool
    condition: str
    utterances: tuple[Utterance, ...]


def whole_entries(rows: Sequence[dict[str, Any]], clips: Sequence[Samples]) -> Iterator[Spoken]:
    """Entries and talk by synthetic voices."""
    for number, (row, clip) in enumerate(zip(rows, clips, strict=True)):
        said = row["expected"]
        entry = Entry(**{**said, "findings": tuple(said["findings"])}) if said else None
        family = row["voice"].split("-")[0]
        yield Spoken(clip, row["words"], row["speaker"], family, entry, number % _UNLISTED != 0)


def joined_numbers(rows: Sequence[dict[str, Any]], clips: Sequence[Samples]) -> Iterator[Spoken]:
    """Cow numbers out of people's digits: strings spoken as such, and digits of one speaker, or one set, joined."""
    rng = np.random.default_rng(7)
    groups: dict[str, list[int]] = {}
    for number, row in enumerate(rows):
        if row["kind"] != "digits":
            continue
        words = row["words"].split()
        if 1 < len(words) <= 5:
            yield Spoken(clips[number], row["words"], row["speaker"], row["set"], Entry(_number(words)))
        elif len(words) == 1:
            name = row["speaker"] if row["set"] in ("fsdd", "asterisk_prompts_en") else row["set"]
            groups.setdefault(name, []).append(number)
    names = sorted(
        name
        for name, group in groups.items()
        if len(group) >= _LEAST_RECORDINGS and len({rows[n]["words"] for n in group}) >= _LEAST_WORDS
    )
    for turn in range(_HUMAN_NUMBERS):
        group = groups[names[turn % len(names)]]
        chosen = rng.choice(group, rng.integers(2, 5))
        parts: list[Samples] = []
        for number in chosen:
            loud = np.flatnonzero(np.abs(clips[number]) > 0.03 * np.max(np.abs(clips[number])))
            parts.append(clips[number][max(0, loud[0] - 200) : loud[-1] + 400])
            parts.append(np.zeros(rng.integers(300, 2400), np.float32))
        words = [rows[number]["words"] for number in chosen]
        speaker = names[turn % len(names)]
        yield Spoken(np.concatenate(parts), " ".join(words), speaker, rows[chosen[0]]["set"], Entry(_number(words)))


def _number(words: Iterable[str]) -> str:
    return "".join(_DIGITS[word] for word in words)


def in_condition(speech: Samples, condition: str, seed: int) -> Samples:
    """A recording with time before and after it, in echo and noise unless the condition is clean."""
    padded = np.pad(speech, (int(_LEAD_S * SAMPLE_RATE_HZ), int(_TAIL_S * SAMPLE_RATE_HZ)))
    if condition == "clean":
        rng = np.random.default_rng(seed)
        return np.asarray(padded + 1e-4 * rng.normal(size=len(padded)), dtype=np.float32)
    start = int(np.random.default_rng(seed).integers(0, _SHED_S * SAMPLE_RATE_HZ - len(padded)))
    noise = _shed(seed % _SHEDS)[start : start + len(padded)]
    mixed = mix(room(padded, seed), noise, float(condition.rstrip("n")))
    if condition.endswith("n"):
        band = butter(6, [250, 3400], "bandpass", fs=SAMPLE_RATE_HZ, output="sos")
        mixed = np.asarray(sosfiltfilt(band, mixed), dtype=np.float32)
    return mixed


@cache
def _shed(seed: int) -> Samples:
    return shed_noise(_SHED_S, seed)


@cache
def _herd_numbers() -> tuple[str, ...]:
    return tuple(str(n) for n in np.random.default_rng(5).choice(np.arange(1, 1600), _COWS, replace=False))


def herd_with(said: Entry | None, is_listed: bool) -> Herd:
    """The herd of 1,000 that a trial is heard with: with the cow that was said, or without her if not listed."""
    cow = said.cow if said else None
    others = [number for number in _herd_numbers() if number != cow]
    return Herd(map(Animal, [*others, cow] if cow and is_listed else others))


def heard(spoken: Spoken, number: int, condition: str, draw: int, listener: Listener, grammar: Grammar) -> Trial:
    """Play one recording through segmenter and listener; every draw is another noise and room."""
    ear = Ear(Day(herd_with(spoken.entry, spoken.is_listed)), grammar, listener, Settings())
    sound = in_condition(spoken.samples, condition, number + draw * NEXT_DRAW)
    found: list[Heard] = list(ear.hear(chunked([sound])))
    utterances = tuple(Utterance(replace(h.utterance, samples=_NO_SAMPLES), h.hearing) for h in found)
    return Trial(
        number, spoken.words, spoken.speaker, spoken.source, spoken.entry, spoken.is_listed, condition, utterances
    )


Task = tuple[int, str, int]
"""Recording, condition and draw of a trial."""
_worker: dict[str, Any] = {}


def _start_worker(model: Path, all_spoken: list[Spoken]) -> None:
    _worker.update(listener=Listener(model, is_calibrated=False), grammar=load_grammar(), spoken=all_spoken)


def tasks_of(recordings: int, conditions: Sequence[str]) -> list[Task]:
    """All trials: the same condition once more is the next draw of it."""
    draws = [(condition, conditions[:place].count(condition)) for place, condition in enumerate(conditions)]
    return [(number, *draw) for number in range(recordings) for draw in draws]


def _work(task: Task) -> tuple[Task, Trial]:
    number, condition, draw = task
    return task, heard(_worker["spoken"][number], number, condition, draw, _worker["listener"], _worker["grammar"])


def kept(part: Path, heard_of: str) -> dict[Task, Trial]:
    """What a run that was stopped has heard, if it was of the same model and clips; else `part` begins anew.

    Half a trial at the end of the file is cut off.
    """
    found: dict[Task, Trial] = {}
    part.touch()
    with part.open("rb+") as file, suppress(EOFError, pickle.UnpicklingError):
        end = 0
        if pickle.load(file) == heard_of:
            while True:
                end = file.tell()
                task, found[task] = pickle.load(file)
    with part.open("rb+") as file:
        file.truncate(end)
        if not end:
            pickle.dump(heard_of, file)
    return found


def _digest(*files: Path) -> str:
    return " ".join(sha256(file.read_bytes()).hexdigest() for file in files)


def main() -> None:
    """Hear all clips in all conditions."""
    model, folder, out = map(Path, sys.argv[1:4])
    conditions = sys.argv[4:] or ["clean", "20", "10", "5", "0"]
    rows, clips = read_clips(folder)
    make = whole_entries if "expected" in rows[0] else joined_numbers
    all_spoken = list(make(rows, clips))
    tasks = tasks_of(len(all_spoken), conditions)
    part, began_s = out.with_suffix(".part"), time.monotonic()
    done = kept(part, _digest(model / "listener.onnx", folder / "clips.jsonl"))
    left = [task for task in tasks if task not in done]
    with part.open("ab") as file, Pool(None, _start_worker, (model, all_spoken)) as pool:
        for task, trial in pool.imap_unordered(_work, left, chunksize=4):
            done[task] = trial
            pickle.dump((task, trial), file)
            if len(done) % 200 == 0:
                file.flush()
                print(f"{len(done)} of {len(tasks)}, {time.monotonic() - began_s:.0f} s", flush=True)
    in_order = sorted(tasks, key=lambda task: (task[1], task[2], task[0]))
    out.write_bytes(pickle.dumps([done[task] for task in in_order]))
    part.unlink()


if __name__ == "__main__":
    # Imported by its name, so that what is pickled can be read from elsewhere.
    from voicecapture.training import trials

    trials.main()
