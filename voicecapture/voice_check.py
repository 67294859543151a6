"""The voice check before a day: twenty phrases with every digit, teen, ten and result, and how they were heard.

It gives this voice's own figures with this microphone in this noise; `verdict` says what they mean. It changes
nothing in the listener.
"""

from collections.abc import Callable, Iterable, Iterator

from voicecapture.audio import AudioChunk, is_narrow_band, level_dbfs
from voicecapture.day import Day
from voicecapture.decision import Outcome
from voicecapture.ear import Ear, Heard
from voicecapture.herd import Herd
from voicecapture.language.grammar import Grammar
from voicecapture.language.phrase import Entry, interpret
from voicecapture.reasons import TALK
from voicecapture.recogniser import Recogniser
from voicecapture.settings import Settings
from voicecapture.verdict import Said

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

_TRIES = 3
"""A line that is passed over so often counts as lost."""


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
    """Ask for one phrase after the other and yield what was heard.

    What is passed over as talk is asked for again, and lost after three times. Where a later phrase is heard word for
    word, those before it were passed over.

    Args:
        chunks: The microphone or a recording.
        grammar: What may be said.
        recogniser: The engine to check.
        settings: The practice's settings.
        prompt: Called with the number of a phrase, from 1, and its text, when it is to be said; with the same again
            when it was passed over.
    """
    ear = Ear(Day(Herd(), settings.scan), grammar, recogniser, settings)
    waiting = list(enumerate(PHRASES, 1))
    meanings = {phrase: meaning(phrase, grammar) for phrase in PHRASES}
    tries = 0
    prompt(*waiting[0])
    for heard in ear.hear(chunks):
        ear.day = Day(Herd(), settings.scan)
        event = heard.decision.event
        tries = tries + 1 if event.reason == TALK else 0
        if tries == 0:
            places = [place for place, (_, phrase) in enumerate(waiting) if meanings[phrase] == event.entry]
            for _ in range(min(places, default=0)):
                yield _passed_over(waiting.pop(0)[1])
            yield _said(waiting.pop(0)[1], heard, is_right=bool(places))
        elif tries == _TRIES:
            yield _passed_over(waiting.pop(0)[1])
            tries = 0
        if not waiting:
            return
        prompt(*waiting[0])


def _said(phrase: str, heard: Heard, is_right: bool) -> Said:
    utterance, decision = heard.utterance, heard.decision
    return Said(
        phrase,
        decision.event.heard,
        is_right,
        decision.outcome is Outcome.ACCEPTED,
        utterance.snr_db,
        level_dbfs(utterance.samples),
        utterance.is_clipped,
        is_narrow_band(utterance.samples),
    )


def _passed_over(phrase: str) -> Said:
    return Said(phrase, "", is_right=False, is_taken=False)
