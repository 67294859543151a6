"""Seasons on disk: days of several laptops joined, signed, amended, and compared."""

import shutil
import sqlite3
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from tests.seasons import empty, in_calf, recheck
from tests.test_store import HEARING, UTTERANCE
from voicecapture.amend import amendment, read_typed, settled
from voicecapture.day import Day, Event, EventKind, ScanKind
from voicecapture.errors import GrammarError, RecordError
from voicecapture.herd import Animal, Herd
from voicecapture.language.grammar_file import load_grammar
from voicecapture.language.phrase import Entry, Result
from voicecapture.reckoning.season import ScanDay, Season
from voicecapture.reckoning.settings import ReckoningSettings
from voicecapture.store.adding import Added, add_days
from voicecapture.store.record import Record
from voicecapture.store.season import add_list, amend, read_season, set_mating_start, sign
from voicecapture.verdict import Said, VoiceCheck

HERD = Herd([Animal("417", breed="Jersey"), Animal("608"), Animal("4")])


def taken(entry: Entry, number: int = 1) -> Event:
    return Event(EventKind.ACCEPTED, 3.0 * number, number, entry, "clearly heard", 0.999)


def a_day(path: Path, *entries: Entry, on: date = date(2027, 2, 9), vet: str = "", herd: Herd = HERD) -> Path:
    """A day's file with spoken entries and their sounds."""
    record = Record.open(path)
    day_id = record.start_day(herd, on, ScanKind.AGED, "herd.csv", "microphone", vet)
    for number, entry in enumerate(entries, 1):
        record.keep(day_id, number, UTTERANCE, HEARING, taken(entry, number))
    record.close()
    return path


def joined(path: Path, *days: Path) -> list[Added]:
    record = Record.open(path)
    added = [add_days(record, day) for day in days]
    record.close()
    return added


def season_in(path: Path) -> Season:
    record = Record.open(path)
    season = read_season(record)
    record.close()
    return season


def results(season: Season) -> dict[str, list[Entry]]:
    return {cow: [scan.entry for scan in scans] for cow, scans in season.scans.items()}


def content(path: Path) -> list[str]:
    with sqlite3.connect(path) as connection:
        return list(connection.iterdump())


@pytest.fixture
def season(tmp_path: Path) -> Path:
    return tmp_path / "season.db"


def test_two_vets_days_join_without_losing_or_doubling_anything(tmp_path: Path, season: Path) -> None:
    first = a_day(tmp_path / "first.db", in_calf("417", 56), empty("608"), vet="A")
    second = a_day(tmp_path / "second.db", recheck("4"), on=date(2027, 3, 23), vet="B")
    assert joined(season, first, second) == [Added(1, 2, 0, 0), Added(1, 1, 0, 0)]
    assert results(season_in(season)) == {"417": [in_calf("417", 56)], "608": [empty("608")], "4": [recheck("4")]}
    assert [day.vet for day in season_in(season).days] == ["A", "B"]


def test_the_same_days_again_change_nothing(tmp_path: Path, season: Path) -> None:
    day = a_day(tmp_path / "day.db", in_calf("417", 56), empty("608"))
    joined(season, day)
    before = content(season)
    assert joined(season, day, day) == [Added(), Added()]
    assert content(season) == before


def test_a_day_that_went_on_is_carried_on(tmp_path: Path, season: Path) -> None:
    day = a_day(tmp_path / "day.db", in_calf("417", 56))
    joined(season, day)
    record = Record.open(day)
    record.keep(1, 2, UTTERANCE, HEARING, taken(empty("608"), 2))
    record.close()
    assert joined(season, day) == [Added(0, 1, 0, 0)]
    assert set(results(season_in(season))) == {"417", "608"}


def test_every_sound_comes_along_under_the_name_that_the_season_gives(tmp_path: Path, season: Path) -> None:
    day = a_day(tmp_path / "day.db", in_calf("417", 56), empty("608"))
    joined(season, day, a_day(tmp_path / "other.db", empty("4"), on=date(2027, 3, 23)))
    with sqlite3.connect(season) as connection:
        clips = [season.parent / clip for (clip,) in connection.execute("select clip from utterance")]
    assert len(set(clips)) == 3
    assert all(clip.read_bytes().startswith(b"fLaC") for clip in clips)


def test_a_sound_that_is_not_there_is_counted_and_holds_up_nothing(tmp_path: Path, season: Path) -> None:
    day = a_day(tmp_path / "day.db", in_calf("417", 56), empty("608"))
    next((tmp_path / "day_clips").iterdir()).unlink()
    assert joined(season, day) == [Added(1, 2, 0, 1)]


def amended(path: Path, cow: str, found: Entry | None) -> None:
    """Amend the only day of a file."""
    record = Record.open(path)
    (only,) = read_season(record).days
    amend(record, only.name, amendment(only.day, cow, found, "A Vet"))
    record.close()


def test_a_day_changed_differently_in_two_copies_is_refused_whole(tmp_path: Path, season: Path) -> None:
    day = a_day(tmp_path / "day.db", in_calf("417", 56))
    joined(season, day)
    amended(season, "417", recheck("417"))
    record = Record.open(day)
    record.keep(1, 2, UTTERANCE, HEARING, taken(empty("608"), 2))
    record.close()
    before = content(season)
    with pytest.raises(RecordError, match="changed differently"):
        joined(season, day)
    assert content(season) == before


def test_amendments_of_two_copies_join_once(tmp_path: Path, season: Path) -> None:
    day = a_day(tmp_path / "day.db", in_calf("417", 56), empty("608"))
    joined(season, day)
    amended(season, "4", recheck("4"))
    for found in (in_calf("608", 40), in_calf("608", 42)):
        amended(day, "608", found)
    assert joined(season, day) == [Added(events=2)]
    assert results(season_in(season)) == {
        "417": [in_calf("417", 56)],
        "4": [recheck("4")],
        "608": [in_calf("608", 42)],
    }
    # What replaces what is known by the numbers that the season gives.
    events = season_in(season).days[0].events
    assert [event.replaces for event in events] == [None, None, None, 2, 4]
    assert joined(season, day) == [Added()]
    amended(day, "608", None)
    assert joined(season, day) == [Added(events=1)]
    assert "608" not in results(season_in(season))


def changed(path: Path, *changes: Callable[[ScanDay], Event]) -> Path:
    """Amend the only day of a file by what follows from it."""
    record = Record.open(path)
    for change in changes:
        (only,) = read_season(record).days
        amend(record, only.name, change(only))
    record.close()
    return path


def heard_as(number: int, entry: Entry, by: str) -> Callable[[ScanDay], Event]:
    """Another entry is made of an event."""
    return lambda day: settled(day.day, number, day.events[number - 1], entry, by)


def said_of(cow: str, found: Entry | None, by: str) -> Callable[[ScanDay], Event]:
    return lambda day: amendment(day.day, cow, found, by)


def copies(tmp_path: Path, *events: Entry | Event) -> tuple[Path, Path]:
    """Two copies of one day without sound."""
    record = Record.open(tmp_path / "ann.db")
    day_id = record.start_day(Herd(), date(2027, 2, 9), ScanKind.AGED, "", "microphone")
    for number, event in enumerate(events, 1):
        record.append(day_id, event if isinstance(event, Event) else taken(event, number))
    record.close()
    return tmp_path / "ann.db", Path(shutil.copy(tmp_path / "ann.db", tmp_path / "ben.db"))


def test_what_two_copies_say_differently_is_asked_whichever_comes_first(tmp_path: Path) -> None:
    ann, ben = copies(
        tmp_path,
        in_calf("417", 60),
        Event(EventKind.QUESTION, 20.0, None, empty("20"), "not clearly heard"),
        in_calf("30", 50),
        in_calf("5", 50),
    )
    changed(ann, heard_as(1, in_calf("471", 60), "Ann"), heard_as(2, empty("20"), "Ann"))
    changed(ben, heard_as(1, in_calf("417", 64), "Ben"), heard_as(2, empty("21"), "Ben"))
    changed(ann, said_of("30", empty("30"), "Ann"))
    changed(ben, said_of("30", in_calf("30", 55), "Ben"), said_of("5", in_calf("5", 52), "Ben"))
    for name, order in (("one.db", (ann, ben)), ("other.db", (ben, ann))):
        assert joined(tmp_path / name, *order)[1].twice == ("20", "21", "30", "417", "471")
    one, other = season_in(tmp_path / "one.db"), season_in(tmp_path / "other.db")
    assert results(one) == results(other)
    assert {cow: found[0].result for cow, found in results(one).items()} == dict.fromkeys(
        ("417", "471", "20", "21", "30"), Result.RECHECK
    ) | {"5": Result.PREGNANT}
    asked = [{q.reason for q in season.days[0].day.questions.values()} for season in (one, other)]
    assert asked[0] == asked[1]
    assert "cow 30 was amended in two copies: empty by Ann; pregnant 55 days by Ben" in asked[0]
    assert "cow 471 was amended in two copies: no result by Ben; pregnant 60 days by Ann" in asked[0]


def test_copies_added_again_ask_nothing_again(tmp_path: Path, season: Path) -> None:
    ann, ben = copies(tmp_path, in_calf("417", 60))
    changed(ann, said_of("417", empty("417"), "Ann"))
    changed(ben, said_of("417", in_calf("417", 64), "Ben"))
    joined(season, ann, ben)
    joined(tmp_path / "other.db", ben, ann)
    assert joined(season, ann, ben, tmp_path / "other.db") == [Added()] * 3
    (question,) = season_in(season).days[0].day.questions
    changed(season, heard_as(question, in_calf("417", 64), "Vet"))
    assert joined(season, ann, ben, tmp_path / "other.db") == [Added()] * 3
    assert results(season_in(season)) == {"417": [in_calf("417", 64)]}
    assert joined(tmp_path / "other.db", season)[0].twice == ()
    assert results(season_in(tmp_path / "other.db")) == {"417": [in_calf("417", 64)]}


def test_what_two_copies_say_alike_is_not_asked(tmp_path: Path, season: Path) -> None:
    ann, ben = copies(tmp_path, in_calf("417", 60), in_calf("30", 50))
    changed(ann, said_of("417", empty("417"), "Ann"), said_of("30", None, "Ann"))
    changed(ben, said_of("417", empty("417"), "Ben"), said_of("30", None, "Ben"))
    assert [added.twice for added in joined(season, ann, ben)] == [(), ()]
    assert results(season_in(season)) == {"417": [empty("417")]}


def test_a_cow_that_a_later_change_names_belongs_to_the_dispute(tmp_path: Path, season: Path) -> None:
    ann, ben = copies(tmp_path, in_calf("417", 60))
    changed(ann, heard_as(1, in_calf("471", 60), "Ann"), heard_as(2, in_calf("472", 60), "Ann"))
    changed(ben, heard_as(1, in_calf("417", 64), "Ben"))
    assert joined(season, ann, ben)[1].twice == ("417", "472")
    assert {entry.result for (entry,) in results(season_in(season)).values()} == {Result.RECHECK}


def with_lists(path: Path, matings: str, start: date | None = None) -> Path:
    record = Record.open(path)
    add_list(record, "matings", f"{path.stem}.csv", matings)
    if start is not None:
        set_mating_start(record, start)
    record.close()
    return path


def test_a_mating_list_and_a_start_that_others_replace_are_told(tmp_path: Path, season: Path) -> None:
    full = "cow,served on\n417,2026-12-16\n608,2026-12-20\n"
    first = with_lists(a_day(tmp_path / "first.db", in_calf("417", 56)), full, date(2026, 11, 9))
    second = a_day(tmp_path / "second.db", empty("608"), on=date(2027, 3, 23))
    with_lists(second, "cow,served on\n608,2027-01-20\n", date(2027, 1, 9))
    added = joined(season, first, second, first)
    assert [(found.lists, found.starts) for found in added] == [(1, 1), (1, 1), (0, 0)]
    assert [found.replaced for found in added] == [
        (),
        (
            "the mating list of second.csv with 1 line instead of the mating list of first.csv with 2 lines",
            "mating from 2027-01-09 instead of mating from 2026-11-09",
        ),
        (),
    ]


def test_a_number_that_is_another_animal_is_refused_unless_a_list_says_so(tmp_path: Path, season: Path) -> None:
    here, there = "554123456789012", "554123456700000"
    first = a_day(tmp_path / "first.db", in_calf("417", 56), herd=Herd([Animal("417", here)]))
    second = a_day(
        tmp_path / "second.db", empty("417"), on=date(2027, 3, 23), herd=Herd([Animal("417", there), Animal("4")])
    )
    joined(season, first)
    before = content(season)
    with pytest.raises(RecordError, match="cows 417 have other electronic IDs"):
        joined(season, second)
    assert content(season) == before
    record = Record.open(season)
    add_list(record, "herd", "herd.csv", f"cow,electronic id\n417,{there}\n")
    record.close()
    assert [added.days for added in joined(season, second, first)] == [1, 0]


def test_sounds_that_come_later_are_taken(tmp_path: Path, season: Path) -> None:
    day = a_day(tmp_path / "day.db", in_calf("417", 56))
    (clip,) = (tmp_path / "day_clips").iterdir()
    kept = clip.read_bytes()
    clip.unlink()
    assert joined(season, day)[0].sounds_missing == 1
    clip.write_bytes(kept)
    assert joined(season, day) == [Added()]
    assert [sound.read_bytes() for sound in (tmp_path / "season_clips").iterdir()] == [kept]


def test_a_day_that_went_on_after_it_was_signed_elsewhere_is_refused(tmp_path: Path, season: Path) -> None:
    day = a_day(tmp_path / "day.db", in_calf("417", 56))
    joined(season, day)
    record = Record.open(season)
    sign(record, read_season(record).days[0].name, "A Vet")
    record.close()
    record = Record.open(day)
    record.keep(1, 2, UTTERANCE, HEARING, taken(empty("608"), 2))
    record.close()
    with pytest.raises(RecordError, match="went on after it was signed"):
        joined(season, day)


def test_the_other_file_is_only_read(tmp_path: Path, season: Path) -> None:
    day = a_day(tmp_path / "day.db", in_calf("417", 56))
    data = day.read_bytes()
    joined(season, day)
    assert day.read_bytes() == data


@pytest.mark.parametrize("data", [None, b"", b"not a database"])
def test_a_file_that_is_no_day_is_refused(tmp_path: Path, season: Path, data: bytes | None) -> None:
    other = tmp_path / "other.db"
    if data is not None:
        other.write_bytes(data)
    with pytest.raises(RecordError, match=str(other)):
        joined(season, other)


def test_lists_and_the_start_of_mating_belong_to_the_season(tmp_path: Path, season: Path) -> None:
    day = a_day(tmp_path / "day.db", in_calf("417", 56))
    joined(season, day)
    record = Record.open(season)
    assert add_list(record, "herd", "herd.csv", "cow,born on\n417,2022-08-01\n1206,2021-08-01\n")
    assert add_list(record, "matings", "matings.csv", "cow,served on,sire\n417,2026-12-15,Elder\n")
    assert not add_list(record, "matings", "matings.csv", "cow,served on,sire\n417,2026-12-15,Elder\n")
    known = read_season(record)
    assert known.mating_start == date(2026, 12, 15)
    set_mating_start(record, date(2026, 11, 9))
    known = read_season(record)
    record.close()
    # The later list adds to what the day's list said, and takes nothing from it.
    assert list(known.herd.animals) == ["417", "608", "4", "1206"]
    assert known.herd.animals["417"] == Animal("417", breed="Jersey", born_on=date(2022, 8, 1))
    assert known.mating_start == date(2026, 11, 9)
    other = tmp_path / "practice.db"
    assert joined(other, season)[0].lists == 2
    assert season_in(other).mating_start == date(2026, 11, 9)
    assert joined(other, season) == [Added()]


def test_a_signed_day_is_only_amended(tmp_path: Path) -> None:
    path = a_day(tmp_path / "day.db", in_calf("417", 56))
    record = Record.open(path)
    (day,) = read_season(record).days
    signed = sign(record, day.name, "A Vet")
    assert signed.signature is not None and (signed.signature.vet, signed.signature.events) == ("A Vet", 1)
    assert signed.signature.digest == day.digest
    with pytest.raises(RecordError, match="the day is signed"):
        record.keep(1, 2, UTTERANCE, HEARING, taken(empty("608"), 2))
    with pytest.raises(RecordError, match="signed by A Vet already"):
        sign(record, day.name, "B Vet")
    amend(record, day.name, amendment(signed.day, "417", in_calf("417", 58), "B Vet", "looked again"))
    (amended,) = read_season(record).days
    assert amended.day.results["417"][1].entry == in_calf("417", 58)
    assert [(a.by, a.event.reason) for a in amended.amendments] == [("B Vet", "amended: looked again")]
    # What was signed still is what was signed; the whole record is not.
    assert amended.is_as_signed and day.digest != amended.digest
    record.close()


def test_a_record_that_was_tampered_with_shows(tmp_path: Path) -> None:
    path = a_day(tmp_path / "day.db", in_calf("417", 56))
    record = Record.open(path)
    (day,) = read_season(record).days
    sign(record, day.name, "A Vet")
    record.close()
    with sqlite3.connect(path) as connection:
        connection.execute("drop trigger event_no_update")
        connection.execute("update event set result = 'empty', days = null")
    record = Record.open(path)
    (changed,) = read_season(record).days
    record.close()
    assert changed.signature is not None and not changed.is_as_signed
    assert joined(tmp_path / "season.db", path)[0].not_as_signed == ("2027-02-09",)


def test_a_copy_has_the_same_digest_and_another_day_another(tmp_path: Path, season: Path) -> None:
    day = a_day(tmp_path / "day.db", in_calf("417", 56))
    other = a_day(tmp_path / "other.db", in_calf("417", 56))
    joined(season, day)
    shutil.copy(day, tmp_path / "copy.db")
    digests = [season_in(path).days[0].digest for path in (day, tmp_path / "copy.db", season, other)]
    assert digests[0] == digests[1] == digests[2] != digests[3]


@pytest.mark.parametrize("table", ["day", "signature", "farm_list", "mating_start"])
@pytest.mark.parametrize("change", ["delete from {}", "update {} set id = 7"])
def test_days_lists_and_signatures_are_only_ever_added_to(tmp_path: Path, table: str, change: str) -> None:
    path = a_day(tmp_path / "day.db", in_calf("417", 56))
    record = Record.open(path)
    add_list(record, "herd", "herd.csv", "cow\n417\n")
    set_mating_start(record, date(2026, 11, 9))
    sign(record, read_season(record).days[0].name, "A Vet")
    record.close()
    statement = change.format(table).replace("set id", "set day_id" if table == "signature" else "set id")
    with sqlite3.connect(path) as connection, pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
        connection.execute(statement)


def test_the_views_show_what_the_season_says(tmp_path: Path, season: Path) -> None:
    joined(
        season,
        a_day(tmp_path / "first.db", in_calf("417", 56), recheck("608"), vet="A"),
        a_day(tmp_path / "second.db", empty("608"), on=date(2027, 3, 23), vet="B"),
    )
    with sqlite3.connect(season) as connection:
        found = connection.execute("select cow, result, days, scanned_on, vet from season_result order by cow")
        assert list(found) == [("417", "pregnant", 56, "2027-02-09", "A"), ("608", "empty", None, "2027-03-23", "B")]
        assert list(connection.execute("select cow from not_seen")) == [("4",)]


def test_a_file_of_the_first_version_is_brought_up_to_date(tmp_path: Path) -> None:
    path = a_day(tmp_path / "day.db", in_calf("417", 56))
    older = tmp_path / "older.db"
    with sqlite3.connect(older) as connection:
        # The first version's tables, and in them what it would have held.
        from sqlite_utils import Database

        from voicecapture.store.schema import SCHEMA

        SCHEMA.apply(Database(connection), stop_before="seasons")
        connection.execute("attach ? as newer", [str(path)])
        for table in ("day", "animal", "utterance", "event"):
            columns = ", ".join(row[1] for row in connection.execute(f"pragma main.table_info({table})"))
            connection.execute(f"insert into main.{table} ({columns}) select {columns} from newer.{table}")
        connection.commit()
    shutil.copy(older, tmp_path / "copy.db")
    season, copy = season_in(older), season_in(tmp_path / "copy.db")
    assert results(season) == {"417": [in_calf("417", 56)]}
    # Both copies of one day have one name.
    assert season.days[0].name == copy.days[0].name and season.days[0].digest == copy.days[0].digest


@pytest.mark.parametrize(
    ("typed", "entry"),
    [
        ("pregnant 58 days", Entry(result=Result.PREGNANT, days=58)),
        ("in calf 8 weeks and 3 days twins", Entry(result=Result.PREGNANT, days=59, twins=True)),
        ("Empty", Entry(result=Result.EMPTY)),
        ("recheck in 3 weeks", Entry(result=Result.RECHECK, recheck_weeks=3)),
        ("crown rump 30 millimetres", Entry(result=Result.PREGNANT, crown_rump_mm=30)),
        ("lame", Entry(findings=("lame",))),
    ],
)
def test_what_was_found_is_typed_as_it_is_said(typed: str, entry: Entry) -> None:
    assert read_typed(typed, load_grammar()) == entry


@pytest.mark.parametrize(
    "typed", ["", "pregnant 58", "417 empty", "stop listening", "yes", "very pregnant", "58 days empty"]
)
def test_what_is_not_said_of_a_cow_is_refused(typed: str) -> None:
    with pytest.raises(GrammarError, match="pregnant 58 days"):
        read_typed(typed, load_grammar())


def test_an_amendment_replaces_what_was_held_and_settles_the_question() -> None:
    question = Event(EventKind.QUESTION, 9.0, 2, Entry("608"), "why")
    day = Day(HERD).after(taken(in_calf("417", 56)), question)
    changed = day.after(
        amendment(day, "417", empty("417"), "A Vet"), amendment(day, "608", empty("608"), "A Vet", "", 2)
    )
    assert {cow: event.entry for cow, (_, event) in changed.results.items()} == {
        "417": empty("417"),
        "608": empty("608"),
    }
    assert changed.questions == {}
    assert day.after(amendment(day, "417", None, "A Vet")).results == {}


def test_there_must_be_something_to_take_back_and_a_question_to_answer() -> None:
    with pytest.raises(RecordError, match="no result on this day"):
        amendment(Day(HERD), "417", None, "A Vet")
    with pytest.raises(RecordError, match="question 7: not open"):
        amendment(Day(HERD), "417", empty("417"), "A Vet", "", 7)


def test_nothing_is_changed_beside_a_day_that_is_listened_to(tmp_path: Path) -> None:
    path = a_day(tmp_path / "day.db", in_calf("417", 56))
    (day,) = season_in(path).days
    listening = Record.open(path)
    listening.start_day(HERD, date(2027, 2, 9), ScanKind.AGED, "herd.csv", "microphone")
    other = Record.open(path)
    for change in (
        lambda: amend(other, day.name, amendment(day.day, "417", empty("417"), "A Vet")),
        lambda: sign(other, day.name, "A Vet"),
        lambda: add_list(other, "herd", "herd.csv", "cow\n417\n"),
        lambda: set_mating_start(other, date(2026, 11, 9)),
        lambda: add_days(other, path),
        lambda: other.start_day(HERD, date(2027, 2, 9), ScanKind.AGED, "herd.csv", "microphone"),
    ):
        with pytest.raises(RecordError, match="End the day first"):
            change()
    assert season_in(path).days[0].day.results["417"][1].entry == in_calf("417", 56)
    listening.close()
    amend(other, day.name, amendment(day.day, "417", empty("417"), "A Vet"))
    other.close()
    assert season_in(path).days[0].day.results["417"][1].entry == empty("417")


def test_reading_leaves_the_file_and_its_folder_as_they_are(tmp_path: Path) -> None:
    path = a_day(tmp_path / "day.db", in_calf("417", 56))
    path.with_name("day.db.lock").unlink(missing_ok=True)
    before = {file.name: file.read_bytes() for file in tmp_path.iterdir() if file.is_file()}
    with Record.reading(path) as record:
        assert results(read_season(record)) == {"417": [in_calf("417", 56)]}
    assert {file.name: file.read_bytes() for file in tmp_path.iterdir() if file.is_file()} == before


def test_a_later_mating_list_takes_the_place_of_an_earlier_one(tmp_path: Path) -> None:
    record = Record.open(a_day(tmp_path / "day.db", in_calf("417", 56)))
    add_list(record, "matings", "first.csv", "cow,served on,sire,bull in\n417,2026-12-15,Elder,\n,,Oak,2027-01-05\n")
    add_list(
        record,
        "matings",
        "mended.csv",
        "cow,served on,sire,bull in,bull out\n417,2026-12-15,Ash,,\n,,Oak,2027-01-05,2027-02-01\n",
    )
    matings = read_season(record).matings
    record.close()
    assert [service.sire for service in matings.services] == ["Ash"]
    assert [bull.bull_out for bull in matings.bulls] == [date(2027, 2, 1)]


def test_matings_of_an_earlier_season_do_not_begin_this_one(tmp_path: Path) -> None:
    record = Record.open(a_day(tmp_path / "day.db", in_calf("417", 56)))
    add_list(record, "matings", "m.csv", "cow,served on\n417,2025-12-15\n417,2026-12-15\n")
    assert read_season(record).mating_start == date(2026, 12, 15)
    record.close()


def test_a_herd_list_of_a_later_day_rules_over_an_earlier_one_of_the_farm(tmp_path: Path) -> None:
    path = a_day(tmp_path / "day.db", in_calf("417", 56))
    record = Record.open(path)
    add_list(record, "herd", "herd.csv", "cow,breed\n417,Ayrshire\n")
    assert read_season(record).herd.animals["417"].breed == "Ayrshire"
    record.close()
    a_day(path, in_calf("417", 99), on=date(2027, 3, 23))
    assert season_in(path).herd.animals["417"].breed == "Jersey"


def test_the_views_follow_the_sheet(tmp_path: Path) -> None:
    path = a_day(tmp_path / "day.db", in_calf("417", 56), empty("608"), Entry("4", findings=("lame",)), vet="A")
    joined(path, a_day(tmp_path / "other.db", empty("417"), vet="B"))
    with sqlite3.connect(path) as connection:
        told = dict(connection.execute("select cow, result from season_result").fetchall())
        unseen = connection.execute("select cow from not_seen").fetchall()
    cows = {cow.cow: cow for cow in season_in(path).cows(ReckoningSettings())}
    assert told == {cow: str(known.result) for cow, known in cows.items() if known.result}
    assert told == {"417": "recheck", "608": "empty"} and unseen == [("4",)]


def test_voice_checks_come_along_once(tmp_path: Path, season: Path) -> None:
    day = a_day(tmp_path / "day.db", in_calf("417", 56))
    record = Record.open(day)
    said = Said("five, recheck", "five recheck", True, True, 20.0, -20.0)
    record.keep_voice_check(1, VoiceCheck((said,), "2027-02-09T05:30:00.000+00:00"))
    record.close()
    joined(season, day, day)
    kept = []
    for path in (day, season):
        with sqlite3.connect(path) as connection:
            kept.append(connection.execute("select * from voice_check").fetchall())
    assert len(kept[0]) == 1 and kept[0] == kept[1]
