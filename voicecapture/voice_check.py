"""The voice check before a day: twenty phrases with every digit, teen, ten and result, and how they were heard.

It gives this voice's own figures with this microphone in this noise. It changes nothing in the listener.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from voicecapture.audio import AudioChunk, is_narrow_band
from voicecapture.day import Day
from voicecapture.decision import TALK, Outcome
from voicecapture.ear import Ear
from voicecapture.herd import Herd
from voicecapture.language.grammar import Grammar
from voicecapture.language.phrase import Entry, interpret
from voicecapture.recogniser import Recogniser
from voicecapture.settings import Settings

PHRASES = (
    "four one seven, pregnant fifty six days",
    "two oh three, empty",
    "eight six nine, in calf ten weeks",
    "five, recheck",
    "nineteen, pregnant forty days",
    "sixty, in calf eleven weeks",
    "double seven, empty",
    "three hundred and twelve, pregnant ninety one days",
    "nine eighteen, in calf seventy days",
    "six thirteen, pregnant thirty days",
    "fourteen, recheck in two weeks",
    "forty one, not in calf",
    "one fifteen, pregnant eighty four days",
    "seven fifty, in calf sixteen weeks",
    "sixteen, dry",
    "two seventeen, pregnant one hundred and four days",
    "seventy, in calf fifteen weeks",
    "eight zero eight, pregnant sixty three days, twins",
    "one thousand two hundred and twenty, empty",
    "nine four zero, recheck in three weeks",
)

_MOST_ASKED = 5
"""Of twenty: more questions than this hold up a race."""


@dataclass(frozen=True, slots=True)
class Said:
    """One phrase of the check and what was made of it."""

    phrase: str
    heard: str
    is_right: bool
    is_taken: bool
    snr_db: float
    is_clipped: bool
    is_narrow: bool
    """It came through a line of 8 kHz."""


def meaning(phrase: str, grammar: Grammar) -> Entry:
    """The entry that a phrase of the check stands for."""
    tokens = grammar.meanings(phrase.replace(",", "").split())
    likeliest, _ = max(tokens.items(), key=lambda pair: pair[1])
    entry = interpret(likeliest).entry
    assert entry is not None, phrase
    return entry


def check(
    chunks: Iterable[AudioChunk],
    grammar: Grammar,
    recogniser: Recogniser,
    settings: Settings,
    prompt: Callable[[int, str], None],
) -> Iterator[Said]:
    """Ask for one phrase after the other and yield what was heard; talk in between is passed over.

    Args:
        chunks: The microphone or a recording.
        grammar: What may be said.
        recogniser: The engine to check.
        settings: The practice's settings.
        prompt: Called with the number of a phrase, from 1, and its text, when it is to be said.
    """
    ear = Ear(Day(Herd(), settings.scan), grammar, recogniser, settings)
    waiting = list(enumerate(PHRASES, 1))
    prompt(*waiting[0])
    for heard in ear.hear(chunks):
        ear.day = Day(Herd(), settings.scan)
        event = heard.decision.event
        if event.reason == TALK:
            continue
        _, phrase = waiting.pop(0)
        yield Said(
            phrase,
            event.heard,
            event.entry == meaning(phrase, grammar),
            heard.decision.outcome is Outcome.ACCEPTED,
            heard.utterance.snr_db,
            heard.utterance.is_clipped,
            is_narrow_band(heard.utterance.samples),
        )
        if not waiting:
            return
        prompt(*waiting[0])


def summary(said: Sequence[Said]) -> list[str]:
    """The figures of a check and what they advise, a line each."""
    if not said:
        return ["Nothing was heard. Check that the right microphone is chosen: voicecapture listen --list-devices."]
    count = len(said)
    right, taken = sum(s.is_right for s in said), sum(s.is_taken for s in said)
    wrong = [s for s in said if s.is_taken and not s.is_right]
    clipped = sum(s.is_clipped for s in said)
    lines = [
        f"{right} of {count} heard right; {taken} would be taken, {count - taken} asked about, "
        f"{len(wrong)} taken although wrong.",
        f"Voice over noise: {np.median([s.snr_db for s in said]):.0f} dB (median).",
    ]
    lines += [f'Taken wrong: "{s.phrase}" was heard as "{s.heard}".' for s in wrong]
    if clipped:
        lines.append(f"The microphone is overdriven in {clipped}: lower its level or move it from the mouth.")
    if 2 * sum(s.is_narrow for s in said) > count:
        lines.append(
            "Telephone sound: the microphone gives nothing above 4 kHz. Set the headset to wide band, or use another."
        )
    if count < len(PHRASES):
        lines.append(f"Only {count} of {len(PHRASES)} phrases were said: the figures mean less.")
    if wrong:
        lines.append("Do not rely on this voice and microphone yet: say the phrases again, closer and slower.")
    elif count - taken > _MOST_ASKED:
        lines.append("Safe, but it will ask often: move the microphone closer to the mouth, or away from the pump.")
    elif count == len(PHRASES):
        lines.append("Good to go.")
    return lines
