"""What the sheet says of every change made after the day."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date

from tests.seasons import empty, in_calf, scan_day
from voicecapture.amend import absence, amendment, no_entry, right_as_it_is, settled
from voicecapture.day import Event, EventKind
from voicecapture.language.phrase import Entry, Result
from voicecapture.reasons import LATE
from voicecapture.reckoning.season import ScanDay, Signature
from voicecapture.report.changes import changes, since_signed

QUESTION = Event(EventKind.QUESTION, 80.0, entry=in_calf("4", 70), reason="not clearly heard")


def amended(*made: Callable[[ScanDay], Event]) -> ScanDay:
    """A day of four things that were heard, and what was made of them at the desk."""
    heard: list[Event] = [Event(EventKind.ACCEPTED, 3.0, entry=e) for e in (in_calf("1", 60), in_calf("2", 60))]
    heard += [Event(EventKind.ACCEPTED, 3.0, entry=empty("3")), QUESTION]
    for make in made:
        heard.append(make(scan_day(date(2027, 2, 9), heard)))
    return scan_day(date(2027, 2, 9), heard)


def test_what_was_taken_back_reads_so() -> None:
    day = amended(
        lambda d: amendment(d.day, "1", None, "Ann"), lambda d: no_entry(d.day, 2, d.events[1], "Ann", "a gate")
    )
    assert list(changes(day)) == ["1: in calf 60 days -> no result", "2: in calf 60 days -> no result: a gate"]


def test_an_entry_that_moves_to_another_cow_tells_both() -> None:
    day = amended(lambda d: settled(d.day, 3, d.events[2], empty("4"), "Ann"))
    assert list(changes(day)) == ["3: empty -> no result; 4: no result -> empty"]


def test_late_twins_settled_as_another_cows_leave_the_entry_that_they_were_asked_with() -> None:
    late = Event(EventKind.QUESTION, 90.0, entry=replace(in_calf("1", 60), twins=True), reason=LATE, replaces=1)
    day = amended(lambda d: late, lambda d: settled(d.day, 5, d.events[4], in_calf("9", 60), "Ann"))
    assert {"1", "9"} <= set(day.day.results) and 5 not in day.day.questions
    hers = amended(
        lambda d: late, lambda d: settled(d.day, 5, d.events[4], replace(in_calf("1", 60), twins=True), "Ann")
    )
    assert hers.day.results["1"][0] == 6 and "9" not in hers.day.results


def test_twins_added_at_the_desk_keep_the_age() -> None:
    day = amended(lambda d: amendment(d.day, "1", Entry(result=Result.PREGNANT, twins=True), "Ann"))
    assert day.day.results["1"][1].entry == replace(in_calf("1", 60), twins=True)


def test_a_question_tells_how_it_was_settled() -> None:
    refused = amended(lambda d: no_entry(d.day, 4, d.events[3], "Ann", "talk"))
    assert list(changes(refused)) == ["question at 1:20 (4 in calf 70 days) was no entry: talk"]
    answered = amended(lambda d: settled(d.day, 4, d.events[3], in_calf("4", 71), "Ann"))
    assert list(changes(answered)) == [
        "4: no result -> in calf 71 days; question at 1:20 (4 in calf 70 days) settled"
    ]


def test_a_word_on_a_cow_that_changes_nothing_says_so() -> None:
    day = amended(
        lambda d: right_as_it_is(d.day, 1, d.events[0], "Ann"),
        lambda d: absence("9", "sold", "Ann"),
        lambda d: amendment(d.day, "1", in_calf("1", 60), "Ann"),
    )
    assert list(changes(day)) == ["1: looked at: right as it is", "9: sold", "1: in calf 60 days as before"]


def test_only_what_came_after_the_signature_counts_as_a_change_since() -> None:
    day = amended(lambda d: amendment(d.day, "1", None, "Ann"), lambda d: amendment(d.day, "2", empty("2"), "Ann"))
    assert since_signed(day) == 0
    assert since_signed(replace(day, signature=Signature("Ann", "", 5, ""))) == 1
