"""What the desk shows of one item, in words. Pure."""

import textwrap
from datetime import date

from voicecapture.day import Event, EventKind
from voicecapture.desk.sitting import Sitting
from voicecapture.herd import Animal
from voicecapture.reckoning.cow import CowReckoning, services_of
from voicecapture.report.wording import written_outcome
from voicecapture.review import Item, Reheard, State, alternatives

LABEL_COLUMNS = 9
_AROUND = 2
"""Neighbours in time, on each side."""
_STATES = {State.OPEN: "?", State.COUNTS: "✓", State.CHANGED: "✗", State.PASSED: "·"}
_KINDS = {
    EventKind.ACCEPTED: "taken",
    EventKind.QUESTION: "asked",
    EventKind.IGNORED: "passed over",
    EventKind.TAKEN_BACK: "taken back",
    EventKind.COMMAND: "command",
    EventKind.NOTE: "note",
}

Line = tuple[str, str]
"""A label, empty where the line goes on, and what stands behind it."""


def clock(at_s: float) -> str:
    """A time of the day's audio clock: "12:41"."""
    minutes, seconds = divmod(int(at_s), 60)
    return f"{minutes}:{seconds:02d}"


def share(probability: float) -> str:
    """A posterior as a percentage that never rounds up to certain."""
    percent = 100 * probability
    return f"{percent:.0f} %" if percent in (0.0, 100.0) else f"{min(99.9, max(0.1, percent)):.1f} %"


def wrapped(lines: list[Line], columns: int) -> list[Line]:
    """Lines that fit, the labels in a column of their own."""
    width = max(20, columns - LABEL_COLUMNS)
    return [
        ("" if place else label, part)
        for label, text in lines
        for place, part in enumerate(textwrap.wrap(text, width) or [""])
    ]


def row(item: Item, is_otherwise: bool) -> tuple[str, str, str, str, str, str]:
    """The cells of an item in the list: sign, need, time, cow, what, why."""
    sign = "≠" if is_otherwise else "!" if item.needs else _STATES[item.state]
    by = f"by {item.event.by}" if item.event.by else ""
    need = item.needs[0].value if item.needs else item.state.value
    why = item.why or by or item.event.reason.replace("_", " ")
    return sign, need, clock(item.event.at_s), item.cow, item.what, why


def detail(sitting: Sitting, item: Item) -> list[Line]:
    """Everything about an item, what settles it first."""
    needs = ", ".join(need.value for need in item.needs)
    return [
        ("heard", f'"{item.event.heard}"' if item.event.heard else "-"),
        *_alternatives(item, sitting.reheard.get((item.day, item.number))),
        *([("look at", f"{needs}: {item.why}")] if needs else []),
        *_cows(sitting, item),
        *_then(sitting, item),
        *_changed(sitting, item),
        *_around(sitting, item),
    ]


def _then(sitting: Sitting, item: Item) -> list[Line]:
    """What was made of it, and how it sounded."""
    event, clip = item.event, sitting.clip(item)
    day = sitting.book.day(item.day)
    made = _KINDS[event.kind] + (f", {event.reason.replace('_', ' ')}" if event.reason else "")
    unheard = "no sound: from the reader" if event.is_read else "no sound: typed"
    sound = unheard if clip is None else f"{clip.end_s - clip.start_s:.1f} s of sound"
    if clip is not None and clip.snr_db is not None:
        sound += f", voice {clip.snr_db:.0f} dB over the shed"
    lines: list[Line] = [("then", f"{made} ({sound}; {day.scanned_on} at {clock(event.at_s)})")]
    if clip is not None and clip.heard != event.heard:
        lines.append(("sounded", clip.heard))
    return lines


def _alternatives(item: Item, again: Reheard | None) -> list[Line]:
    lines: list[Line] = []
    for place, candidate in enumerate(alternatives(item.event, again), 1):
        entry, is_now = candidate.entry, candidate.entry == item.event.entry and item.state is State.COUNTS
        label = "" if place > 1 else "may be"
        of_now = ", as it counts now" if is_now else ""
        written = f"{place}: {entry.cow} {written_outcome(entry)}, {share(candidate.probability)}{of_now}"
        lines.append((label, written))
    if again is not None:
        event = again.decision.event
        entry_now = f"{event.entry.cow or '-'} {written_outcome(event.entry)}" if event.entry else event.heard
        sure = f" {share(event.probability)}" if event.probability is not None else ""
        verdict = "otherwise" if again.is_otherwise else "the same"
        lines.append(("today", f"{verdict}: {_KINDS[event.kind]}, {entry_now}{sure} ({event.reason})"))
    return lines


def _cows(sitting: Sitting, item: Item) -> list[Line]:
    """History and services of the cow, and of every other that may have been meant."""
    again = sitting.reheard.get((item.day, item.number))
    named = [item.cow, *(c.entry.cow or "" for c in alternatives(item.event, again))]
    scanned_on = sitting.book.day(item.day).scanned_on
    lines: list[Line] = []
    for cow in dict.fromkeys(filter(None, named)):
        lines.append((f"cow {cow}", _history(sitting, cow)))
        lines.append(("", _matings(sitting, cow, scanned_on)))
        found = sitting.book.cows.get(cow)
        lines += [("", _expected(found))] if found is not None and found.calving is not None else []
    return lines


def _history(sitting: Sitting, cow: str) -> str:
    scans = [scan for day in sitting.book.season.days for scan in day.scans_of(cow)]
    if scans:
        return "; ".join(f"{scan.scanned_on} {written_outcome(scan.entry)}" for scan in scans)
    return "no result" if cow in sitting.book.season.herd else "no result, not in the herd list"


def _matings(sitting: Sitting, cow: str, scanned_on: date) -> str:
    season = sitting.book.season
    animal = season.herd.animals.get(cow, Animal(cow))
    told = [
        f"served {s.served_on} ({(scanned_on - s.served_on).days} days before){f' by {s.sire}' if s.sire else ''}"
        for s in services_of(animal, season.matings)
    ]
    told += [
        f"bull {b.sire or ''} in {b.bull_in}, {f'out {b.bull_out}' if b.bull_out else 'still in'}".replace("  ", " ")
        for b in season.matings.bulls_of(cow)
    ]
    return "; ".join(told) or "no recorded mating"


def _expected(found: CowReckoning) -> str:
    assert found.calving is not None
    return f"expected to calve {found.calving.due_on}"


def _changed(sitting: Sitting, item: Item) -> list[Line]:
    """What the desk did about it, and what took its place on the day."""
    day = sitting.book.day(item.day)
    told = [
        f"{at[:16].replace('T', ' ')} UTC {event.by or 'on the day'}: {_made(event)}"
        for at, event in zip(day.recorded_at, day.events, strict=True)
        if (event.answers == item.number or event.replaces == item.number)
        and (event.by or event.kind is not EventKind.QUESTION)
    ]
    return [("" if place else "changed", line) for place, line in enumerate(told)]


def _made(event: Event) -> str:
    entry = f"{event.entry.cow or ''} {written_outcome(event.entry)}".strip() if event.entry else ""
    kind = "taken back" if event.kind is EventKind.TAKEN_BACK else ""
    return ", ".join(filter(None, [kind, entry, event.reason]))


def _around(sitting: Sitting, item: Item) -> list[Line]:
    """What was said just before and after it."""
    day = [other for other in sitting.items if other.day == item.day and (not other.event.by or other is item)]
    place = next((n for n, other in enumerate(day) if other.number == item.number), None)
    if place is None:
        return []
    before, after = day[max(0, place - _AROUND) : place], day[place + 1 : place + 1 + _AROUND]
    return [
        ("" if place else label, f"{clock(other.event.at_s)} {other.cow} {other.what}")
        for label, others in (("before", before), ("after", after))
        for place, other in enumerate(others)
    ]
