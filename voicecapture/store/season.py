"""Seasons on disk: all days of a file with the farm's lists, signatures and amendments."""

from collections.abc import Callable
from datetime import date
from typing import TypeVar

from sqlite_utils import Database

from voicecapture.day import Day, Event, ScanKind
from voicecapture.errors import HerdError, RecordError
from voicecapture.herd import Herd, Matings
from voicecapture.lists.herd import parse_herd
from voicecapture.lists.matings import parse_matings
from voicecapture.plain_text import one_line
from voicecapture.reckoning.season import Amendment, ScanDay, Season, Signature
from voicecapture.store.record import Record, now
from voicecapture.store.rows import Row, digest, read_animal, read_day, read_event, read_name, read_time

_List = TypeVar("_List")


def read_season(record: Record, day_id: int | None = None, is_digested: bool = True) -> Season:
    """All days of a file as one season, or one day alone.

    Args:
        record: The file.
        day_id: The day alone.
        is_digested: Whether the digests are wanted; they are a quarter of the work.

    Raises:
        RecordError: If it cannot be read, or has no day.
    """
    with record.translated("the season could not be read"):
        rows = record.db.query("select * from day order by scanned_on, started_at")
        days = [scan_day(record, row, is_digested) for row in rows if day_id in (None, row["id"])]
        if not days:
            raise RecordError(f"{record.path}: no scan day in it; expected one or more. Name the file of a day.")
        herds = [(day.started_at, day.day.herd) for day in days] + read_lists(record, "herd", parse_herd)
        mating_lists = read_lists(record, "matings", parse_matings)
        starts = record.db.query("select first_on from mating_start order by added_at desc, id desc")
        with record.undamaged("the first day of mating"):
            start = read_day(next(starts, {"first_on": None})["first_on"])
    # A later herd list rules where it says something; a later mating list takes the place of those before it.
    matings = mating_lists[-1][1] if mating_lists else Matings()
    last_on = max(day.scanned_on for day in days)
    return Season(
        tuple(days),
        Herd.joined(herd for _, herd in sorted(herds, key=lambda kept: kept[0])),
        matings,
        start or matings.began_on(last_on),
    )


def read_lists(record: Record, kind: str, parse: Callable[[str, str], _List]) -> list[tuple[str, _List]]:
    """The lists of a kind ("herd" or "matings") with the times at which they were added, the earliest first.

    Raises:
        RecordError: If one of them cannot be read.
    """
    rows = record.db.query("select * from farm_list where kind = ? order by added_at, id", [kind])
    try:
        return [(row["added_at"], parse(row["text"], row["file"])) for row in rows]
    except HerdError as error:
        raise RecordError(f"{record.path}: a list that is kept in it cannot be read: {error}") from error


def scan_day(record: Record, row: Row, is_digested: bool = True) -> ScanDay:
    """One day of the file from its row.

    Raises:
        RecordError: If it is damaged.
    """
    with record.undamaged("a day"):
        return _scan_day(record, row, is_digested)


def _scan_day(record: Record, row: Row, is_digested: bool) -> ScanDay:
    animals, events = day_rows(record.db, row["id"])
    if [event["number"] for event in events] != list(range(1, len(events) + 1)):
        raise ValueError("events are missing")
    read = tuple(map(read_event, events))
    if any(number > len(events) for event in read for number in (event.replaces, event.answers) if number):
        raise ValueError("an event names one that is not there")
    signed = next(record.db.query("select * from signature where day_id = ?", [row["id"]]), None)
    times = tuple(event["recorded_at"] and read_time(event["recorded_at"]) for event in events)
    scanned_on = read_day(row["scanned_on"])
    if scanned_on is None:
        raise ValueError("no date")
    signature = None
    if signed is not None:
        signed_at = read_time(signed["signed_at"])
        signature = Signature(one_line(signed["vet"]), signed_at, signed["events"], one_line(signed["digest"]))
    return ScanDay(
        read_name(row["name"]),
        scanned_on,
        read_time(row["started_at"]),
        one_line(row["vet"]),
        Day(Herd(map(read_animal, animals)), ScanKind(row["scan_kind"])).after(*read),
        times,
        digest(row, animals, events) if is_digested else "",
        signature,
        tuple(Amendment(at, event.by, event) for at, event in zip(times, read, strict=True) if event.by),
        read,
        signature is None or not is_digested or digest(row, animals, events[: signature.events]) == signature.digest,
    )


def day_rows(db: Database, day_id: int) -> tuple[list[Row], list[Row]]:
    """The rows of a day: its herd list and its events, in their order."""
    animals = list(db.query("select * from animal where day_id = ? order by position", [day_id]))
    return animals, list(db.query("select * from event where day_id = ? order by number", [day_id]))


def add_list(record: Record, kind: str, file: str, text: str) -> bool:
    """Keep a herd or mating list with the season; False if the last one of its kind is the same.

    Args:
        record: The file.
        kind: "herd" or "matings".
        file: Where the list came from.
        text: The list, already read without a fault.

    Raises:
        RecordError: If it could not be written.
    """
    with record.alone(), record.translated("the list could not be kept"):
        last = next(record.db.query("select text from farm_list where kind = ? order by id desc", [kind]), None)
        if last is not None and last["text"] == text:
            return False
        record.add("farm_list", kind=kind, file=file, text=text, added_at=now())
    return True


def set_mating_start(record: Record, first_on: date) -> list[date]:
    """Keep the first day of mating; the day kept last counts.

    Returns:
        The scan days before it, which are of an earlier season.

    Raises:
        RecordError: If it is after the last scan day, or could not be written.
    """
    with record.alone(), record.translated("the start of mating could not be kept"):
        with record.undamaged("a day"):
            rows = record.db.query("select distinct scanned_on from day order by scanned_on")
            days = [date.fromisoformat(row["scanned_on"]) for row in rows]
        if days and first_on >= days[-1]:
            raise RecordError(
                f"{record.path}: mating from {first_on}, and the last scan was on {days[-1]}; expected a day before "
                "it. Nothing was changed. Check the year."
            )
        record.add("mating_start", first_on=first_on.isoformat(), added_at=now())
    return [day for day in days if day <= first_on]


def sign(record: Record, day_name: str, vet: str) -> ScanDay:
    """Put a vet's name under a day; from then on it can only be amended.

    Raises:
        RecordError: If the day is signed already or still goes on, or it could not be written.
    """
    with record.alone(), record.translated("the day could not be signed"), record.db.atomic():
        (row,) = record.db.query("select * from day where name = ?", [day_name])
        day = scan_day(record, row)
        if day.signature is not None:
            raise RecordError(
                f"{record.path}: the day of {day.scanned_on} was signed by {day.signature.vet} already. "
                "What must change now is an amendment: voicecapture amend."
            )
        record.add(
            "signature",
            day_id=row["id"],
            vet=vet,
            signed_at=now(),
            events=day.day.length,
            open_questions=len(day.day.questions),
            digest=day.digest,
        )
        return scan_day(record, row)


def amend(record: Record, day_name: str, *events: Event, seen: int | None = None) -> None:
    """Add a change that somebody made after the day, whose name is in its events; all of it or nothing.

    Args:
        record: The file.
        day_name: The day's own name.
        events: The change.
        seen: Number of events that the change goes by, if it names any by number.

    Raises:
        RecordError: If the day went on meanwhile, or it could not be written.
    """
    assert all(event.by for event in events)
    with record.alone(), record.translated("the amendment could not be kept"), record.db.atomic():
        (row,) = record.db.query(
            "select id, (select count(*) from event where day_id = day.id) as events from day where name = ?",
            [day_name],
        )
        if seen is not None and row["events"] != seen:
            raise RecordError(
                f"{record.path}: the day went on meanwhile ({row['events']} events; expected {seen}). "
                "Nothing was changed; look again."
            )
        for event in events:
            record.append(row["id"], event)
