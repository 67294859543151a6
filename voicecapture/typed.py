"""A line typed by hand, decided on as if it had been said: the same words, the same checks, and no doubt of hearing.

Pure. Somebody may type while the vet goes on calling cows, so what leans on the words before it ("first",
"correction", "take that back") counts only for what stood on the screen when it was typed.
"""

from dataclasses import replace

from voicecapture.bars import DecisionSettings as Bars
from voicecapture.day import Day, EventKind
from voicecapture.decision import Decision, Outcome, decide
from voicecapture.herd import Herd
from voicecapture.language.grammar import Grammar
from voicecapture.language.phrase import Command, Phrase
from voicecapture.reasons import CLEARLY, TALK
from voicecapture.recogniser import Certainty, Hearing, Language, Reading, certainty_of
from voicecapture.recogniser.words import readings_of

TYPED = "typed: "
"""What is `heard` in an event that was typed begins so; such an event has no utterance."""
NOT_UNDERSTOOD = "typed, but nothing that may be said: see what can be said, and type it again"
CHANGED = "typed, but something else happened meanwhile: look again"
_LEANING = (Command.TAKE_BACK, Command.CORRECT)


def hear_typed(line: str, grammar: Grammar) -> Hearing:
    """What a typed line may mean, as surely as typing is.

    The spaces tell where a number ends: "417 58 days" is cow 417 and never cow 4175.
    """
    words = line.lower().replace(",", " ").replace(".", " ").split()
    # Without a herd list: what sounds like a number is not what was typed.
    readings = readings_of([(words, 0.0)], Language(grammar, Herd()))
    kept = tuple(r for r in readings if r.phrase.entry is None or r.phrase.entry.cow in words) or readings
    total = sum(reading.probability for reading in kept)
    kept = tuple(replace(reading, probability=reading.probability / total) for reading in kept)
    certainty = Certainty(1.0, 1.0, 1.0, 1.0) if len(kept) == 1 else certainty_of(kept)
    return Hearing(kept, line, 0.0, certainty)


def decide_typed(line: str, seen: Day, day: Day, at_s: float, grammar: Grammar, bars: Bars) -> Decision:
    """Decide on a typed line.

    Args:
        line: As typed, in the words that may be spoken; cow numbers and ages may be in digits.
        seen: The day that was on the screen when it was typed.
        day: The day as it stands.
        at_s: Now, on the audio clock, seconds.
        grammar: What may be said.
        bars: Those of speech.
    """
    hearing = hear_typed(line, grammar)
    is_same = (seen.last, seen.current) == (day.last, day.current)
    is_same_gate = [read.code for read in seen.gate.open] == [read.code for read in day.gate.open]
    # Who types says so although the listening is stopped, and means no correction that somebody else began.
    open_day = replace(day, is_stopped=False, correcting_s=None)
    # The question that is on the screen may be answered however long ago it was asked.
    asked_s = day.questions[day.current].at_s if is_same and day.current is not None else at_s
    decision = decide(hearing, open_day, 0, asked_s, at_s, bars)
    best = hearing.readings[0] if hearing.readings else None
    if best and ((_leans(best) and not is_same) or (_is_result_alone(best) and not is_same_gate)):
        ignored = replace(
            decision.event,
            kind=EventKind.IGNORED,
            reason=CHANGED,
            entry=None,
            probability=None,
            candidates=(),
            replaces=None,
            answers=None,
        )
        decision = Decision(Outcome.IGNORED, ignored)
    event = decision.event
    return replace(
        decision, event=replace(event, utterance=None, reason=_reason(event.kind, event.reason), heard=TYPED + line)
    )


def _leans(reading: Reading) -> bool:
    """Whether a phrase means something only together with what came before it."""
    phrase: Phrase = reading.phrase
    is_part = phrase.entry is not None and not phrase.entry.is_whole
    return phrase.answer is not None or phrase.corrects or phrase.command in _LEANING or is_part


def _is_result_alone(reading: Reading) -> bool:
    """Whether a phrase means the cow at the gate, if there is one."""
    phrase: Phrase = reading.phrase
    return phrase.entry is not None and phrase.entry.cow is None and not phrase.corrects


def _reason(kind: EventKind, reason: str) -> str:
    match kind:
        case EventKind.ACCEPTED:
            return "typed" if reason == CLEARLY else f"typed, {reason.removeprefix(f'{CLEARLY}, ')}"
        case EventKind.NOTE:
            return "a typed note"
        case EventKind.IGNORED if reason == TALK:
            return NOT_UNDERSTOOD
        case _:
            return reason
