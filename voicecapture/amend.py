"""Changes made after milking, at the desk: typed, dated, and by somebody who is named. Pure.

Nothing is overwritten: a change is one more event, and so is its undoing.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from voicecapture.day import Day, Event, EventKind
from voicecapture.errors import GrammarError, RecordError
from voicecapture.language.grammar import Grammar
from voicecapture.language.numbers import say_number
from voicecapture.language.phrase import Entry, Result, interpret
from voicecapture.plain_text import shown
from voicecapture.reasons import LATE

ABSENCES = ("absent today", "sold", "died", "dried off, not scanned", "not for scanning")
"""Why a cow of the list was not seen; the reason of a note that names her."""
UNDONE = "undone"
"""The reason of what restores something begins so."""


def read_typed(text: str, grammar: Grammar) -> Entry:
    """What was found, typed in the words that may be spoken: "pregnant 58 days", "empty", "recheck in 3 weeks".

    Raises:
        GrammarError: If it is not one thing that may be said of a cow, or names a cow.
    """
    words = [
        say_number(int(w)) if w.isascii() and w.isdigit() and len(w) < 4 else w
        for w in text.lower().replace(",", " ").split()
    ]
    meanings = grammar.meanings(" ".join(words).split())
    phrases = [phrase for phrase in map(interpret, meanings) if not phrase.corrects and not phrase.caution]
    found = list({p.entry for p in phrases if p.entry and (p.entry.result or p.entry.findings)})
    if len(found) != 1 or found[0].cow is not None:
        raise GrammarError(
            f"'{shown(text)}': not something that is said of a cow; expected words such as 'pregnant 58 days', "
            "'empty' or 'recheck in 3 weeks'. Type it again."
        )
    return found[0]


def typed_words(entry: Entry) -> str:
    """What was found in a cow in the words that `read_typed` takes; empty if nothing was."""
    words = [finding.replace("_", " ") for finding in entry.findings]
    result = entry.result.value if entry.result else ""
    if entry.result is Result.PREGNANT:
        age = f"{entry.days} days" if entry.days is not None else ""
        length = f"crown rump {entry.crown_rump_mm} millimetres" if entry.crown_rump_mm is not None else ""
        stage = entry.stage.value if entry.stage else ""
        result = " ".join(filter(None, [result, age or length, stage, "twins" if entry.twins else ""]))
    elif entry.recheck_weeks:
        result += f" in {entry.recheck_weeks} week{'s' if entry.recheck_weeks > 1 else ''}"
    # Of two findings one is said before the result and one after it.
    return " ".join(filter(None, [*words[:-1], result, *words[-1:]]))


def read_cow(text: str) -> str:
    """A cow number as it is typed.

    Raises:
        GrammarError: If it is none.
    """
    cow = text.strip()
    if not cow.isascii() or not cow.isdigit() or len(cow) > 5:
        raise GrammarError(f"cow '{shown(cow)}': expected 1 to 5 digits. Type her number.")
    return cow


def amendment(day: Day, cow: str, found: Entry | None, by: str, why: str = "", answers: int | None = None) -> Event:
    """The event that sets a cow's result, or takes it away.

    Args:
        day: The day as it stands.
        cow: Her number.
        found: What was found in her, a finding alone beside the result that she has; None to take her result back, or
            with `answers` to say that the question was no entry.
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
    # A question that is no entry says nothing of what she has.
    replaces = held[0] if held and not (found is None and answers is not None) else None
    return Event(
        EventKind.TAKEN_BACK if found is None else EventKind.ACCEPTED,
        at_s,
        entry=Entry(cow=cow) if found is None else _with_findings(found, held[1].entry if held else None, cow),
        reason=_reason(why),
        replaces=replaces,
        answers=answers,
        by=by,
    )


def _with_findings(found: Entry, held: Entry | None, cow: str) -> Entry:
    """What was found in a cow; twins or a finding alone are added to what she has."""
    if held is not None and (more := replace(found, cow=None).added_to(held)) is not None:
        return more
    return replace(found, cow=cow).merged_over(held or Entry(cow))


# ---- what was heard, and what a person makes of it -----------------------------------------------


def counts(day: Day, number: int, told: Event) -> bool:
    """Whether the entry of an event is the result that counts."""
    cow = told.entry.cow if told.entry else None
    return cow is not None and cow in day.results and day.results[cow][0] == number


def settled(day: Day, number: int, told: Event, found: Entry, by: str, why: str = "") -> Event:
    """The event that makes an entry of what was heard, instead of what was made of it.

    Args:
        day: The day as it stands.
        number: Number of the event.
        told: The event: a question, an entry, or what was passed over.
        found: The entry, with its cow.
        by: Who says so.
        why: For a person to read.

    Raises:
        RecordError: If the entry names no cow, or nothing that was found in her.
    """
    if found.cow is None or not (found.result or found.findings):
        raise RecordError(f"cow {found.cow or '?'}: nothing was found in her; expected a result. Say what was found.")
    is_result, held = counts(day, number, told), day.results.get(found.cow)
    # An answered correction takes the place of what it corrects; what was asked to be added to an entry does not.
    is_other_cow = told.entry is not None and told.entry.cow != found.cow
    is_correction = number in day.questions and not (told.reason == LATE and is_other_cow)
    corrected = told.replaces if is_correction else None
    replaces = number if is_result else corrected or (held[0] if held else None)
    return Event(
        EventKind.ACCEPTED,
        told.at_s,
        told.utterance,
        found,
        _reason(why),
        replaces=replaces,
        # What an earlier change settled stays settled.
        answers=told.answers if is_result else number,
        heard=told.heard,
        by=by,
    )


def in_two(
    day: Day, number: int, told: Event, found: tuple[Entry, Entry], by: str, why: str = ""
) -> tuple[Event, Event]:
    """The events that make two entries of what was heard.

    Raises:
        RecordError: If both name one cow, or one names none or nothing that was found.
    """
    if found[0].cow == found[1].cow:
        raise RecordError(f"cow {found[0].cow}: named twice; expected two cows. Correct one number.")
    first = settled(day, number, told, found[0], by, why or "made two entries of it")
    second = settled(day.after(first), number, told, found[1], by, why or "made two entries of it")
    return first, second


def no_entry(day: Day, number: int, told: Event, by: str, why: str = "") -> Event:
    """The event that says: what was heard is no entry."""
    reason = _reason(why or "not an entry")
    if number in day.questions:
        return Event(EventKind.TAKEN_BACK, told.at_s, told.utterance, told.entry, reason, answers=number, by=by)
    if counts(day, number, told):
        return Event(
            *(EventKind.TAKEN_BACK, told.at_s, told.utterance, told.entry, reason),
            replaces=number,
            answers=told.answers,
            by=by,
        )
    return Event(EventKind.NOTE, told.at_s, told.utterance, None, reason, answers=number, by=by)


def right_as_it_is(day: Day, number: int, told: Event, by: str, why: str = "") -> Event:
    """The note that somebody looked at it and leaves it.

    Raises:
        RecordError: If it is an open question, which needs an answer.
    """
    if number in day.questions:
        raise RecordError(f"question {number}: open; expected an answer. Take one, or say that it is no entry.")
    reason = f"looked at: {why or 'right as it is'}"
    return Event(EventKind.NOTE, told.at_s, told.utterance, None, reason, answers=number, by=by)


def absence(cow: str, reason: str, by: str) -> Event:
    """The note why a cow was not seen; `reason` is one of `ABSENCES`."""
    return Event(EventKind.NOTE, 0.0, entry=Entry(cow=cow), reason=reason, by=by)


def absences(events: Iterable[Event]) -> dict[str, str]:
    """Why cows were not seen, by cow, from a day's events."""
    found: dict[str, str] = {}
    for event in events:
        if event.kind is EventKind.NOTE and event.by and event.entry is not None and event.entry.cow is not None:
            found.pop(event.entry.cow, None)
            if event.reason in ABSENCES:
                found[event.entry.cow] = event.reason
    return found


def _reason(why: str) -> str:
    return f"amended: {why}" if why else "amended"


# ---- undoing -------------------------------------------------------------------------------------


def undoing(
    before: Day, now: Day, made: Sequence[tuple[int, Event]], absent: Mapping[str, str], by: str
) -> tuple[Event, ...]:
    """The further events that restore what was before a change.

    Args:
        before: The day before it.
        now: The day after it, and after the undoing of every later change.
        made: The events of the change with their numbers.
        absent: Why cows were not seen, before it.
        by: Who undoes it.
    """
    undone = []
    for cow, (number, event) in now.results.items():
        was = before.results.get(cow)
        if was is None:
            undone.append(_taken_back(event, EventKind.TAKEN_BACK, number, by))
        elif was[1] is not event and _content(was[1]) != _content(event):
            undone.append(_restored(was[1], number, by))
    takers = {event.replaces: number for number, event in made if event.kind is EventKind.TAKEN_BACK}
    undone += [
        _restored(event, takers.get(number), by)
        for cow, (number, event) in before.results.items()
        if cow not in now.results
    ]
    still_open = set(map(_content, now.questions.values()))
    undone += [
        replace(question, answers=None, by=by)
        for question in before.questions.values()
        if _content(question) not in still_open
    ]
    for number, event in made:
        if event.kind is EventKind.NOTE:
            named = event.entry.cow if event.entry else None
            if named is not None and named in absent:
                undone.append(absence(named, absent[named], by))
            else:
                undone.append(_taken_back(event, EventKind.NOTE, number, by))
    return tuple(undone)


def _taken_back(event: Event, kind: EventKind, number: int, by: str) -> Event:
    """What was put on record as `number` does not hold any more."""
    return replace(event, kind=kind, reason=f"{UNDONE}: {event.reason}", replaces=number, answers=None, by=by)


def _restored(event: Event, replaces: int | None, by: str) -> Event:
    """An entry that counts again, and settles again what it settled."""
    return replace(event, reason=f"{UNDONE}: {event.reason}", replaces=replaces, by=by)


def _content(event: Event) -> Event:
    """What was heard and found, whoever put it on record and however often."""
    return replace(event, reason="", replaces=None, answers=None, by="")
