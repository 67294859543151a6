"""What is said into the vet's ear. Pure: `speaker.py` says it.

Cow numbers are said digit by digit. An age is said as a number and then digit by digit, because fifteen and
fifty sound alike: "say the whole number, then the digits" (US Army rail training text, Rule 206), and
"fifteen; that is one five" (hospital safety notices on look-alike numbers).
"""

import re
from dataclasses import replace

from voicecapture.day import Candidate, Day, Event, EventKind
from voicecapture.decision import Decision, Outcome
from voicecapture.language.numbers import say_digits, say_number
from voicecapture.language.phrase import Command, Entry, Result
from voicecapture.reasons import IN_VAIN, LATE, OTHER, READ_BACK, READER_SAYS, SAY_AGAIN, TALK
from voicecapture.speaker import Tone


def say_age(entry: Entry) -> str:
    """An age, or the length that tells it, with its digits: "fifty six days, five six"; empty without one."""
    if entry.days is not None:
        number, said = entry.days, f"{say_number(entry.days)} days"
    elif entry.crown_rump_mm is not None:
        number, said = entry.crown_rump_mm, f"crown rump {say_number(entry.crown_rump_mm)} millimetres"
    else:
        return ""
    return f"{said}, {say_digits(str(number))}" if number > 9 else said


def say_outcome(entry: Entry) -> str:
    """What was found in a cow."""
    parts = []
    if entry.result is Result.PREGNANT:
        parts.append(f"in calf {say_age(entry)}".strip())
        if entry.stage:
            parts.append(entry.stage.value)
        if entry.twins:
            parts.append("twins")
    elif entry.result is not None:
        parts.append(entry.result.value)
    if entry.recheck_weeks:
        parts.append(f"in {say_number(entry.recheck_weeks)} week{'s' if entry.recheck_weeks > 1 else ''}")
    parts += [finding.replace("_", " ") for finding in entry.findings]
    return ", ".join(parts)


def say_entry(entry: Entry) -> str:
    """A whole entry: the cow, digit by digit, and what was found."""
    return f"{say_digits(entry.cow or '')}, {say_outcome(entry)}"


def say_candidates(candidates: tuple[Candidate, ...]) -> str:
    """The question between two entries; only what differs is asked."""
    first, second = candidates[0].entry, candidates[1].entry
    cow = say_digits(first.cow or "")
    if first.cow != second.cow:
        if replace(first, cow=None) != replace(second, cow=None):
            return f"{say_entry(first)}, or {say_entry(second)}?"
        return f"{cow}, or {say_digits(second.cow or '')}?"
    if say_age(first) and say_age(second) and _without_age(first) == _without_age(second):
        return f"{cow}: {say_age(first)}, or {say_age(second)}?"
    return f"{cow}: {say_outcome(first)}, or {say_outcome(second)}?"


def _without_age(entry: Entry) -> Entry:
    return replace(entry, days=None, crown_rump_mm=None)


def say_doubtful(entry: Entry, reason: str) -> str:
    """The question about one entry; only the field in doubt is asked."""
    cow = say_digits(entry.cow or "")
    match reason.removeprefix(OTHER).strip():
        case "number":
            return f"{cow}?"
        case "age" if say_age(entry):
            return f"{cow}: {say_age(entry)}?"
        case _:
            return f"{cow}: {say_outcome(entry)}?"


def sentence(decision: Decision, day: Day) -> str:
    """What to say about a decision; empty for talk, which is passed over in silence.

    Args:
        decision: What was decided.
        day: The day after it.
    """
    event, counts = decision.event, day.counts
    match event.kind:
        case EventKind.IGNORED:
            return SAY_AGAIN if event.reason.endswith(IN_VAIN) else ""
        case EventKind.NOTE:
            return ""
        case EventKind.ACCEPTED:
            return _say_taken(event, day)
        case EventKind.TAKEN_BACK:
            return _say_taken_back(event, day)
        case EventKind.QUESTION:
            reason = _spoken_reason(decision)
            if event.reason.startswith(READER_SAYS) and len(event.candidates) > 1:
                return f"{reason}?"
            if len(event.candidates) > 1:
                return say_candidates(event.candidates)
            if event.candidates and event.reason.startswith((OTHER, LATE)):
                return say_doubtful(event.candidates[0].entry, event.reason)
            return f"{reason}. {say_entry(event.candidates[0].entry)}?" if event.candidates else f"{reason}?"
        case EventKind.COMMAND:
            if decision.command is None:
                return event.reason
            return {
                Command.STOP: "stopped. Say go on listening",
                Command.GO_ON: "listening",
                Command.SO_FAR: f"{say_number(counts.scanned)} so far",
                Command.LEFT: f"{say_number(counts.left)} left",
                Command.NOTE: "note",
                Command.CORRECT: "correct",
            }.get(decision.command, "")


def _say_taken(event: Event, day: Day) -> str:
    """An entry, and whose result it took the place of if it is another cow's."""
    if event.entry is None:
        return ""
    number, _ = day.results.get(event.entry.cow or "", (0, event))
    other = day.replaced.get(number)
    return say_entry(event.entry) + (f", instead of {say_digits(other)}" if other else "")


def _say_taken_back(event: Event, day: Day) -> str:
    """What was taken back, and what is so now, where that is not plain."""
    cow = event.entry.cow if event.entry else None
    if cow is None:
        return "the question is taken back"
    held = day.results[cow][1].entry if cow in day.results else None
    if held is not None:
        return f"the question is taken back. Still {say_entry(held)}"
    other = day.replaced.get(event.replaces or 0)
    is_missing = other is not None and other not in day.results
    return f"{say_digits(cow)} taken back" + (f". No result for {say_digits(other)}" if other and is_missing else "")


SAVED_AGAIN = "all saved"


def not_saved(said: str) -> str:
    """The read-back of what is not on the disk yet."""
    return f"not saved. {said}" if said else "not saved"


def _spoken_reason(decision: Decision) -> str:
    """The reason of a question with its cow number said digit by digit, and other numbers in words."""
    entry = decision.event.entry
    if decision.reason.startswith(READER_SAYS):
        return re.sub("[0-9]+", lambda cow: say_digits(cow[0]), decision.reason)
    reason = decision.reason
    if entry is not None and entry.cow is not None:
        # At the beginning alone: an age or a length may hold the same figures.
        reason = re.sub(rf"^{entry.cow}(?= (?!days))", say_digits(entry.cow), reason)
    return re.sub(r"\b[0-9]{1,3}\b", lambda number: say_number(int(number[0])), reason)


def tone(decision: Decision) -> Tone | None:
    """The tone before the sentence; none for talk and reads. What was understood in vain is "not heard"."""
    if decision.event.is_read and decision.outcome is not Outcome.QUESTION:
        return None
    if decision.outcome is Outcome.ACCEPTED:
        return Tone.SAVED
    if decision.outcome is Outcome.QUESTION:
        return Tone.QUESTION
    return None if decision.reason in (TALK, READ_BACK) else Tone.NOT_HEARD
