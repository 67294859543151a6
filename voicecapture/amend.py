"""Changes made after milking, at the desk: typed, dated, and by somebody who is named. Pure."""

from dataclasses import replace

from voicecapture.day import Day, Event, EventKind
from voicecapture.errors import GrammarError, RecordError
from voicecapture.language.grammar import Grammar
from voicecapture.language.numbers import say_number
from voicecapture.language.phrase import Entry, interpret


def read_typed(text: str, grammar: Grammar) -> Entry:
    """What was found, typed in the words that may be spoken: "pregnant 58 days", "empty", "recheck in 3 weeks".

    Raises:
        GrammarError: If it is not one thing that may be said of a cow, or names a cow.
    """
    words = [say_number(int(w)) if w.isdigit() and len(w) < 4 else w for w in text.lower().split()]
    meanings = grammar.meanings(" ".join(words).split())
    phrases = [phrase for phrase in map(interpret, meanings) if not phrase.corrects and not phrase.caution]
    found = list({p.entry for p in phrases if p.entry and (p.entry.result or p.entry.findings)})
    if len(found) != 1 or found[0].cow is not None:
        raise GrammarError(
            f"'{text}': not something that is said of a cow; expected words such as 'pregnant 58 days', 'empty' or "
            "'recheck in 3 weeks'. Type it again."
        )
    return found[0]


def amendment(day: Day, cow: str, found: Entry | None, by: str, why: str = "", answers: int | None = None) -> Event:
    """The event that sets a cow's result, or takes it away.

    Args:
        day: The day as it stands.
        cow: Her number.
        found: What was found in her; None to take her result back.
        by: Who changes it.
        why: For a person to read.
        answers: Number of the open question that this settles.

    Raises:
        RecordError: If there is no result to take back, or no such open question.
    """
    held = day.results.get(cow)
    if answers is not None and answers not in day.questions:
        numbers = ", ".join(map(str, day.questions)) or "none"
        raise RecordError(f"question {answers}: not open; open are {numbers}. Name one of them.")
    if found is None and held is None and answers is None:
        raise RecordError(f"cow {cow}: no result on this day to take back. Name a cow with a result.")
    at_s = day.questions[answers].at_s if answers is not None else held[1].at_s if held else 0.0
    return Event(
        EventKind.TAKEN_BACK if found is None else EventKind.ACCEPTED,
        at_s,
        entry=Entry(cow=cow) if found is None else replace(found, cow=cow),
        reason=f"amended: {why}" if why else "amended",
        replaces=held[0] if held else None,
        answers=answers,
        by=by,
    )
