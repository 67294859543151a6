"""The days of other files added to a season, from one laptop or several, without losing or doubling anything."""

import os
import shutil
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, fields
from pathlib import Path

from sqlite_utils import Database

from voicecapture import private
from voicecapture.day import Day, EventKind, ScanKind
from voicecapture.errors import RecordError
from voicecapture.herd import Herd
from voicecapture.lists.herd import parse_herd
from voicecapture.store.clips import clip_file, is_sound, read_clips
from voicecapture.store.joining import disputes
from voicecapture.store.record import Record
from voicecapture.store.rows import Row, digest, read_animal
from voicecapture.store.season import day_rows, read_lists, read_season


@dataclass(frozen=True, slots=True)
class Added:
    """What was new in another file, and what is to be told of it."""

    days: int = 0
    """Days that were not there."""
    events: int = 0
    lists: int = 0
    sounds_missing: int = 0
    """Utterances whose sound is beside neither file."""
    not_as_signed: tuple[str, ...] = ()
    """Dates of days that were changed since they were signed, other than by amendments."""
    twice: tuple[str, ...] = ()
    """Cows of which two copies of a day say different things since they were amended: a question is open of each."""
    starts: int = 0
    """First days of mating that were not there."""
    replaced: tuple[str, ...] = ()
    """What counts now instead of what did before, in words."""


def add_days(record: Record, other: Path) -> Added:
    """Add the days of another file, or what is new in them; all of it or nothing. The other file is only read.

    A day that both files hold must be the same as far as both go; then one of them may go on, or both by amendments.

    Raises:
        RecordError: If the other file cannot be read, a day was changed differently in both, or a cow number is
            another animal there.
    """
    with (
        Record.reading(other) as source,
        record.alone(),
        record.translated(f"the days of {other} could not be added"),
        record.db.atomic(),
    ):
        added = Added()
        # The record can never be mended: nothing comes into it that cannot be read.
        for day in read_season(source).days:
            read_clips(source, day.name)
        before = _ruling(record)
        _check_animals(record, source)
        for row in source.db.query("select * from day order by id"):
            added = _plus(added, _add_day(record, source, row))
        known = {(r["kind"], r["text"], r["added_at"]) for r in record.db.query("select * from farm_list")}
        for row in source.db.query("select * from farm_list order by id"):
            if (row["kind"], row["text"], row["added_at"]) not in known:
                record.add("farm_list", **_without(row, "id"))
                added = _plus(added, Added(lists=1))
        held_starts = {(r["first_on"], r["added_at"]) for r in record.db.query("select * from mating_start")}
        for row in source.db.query("select * from mating_start order by id"):
            if (row["first_on"], row["added_at"]) not in held_starts:
                record.add("mating_start", **_without(row, "id"))
                added = _plus(added, Added(starts=1))
        rules = _ruling(record)
        changed = [(rules[what][1], was) for what, (row, was) in before.items() if rules[what][0] != row]
    return _plus(added, Added(replaced=tuple(f"{now} instead of {was}" for now, was in changed)))


def _ruling(record: Record) -> dict[str, tuple[Row, str]]:
    """The mating list and the start of mating that count, and what is said of them: a later one replaces them."""
    lists = record.db.query("select file, text from farm_list where kind = 'matings' order by added_at, id")
    starts = record.db.query("select first_on from mating_start order by added_at, id")
    found = [("list", row, f"the mating list of {row['file']} with {_lines(row['text'])}") for row in lists]
    found += [("start", row, f"mating from {row['first_on']}") for row in starts]
    return {what: (row, said) for what, row, said in found}


def _lines(text: str) -> str:
    count = sum(bool(line.strip()) for line in text.splitlines()[1:])
    return f"{count} line{'s' * (count != 1)}"


def _check_animals(record: Record, source: Record) -> None:
    """Refuse a number that is one animal here and another there.

    Raises:
        RecordError: If all electronic IDs that the lists give a number differ between the two files.
    """
    ours, theirs = _electronic_ids(record), _electronic_ids(source)
    others = [cow for cow, codes in theirs.items() if cow in ours and not codes & ours[cow]]
    if others:
        raise RecordError(
            f"{source.path}: cows {', '.join(others[:10])}{' and others' * (len(others) > 10)} have other electronic "
            f"IDs than in {record.path}; expected the animals of one farm. Nothing was added. If they have new tags, "
            "first give the season a herd list that says so: voicecapture season records --herd."
        )


def _electronic_ids(record: Record) -> dict[str, set[str]]:
    """Every electronic ID that any list of a file gives a cow number."""
    codes = defaultdict[str, set[str]](set)
    for row in record.db.query("select cow, electronic_id from animal where electronic_id is not null"):
        codes[row["cow"]].add(row["electronic_id"])
    for _, herd in read_lists(record, "herd", parse_herd):
        for cow, animal in herd.animals.items():
            if animal.electronic_id:
                codes[cow].add(animal.electronic_id)
    return codes


def _add_day(record: Record, source: Record, row: Row) -> Added:
    animals, events = day_rows(source.db, row["id"])
    signed = next(source.db.query("select * from signature where day_id = ?", [row["id"]]), None)
    held = next(record.db.query("select * from day where name = ?", [row["name"]]), None)
    held_events: list[Row] = []
    if held is None:
        day_id = record.add("day", **_without(row, "id"))
        for animal in animals:
            record.add("animal", **{**animal, "day_id": day_id})
    else:
        day_id = held["id"]
        held_animals, held_events = day_rows(record.db, day_id)
        if digest(held, held_animals, ()) != digest(row, animals, ()):
            raise _differs(record, source, row)
    new, ours = _new_events(held_events, events)
    both = _common(held_events, events)
    if min(len(held_events), len(events)) > both and not (
        _are_amendments(held_events[both:])
        and _are_amendments(events[both:])
        and (signed is None or signed["events"] <= both or _is_signed(record.db, day_id))
    ):
        raise _differs(record, source, row)
    if held is not None and _is_signed(record.db, day_id) and not _are_amendments(new):
        raise RecordError(
            f"{source.path}: the day of {row['scanned_on']} went on after it was signed in {record.path}; "
            "expected amendments only. Nothing was added. Sign a day when it has ended."
        )
    if not list(record.db.query("select 1 from ending where day_id = ?", [day_id])):
        for ending in source.db.query("select * from ending where day_id = ?", [row["id"]]):
            record.add("ending", **{**_without(ending, "id"), "day_id": day_id})
    missing = _add_utterances(record, source, row, day_id)
    begun = Day(Herd(map(read_animal, animals)), ScanKind(row["scan_kind"]))
    asked = disputes(begun, held_events, events, ours, new) if ours and new else []
    twice = [event["cow"] for event in asked if event["kind"] == EventKind.QUESTION]
    for event in (*new, *asked):
        record.add("event", **_unfiled(event), day_id=day_id)
    _add_signature(record, source, row, day_id, signed)
    _add_voice_checks(record, source, row, day_id)
    is_changed = signed is not None and digest(row, animals, events[: signed["events"]]) != signed["digest"]
    return Added(
        int(held is None),
        len(new) + len(asked),
        0,
        missing,
        (row["scanned_on"],) if is_changed else (),
        tuple(twice),
    )


def _differs(record: Record, source: Record, row: Row) -> RecordError:
    return RecordError(
        f"{source.path}: the day of {row['scanned_on']} is in {record.path} too and was changed differently; "
        "expected one of them to go on where the other ends, or both by amendments. Nothing was added. Keep the copy "
        "that is meant."
    )


def _common(held: Sequence[Row], events: Sequence[Row]) -> int:
    """How many events from the first on are the same in two copies of a day."""
    pairs = zip(held, events, strict=False)
    return next(
        (n for n, (one, other) in enumerate(pairs) if _unfiled(one) != _unfiled(other)),
        min(len(held), len(events)),
    )


def _unfiled(row: Row) -> Row:
    """A row without what depends on the file that it is in."""
    return _without(row, "id", "day_id")


def _new_events(held: Sequence[Row], events: Sequence[Row]) -> tuple[list[Row], list[Row]]:
    """The events that are not held yet, numbered to follow those that are, and those that the other copy lacks.

    Amendments of another copy are known again by everything but their numbers.
    """
    both = _common(held, events)
    places = {_unnumbered(event): event["number"] for event in held[both:]}
    numbers = {number: number for number in range(1, both + 1)}
    new: list[Row] = []
    for event in events[both:]:
        place = places.get(_unnumbered(event))
        numbers[event["number"]] = place or len(held) + len(new) + 1
        if place is None:
            named = {name: numbers.get(event[name]) for name in ("number", "replaces", "answers")}
            new.append({**event, **named})
    of_theirs = {_unnumbered(event) for event in events[both:]}
    return new, [event for event in held[both:] if _unnumbered(event) not in of_theirs]


def _unnumbered(event: Row) -> tuple[object, ...]:
    return tuple(_without(_unfiled(event), "number", "replaces", "answers").values())


def _are_amendments(events: Sequence[Row]) -> bool:
    return all(event["by_whom"] for event in events)


def _is_signed(db: Database, day_id: int) -> bool:
    return bool(list(db.query("select 1 from signature where day_id = ?", [day_id])))


def _add_utterances(record: Record, source: Record, row: Row, day_id: int) -> int:
    """Add the utterances that are new, and copy the sounds that are not there yet; how many are nowhere."""
    missing = 0
    held = {u["number"]: u["clip"] for u in record.db.query("select * from utterance where day_id = ?", [day_id])}
    for utterance in source.db.query("select * from utterance where day_id = ? order by number", [row["id"]]):
        number = utterance["number"]
        clip = held.get(number, f"{record.clips.name}/{row['name']}_{number:05d}.flac")
        missing += not _copy(clip_file(source, utterance["clip"]), clip_file(record, clip))
        if number not in held:
            record.add("utterance", **{**utterance, "day_id": day_id, "clip": clip})
    return missing


def _copy(sound: Path, to: Path) -> bool:
    """Copy a sound, whole or not at all, unless it is there; False if it is nowhere."""
    if is_sound(to):
        return True
    if not is_sound(sound):
        return False
    private.make_folder(to.parent)
    unfinished = to.with_suffix(".part")
    with sound.open("rb") as data, open(unfinished, "wb", opener=private.opener) as copy:
        shutil.copyfileobj(data, copy)
    os.replace(unfinished, to)
    return True


def _add_signature(record: Record, source: Record, row: Row, day_id: int, new: Row | None) -> None:
    held = next(record.db.query("select * from signature where day_id = ?", [day_id]), None)
    if new is None:
        return
    if held is None:
        record.add("signature", **{**new, "day_id": day_id})
    elif _without(held, "day_id") != _without(new, "day_id"):
        raise RecordError(
            f"{source.path}: the day of {row['scanned_on']} is signed by {new['vet']}, and in {record.path} by "
            f"{held['vet']}; expected one signature. Nothing was added. Keep the file whose signature is meant."
        )


def _add_voice_checks(record: Record, source: Record, row: Row, day_id: int) -> None:
    held = {_checked(r) for r in record.db.query("select * from voice_check where day_id = ?", [day_id])}
    for check in source.db.query("select * from voice_check where day_id = ? order by id", [row["id"]]):
        if _checked(check) not in held:
            record.add("voice_check", **_unfiled(check), day_id=day_id)


def _checked(check: Row) -> tuple[object, ...]:
    return tuple(_unfiled(check).values())


def _without(row: Row, *names: str) -> Row:
    return {name: value for name, value in row.items() if name not in names}


def _plus(one: Added, other: Added) -> Added:
    return Added(*(getattr(one, field.name) + getattr(other, field.name) for field in fields(Added)))
