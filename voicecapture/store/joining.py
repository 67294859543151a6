"""Amendments of two copies of a day that do not go together: nobody's counts until somebody settles it.

What is added depends on the two copies alone: either may be added to the other, and as often as anybody likes.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from voicecapture.amend import typed_words
from voicecapture.day import Candidate, Day, Event, EventKind
from voicecapture.language.phrase import Entry, Result
from voicecapture.store.rows import Row, event_columns, read_event

JOINING = "season add"
"""Who amends what two copies say differently."""


@dataclass(frozen=True, slots=True)
class _Group:
    """Amendments that name the same cows or events."""

    keys: frozenset[str | int]
    """Cow numbers, and numbers of events."""
    ours: tuple[Row, ...]
    theirs: tuple[Row, ...]


def disputes(
    begun: Day, held: Sequence[Row], other: Sequence[Row], ours: Sequence[Row], new: Sequence[Row]
) -> list[Row]:
    """The events that follow when two copies of a day are joined: of each cow in dispute a recheck and a question.

    Args:
        begun: The day before its first event.
        held: The events of one copy.
        other: The events of the other.
        ours: Those of `held` that are not in the other.
        new: Those of the other that are not in `held`, numbered to follow them.
    """
    joined = [*held, *new]
    days = [begun.after(*map(read_event, rows)) for rows in (held, other, joined)]
    added: list[Row] = []
    for cow, group in _in_dispute(joined, ours, new):
        found = [day.results[cow][1].entry if cow in day.results else None for day in days]
        if found[0] == found[1] == found[2]:
            continue
        at = max(row["recorded_at"] for row in (*group.ours, *group.theirs))
        for event in _asked(cow, group, found, days[2], len(joined) + len(added) + 1):
            number = len(joined) + len(added) + 1
            added.append({"number": number, **event_columns(event), "recorded_at": at})
    return added


def _in_dispute(joined: Sequence[Row], ours: Sequence[Row], theirs: Sequence[Row]) -> Iterator[tuple[str, _Group]]:
    """Every cow that an amendment of one copy has to do with, where one of the other copy has to do with it too."""
    groups: list[_Group] = []
    for is_ours, row in [*((True, row) for row in ours), *((False, row) for row in theirs)]:
        named = [row[name] for name in ("replaces", "answers") if row[name]]
        cows = {row["cow"], *(joined[number - 1]["cow"] for number in named)} - {None}
        group = _Group(frozenset({row["number"], *named, *cows}), (row,) * is_ours, (row,) * (not is_ours))
        for linked in [g for g in groups if g.keys & group.keys]:
            groups.remove(linked)
            group = _Group(linked.keys | group.keys, linked.ours + group.ours, linked.theirs + group.theirs)
        groups.append(group)
    found = [(key, g) for g in groups if g.ours and g.theirs for key in g.keys if isinstance(key, str)]
    return iter(sorted(found, key=lambda pair: (int(pair[0]), pair[0])))


def _asked(cow: str, group: _Group, found: Sequence[Entry | None], joined: Day, number: int) -> tuple[Event, Event]:
    """The recheck of a cow, with this number, and the question that settles it."""
    sides = zip(found, (group.ours, group.theirs), strict=False)
    said = sorted(f"{_written(entry)} by {', '.join(sorted({r['by_whom'] for r in rows}))}" for entry, rows in sides)
    reason = f"amended in two copies: {'; '.join(said)}"
    rows = (*group.ours, *group.theirs)
    held = joined.results.get(cow)
    recheck = Event(
        EventKind.ACCEPTED,
        max(row["at_s"] for row in rows),
        max((row["utterance"] for row in rows if row["utterance"]), default=None),
        Entry(cow, Result.RECHECK),
        reason,
        replaces=held[0] if held else None,
        by=JOINING,
    )
    offered = sorted({entry for entry in found[:2] if entry is not None}, key=typed_words)
    question = replace(
        recheck,
        kind=EventKind.QUESTION,
        entry=Entry(cow),
        reason=f"cow {cow} was {reason}",
        candidates=tuple(Candidate(entry, 0.5) for entry in offered),
        replaces=number,
    )
    return recheck, question


def _written(entry: Entry | None) -> str:
    return typed_words(entry) if entry is not None else "no result"
