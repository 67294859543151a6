"""What was changed after the day, in words: what counted before each change, and what has since."""

from collections.abc import Iterator

from voicecapture.day import Day, Event, EventKind
from voicecapture.language.phrase import Entry
from voicecapture.reckoning.season import ScanDay
from voicecapture.report.wording import written_outcome


def changes(day: ScanDay) -> Iterator[str]:
    """What each amendment of a day did, in their order: "3: empty -> no result; 4: no result -> empty"."""
    state, spoken = Day(day.day.herd, day.day.kind), list[Event]()
    for event in day.events:
        if not event.by:
            spoken.append(event)
            continue
        before = state.after(*spoken)
        state, spoken = before.after(event), []
        yield _written(day, event, before, state)


def since_signed(day: ScanDay) -> int:
    """How many changes were made after the signature; 0 without one."""
    return sum(bool(event.by) for event in day.events[day.signature.events :]) if day.signature else 0


def _written(day: ScanDay, event: Event, before: Day, after: Day) -> str:
    reason = "" if event.reason == "amended" else event.reason.removeprefix("amended: ")
    if event.kind is EventKind.QUESTION:
        return f"asked: {reason}"
    named = [event, *(day.events[number - 1] for number in (event.replaces, event.answers) if number)]
    cows = list(dict.fromkeys(e.entry.cow for e in reversed(named) if e.entry and e.entry.cow))
    found = [(cow, _found(before, cow), _found(after, cow)) for cow in cows]
    said = [f"{cow}: {_outcome(was)} -> {_outcome(now)}" for cow, was, now in found if was != now]
    if event.answers is not None and event.answers in before.questions:
        is_entry = event.kind is EventKind.ACCEPTED
        said.append(f"{_asked(before.questions[event.answers])} {'settled' if is_entry else 'was no entry'}")
    elif not said and event.kind is not EventKind.NOTE:
        said = [f"{cow}: {_outcome(now)} as before" for cow, _, now in found]
    elif not said:
        said = cows
    return ": ".join(filter(None, ["; ".join(said), reason]))


def _asked(question: Event) -> str:
    minutes, seconds = divmod(int(question.at_s), 60)
    entry = question.entry
    what = f"{entry.cow or ''} {written_outcome(entry)}".strip() if entry else ""
    return f"question at {minutes}:{seconds:02d}{f' ({what})' if what else ''}"


def _found(day: Day, cow: str) -> Entry | None:
    return day.results[cow][1].entry if cow in day.results else None


def _outcome(entry: Entry | None) -> str:
    return written_outcome(entry) if entry is not None else "no result"
