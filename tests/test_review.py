"""What needs a person, in which order; what the desk does to the record; and what hearing again would change."""

from collections import Counter
from dataclasses import replace
from datetime import date
from itertools import chain

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.seasons import empty, in_calf, recheck, scan_day
from voicecapture import amend
from voicecapture.amend import ABSENCES
from voicecapture.bars import BROKEN, DecisionSettings
from voicecapture.day import Candidate, Day, Event, EventKind
from voicecapture.errors import GrammarError, RecordError
from voicecapture.herd import Animal, Herd, Matings, Service
from voicecapture.language.grammar_file import load_grammar
from voicecapture.language.phrase import Entry, Phrase, Result, Stage
from voicecapture.reasons import TALK
from voicecapture.reckoning.season import Season
from voicecapture.reckoning.settings import ReckoningSettings
from voicecapture.recogniser import Certainty, Hearing, Language, Reading
from voicecapture.report.content import make_report
from voicecapture.review import (
    Book,
    Item,
    Need,
    Order,
    Show,
    State,
    alternatives,
    arranged,
    hear_again,
    items,
    to_settle,
    unseen,
)
from voicecapture.segmenter import Utterance
from voicecapture.settings import Settings

ON = date(2027, 2, 9)
BY = "A Vet"
HERD = ("4", "14", "40", "417", "419", "608")
QUESTION = Event(
    *(EventKind.QUESTION, 30.0, 3, in_calf("40", 42), "it may have been another number", 0.8),
    (Candidate(in_calf("40", 42), 0.8), Candidate(in_calf("14", 42), 0.15)),
)


def taken(entry: Entry, at_s: float, probability: float | None = 0.9999, **more: object) -> Event:
    return Event(EventKind.ACCEPTED, at_s, int(at_s), entry, "clearly heard", probability, **more)  # type: ignore[arg-type]


def book(*events: Event, matings: Matings | None = None, herd: tuple[str, ...] = HERD) -> Book:
    day = scan_day(ON, events, herd)
    season = Season((day,), Herd(Animal(cow) for cow in herd), matings or Matings())
    return Book(season, DecisionSettings(), ReckoningSettings(), {}).reckoned()


def the_day(opened: Book) -> Day:
    return opened.season.days[0].day


def changed(opened: Book, *events: Event) -> Book:
    return opened.after(opened.season.days[0].name, events, "2027-02-09T12:00:00.000+00:00")


def needs(opened: Book) -> dict[int, tuple[Need, ...]]:
    return {item.number: item.needs for item in items(opened) if item.needs}


def state(day: Day) -> tuple[dict[str, Entry | None], list[Entry | None]]:
    return {cow: event.entry for cow, (_, event) in day.results.items()}, [e.entry for e in day.questions.values()]


# ---- what needs a person -------------------------------------------------------------------------


def test_what_needs_a_person_comes_in_its_order_and_talk_comes_last() -> None:
    opened = book(
        Event(EventKind.IGNORED, 1.0, 1, reason=TALK),
        taken(empty("4"), 2.0),
        Event(EventKind.IGNORED, 5.0, 5, reason="there is no entry to take back", heard="take that back"),
        taken(in_calf("608", 60), 6.0),
        taken(empty("999"), 7.0),
        taken(empty("419"), 8.0),
        taken(in_calf("419", 50), 9.0),
        taken(empty("417"), 10.0, 0.98),
        replace(QUESTION, at_s=30.0),
        matings=Matings((Service("608", date(2026, 11, 1)),)),
    )
    order = [(item.number, item.needs[:1]) for item in arranged(items(opened), Order.NEED, Show.EVERYTHING, "")]
    assert order == [
        (9, (Need.QUESTION,)),
        (8, (Need.UNSURE,)),
        (7, (Need.TWICE,)),
        (5, (Need.UNLISTED,)),
        (4, (Need.MISFIT,)),
        (3, (Need.NOT_UNDERSTOOD,)),
        *((2, ()), (6, ()), (1, ())),
    ]
    assert to_settle(items(opened)) == 6


@pytest.mark.parametrize(("probability", "is_doubtful"), [(0.98, True), (0.994, True), (0.996, False), (None, False)])
def test_an_entry_near_the_bar_of_asking_is_doubtful(probability: float | None, is_doubtful: bool) -> None:
    # The bar is 0.99: an entry may use up half the risk that it leaves.
    assert (needs(book(taken(empty("4"), 1.0, probability))) == {1: (Need.UNSURE,)}) is is_doubtful


def test_a_correction_is_not_a_cow_scanned_twice_and_an_answered_question_is() -> None:
    first = taken(empty("4"), 1.0)
    assert needs(book(first, taken(in_calf("4", 50), 2.0, replaces=1))) == {}
    asked = Event(EventKind.QUESTION, 2.0, 2, in_calf("4", 50), "4 has been scanned already")
    assert needs(book(first, asked, taken(in_calf("4", 50), 3.0, replaces=1, answers=2))) == {3: (Need.TWICE,)}


def test_what_does_not_fit_is_asked_of_the_cows_last_scan() -> None:
    opened = book(taken(in_calf("4", 60), 1.0), matings=Matings((Service("4", date(2026, 11, 1)),)))
    (item,) = items(opened)
    assert item.needs == (Need.MISFIT,) and "no recorded mating" in item.why
    # Before anything is reckoned, nothing is known to be wrong.
    assert needs(replace(opened, cows={})) == {}


def test_search_order_and_filter() -> None:
    listed = items(book(taken(empty("4"), 1.0), taken(in_calf("417", 56), 2.0, heard="four one seven"), QUESTION))

    def found(search: str, order: Order = Order.TIME, show: Show = Show.EVERYTHING) -> list[str]:
        return [item.cow for item in arranged(listed, order, show, search, frozenset({(listed[0].day, 1)}))]

    assert found("") == ["4", "417", "40"]
    assert found("4") == ["4", "417", "40"] and found("41") == ["417"]
    assert found("seven") == ["417"] and found("calf 56") == [] and found("calf open") == ["40"]
    assert found("", Order.COW) == ["4", "40", "417"] and found("", Order.NEED) == ["40", "4", "417"]
    assert found("", show=Show.TO_SETTLE) == ["40"] and found("", show=Show.COUNTING) == ["4", "417"]
    assert found("", show=Show.AMENDED) == [] and found("", show=Show.WOULD_CHANGE) == ["4"]


def test_alternatives_are_whole_entries_each_once_with_posteriors() -> None:
    again = hear_again(QUESTION, Day(Herd()), UTTERANCE, GRAMMAR, Saying(in_calf("419", 42), 0.7), Settings())
    assert [(c.entry.cow, c.probability) for c in alternatives(QUESTION, again)] == [
        ("40", 0.8),
        ("14", 0.15),
        ("419", 0.7),
    ]
    assert alternatives(replace(QUESTION, candidates=(), entry=Entry("40"))) == []


# ---- changes -------------------------------------------------------------------------------------

ITEMS = (taken(empty("4"), 1.0, 0.98), taken(in_calf("417", 56), 2.0), QUESTION, Event(EventKind.IGNORED, 40.0, 4))


def test_an_answer_settles_the_question_and_is_by_somebody() -> None:
    opened = book(*ITEMS)
    event = amend.settled(the_day(opened), 3, QUESTION, in_calf("14", 42), BY, "listened")
    assert (event.by, event.reason, event.answers, event.utterance) == (BY, "amended: listened", 3, 3)
    after = changed(opened, event)
    assert the_day(after).questions == {} and the_day(after).results["14"][1].entry == in_calf("14", 42)
    assert Need.QUESTION not in {need for found in needs(after).values() for need in found}


def test_an_answered_correction_takes_the_place_of_what_it_corrects() -> None:
    asked = replace(QUESTION, replaces=2)
    day = the_day(book(ITEMS[0], ITEMS[1], asked))
    after = day.after(amend.settled(day, 3, asked, in_calf("14", 42), BY))
    assert set(after.results) == {"4", "14"}


def test_moved_to_another_cow_the_first_has_no_result_any_more() -> None:
    day = the_day(book(*ITEMS))
    after = day.after(amend.settled(day, 2, ITEMS[1], in_calf("608", 56), BY))
    assert {cow: e.entry for cow, (_, e) in after.results.items()} == {"4": empty("4"), "608": in_calf("608", 56)}


def test_two_entries_are_made_of_one_and_never_of_one_cow() -> None:
    day = the_day(book(*ITEMS))
    made = amend.in_two(day, 2, ITEMS[1], (in_calf("417", 56), empty("419")), BY)
    assert {cow: e.entry for cow, (_, e) in day.after(*made).results.items()} == {
        "4": empty("4"),
        "417": in_calf("417", 56),
        "419": empty("419"),
    }
    with pytest.raises(RecordError, match="named twice"):
        amend.in_two(day, 2, ITEMS[1], (empty("417"), in_calf("417", 3)), BY)


def test_no_entry_takes_back_a_result_closes_a_question_and_settles_what_was_passed_over() -> None:
    vain = Event(EventKind.IGNORED, 40.0, 4, reason="there is no entry to take back")
    opened = book(*ITEMS[:3], vain)
    day = the_day(opened)
    after = changed(opened, *(amend.no_entry(day, n, e, BY) for n, e in ((1, ITEMS[0]), (3, QUESTION), (4, vain))))
    assert set(the_day(after).results) == {"417"} and not the_day(after).questions and needs(after) == {}


def test_right_as_it_is_leaves_the_record_as_it_is_and_settles() -> None:
    opened = book(*ITEMS)
    after = changed(opened, amend.right_as_it_is(the_day(opened), 1, ITEMS[0], BY))
    assert state(the_day(after)) == state(the_day(opened)) and 1 not in needs(after) and 1 in needs(opened)
    with pytest.raises(RecordError, match="question 3: open"):
        amend.right_as_it_is(the_day(opened), 3, QUESTION, BY)


def test_an_entry_needs_a_cow_and_something_found() -> None:
    day = the_day(book(*ITEMS))
    for found in (Entry(result=Result.EMPTY), Entry("417")):
        with pytest.raises(RecordError, match="expected a result"):
            amend.settled(day, 2, ITEMS[1], found, BY)


def test_the_second_of_two_scans_is_settled_once_the_first_was_another_cow() -> None:
    opened = book(taken(empty("4"), 1.0), taken(in_calf("4", 50), 2.0))
    assert needs(opened) == {2: (Need.TWICE,)}
    first = items(opened)[0]
    assert first.state is State.CHANGED
    after = changed(opened, amend.settled(the_day(opened), 1, first.event, empty("14"), BY))
    assert needs(after) == {}
    assert {cow: e.entry for cow, (_, e) in the_day(after).results.items()} == {
        "4": in_calf("4", 50),
        "14": empty("14"),
    }


CHANGES = ("take", "move", "two", "none", "leave", "absent")


def a_change(opened: Book, what: str, pick: int, cow: str) -> tuple[Event, ...]:
    """What a person may do to some item; nothing if it cannot be done to it."""
    item, day = items(opened)[pick % len(items(opened))], the_day(opened)
    try:
        match what:
            case "take" | "move":
                entry = empty(cow) if what == "move" else replace(item.event.entry or Entry(), cow=item.cow or cow)
                return (amend.settled(day, item.number, item.event, entry, BY),)
            case "two":
                return amend.in_two(day, item.number, item.event, (empty(cow), recheck("608")), BY)
            case "none":
                return (amend.no_entry(day, item.number, item.event, BY),)
            case "leave":
                return (amend.right_as_it_is(day, item.number, item.event, BY),)
            case _:
                return (amend.absence(cow, ABSENCES[pick % len(ABSENCES)], BY),)
    except RecordError:
        return ()


@given(
    st.lists(st.tuples(st.sampled_from(CHANGES), st.integers(0, 30), st.sampled_from(HERD)), min_size=1, max_size=6)
)
@settings(max_examples=60, deadline=None)
def test_every_change_can_be_undone_and_the_cows_it_touches_are_reckoned_anew(
    wanted: list[tuple[str, int, str]],
) -> None:
    opened = book(*ITEMS, taken(in_calf("417", 60), 50.0), Event(EventKind.IGNORED, 51.0, 6, reason="an answer"))
    was: list[tuple[Book, tuple[tuple[int, Event], ...]]] = []

    def go(events: tuple[Event, ...]) -> None:
        nonlocal opened
        opened = changed(opened, *events)
        assert opened.cows == opened.reckoned().cows

    for what, pick, cow in wanted:
        events = a_change(opened, what, pick, cow)
        if events:
            was.append((opened, tuple(enumerate(events, the_day(opened).length + 1))))
            go(events)
    for before, made in reversed(was):
        absent = amend.absences(before.season.days[0].events)
        go(amend.undoing(the_day(before), the_day(opened), made, absent, BY))
        assert state(the_day(opened)) == state(the_day(before))
        assert amend.absences(opened.season.days[0].events) == absent
        # What was looked at may be asked about again; nothing that needs a person is lost.
        assert not Counter(chain(*needs(before).values())) - Counter(chain(*needs(opened).values()))


# ---- cows not seen -------------------------------------------------------------------------------


def test_cows_not_seen_have_a_reason_once_somebody_gives_one_and_the_sheet_tells_it() -> None:
    opened = changed(book(*ITEMS), amend.absence("608", "sold", BY), amend.absence("419", "absent today", BY))
    assert unseen(opened) == [("14", ""), ("40", ""), ("419", "absent today"), ("608", "sold")]
    sheet = make_report(opened.season, ReckoningSettings())
    rows = {table.title: table.rows for table in sheet.tables}
    assert rows["Not seen"] == (("14 40 419 (absent today) 608 (sold)",),)
    assert [row[2:] for row in rows["Changed after the day"]] == [(BY, "608: sold"), (BY, "419: absent today")]


def test_a_cow_that_was_seen_after_all_is_not_missing() -> None:
    opened = changed(book(*ITEMS), amend.absence("608", "sold", BY))
    question = the_day(opened).questions[3]
    opened = changed(opened, amend.settled(the_day(opened), 3, question, empty("608"), BY))
    assert "608" not in dict(unseen(opened))


# ---- typing --------------------------------------------------------------------------------------

GRAMMAR = load_grammar()


@pytest.mark.parametrize(
    "entry",
    [
        Entry(result=Result.PREGNANT, days=56, twins=True),
        Entry(result=Result.PREGNANT, days=156),
        Entry(result=Result.PREGNANT, crown_rump_mm=30),
        Entry(result=Result.PREGNANT, stage=Stage.EARLY, twins=True),
        Entry(result=Result.PREGNANT, days=59, findings=("lame",)),
        Entry(result=Result.EMPTY, findings=("dead_calf", "cystic")),
        Entry(result=Result.RECHECK, recheck_weeks=1),
        Entry(result=Result.RECHECK, recheck_weeks=3),
        Entry(findings=("infection",)),
    ],
)
def test_what_was_found_is_put_into_the_form_in_words_that_the_form_takes(entry: Entry) -> None:
    assert amend.read_typed(amend.typed_words(entry), GRAMMAR) == entry


@pytest.mark.parametrize("typed", ["", "12a", "123456", "-4", "٤"])
def test_what_is_no_cow_number_is_refused(typed: str) -> None:
    with pytest.raises(GrammarError, match="1 to 5 digits"):
        amend.read_cow(typed)
    assert amend.read_cow(" 0417 ") == "0417"


# ---- hearing again -------------------------------------------------------------------------------

UTTERANCE = Utterance(np.zeros(16_000, np.float32), 27.0, 30.0, 20.0)


class Saying:
    """A recogniser that hears one entry in everything, and remembers what it could expect."""

    def __init__(self, entry: Entry, probability: float) -> None:
        self.entry, self.probability, self.scanned = entry, probability, frozenset[str]()

    def recognise(self, utterance: Utterance, language: Language) -> Hearing:
        self.scanned = language.scanned
        reading = Reading(Phrase(self.entry), "as said", self.probability)
        return Hearing((reading,), "S EH D", 1.0, Certainty(*[self.probability] * 4))


@pytest.mark.parametrize(
    ("entry", "probability", "is_otherwise"),
    [(in_calf("40", 42), 0.999, True), (in_calf("40", 42), 0.8, False), (in_calf("14", 42), 0.8, True)],
)
def test_hearing_again_says_what_would_change(entry: Entry, probability: float, is_otherwise: bool) -> None:
    day = Day(Herd(Animal(cow) for cow in HERD)).after(*ITEMS[:2])
    saying = Saying(entry, probability)
    again = hear_again(QUESTION, day, UTTERANCE, GRAMMAR, saying, Settings())
    assert again.is_otherwise is is_otherwise
    assert saying.scanned == {"4", "417"}


def test_sound_that_was_not_trusted_then_is_not_trusted_now() -> None:
    broken = replace(QUESTION, reason=BROKEN)
    again = hear_again(broken, Day(Herd()), UTTERANCE, GRAMMAR, Saying(in_calf("40", 42), 0.999), Settings())
    assert again.decision.event.kind is EventKind.QUESTION and again.decision.reason == BROKEN


def test_a_second_day_is_listed_after_the_first_and_agrees_with_its_own_clock() -> None:
    days = (
        scan_day(ON, [taken(empty("4"), 900.0)], HERD),
        scan_day(date(2027, 3, 23), [taken(empty("14"), 1.0)], HERD),
    )
    opened = Book(Season(days), DecisionSettings(), ReckoningSettings(), {})
    listed: tuple[Item, ...] = items(opened)
    assert [item.cow for item in listed] == ["4", "14"]


def test_what_a_change_on_one_day_means_for_another_is_told_though_only_changed_days_are_gone_through() -> None:
    # Served 39 days before the first day, 60 days in calf fit no service on either.
    served = Matings((Service("417", date(2027, 1, 1)),))
    first = scan_day(ON, [taken(in_calf("417", 60), 3.0)], HERD)
    second = scan_day(date(2027, 3, 23), [taken(in_calf("417", 60), 3.0)], HERD)
    season = Season((first, second), Herd(Animal(cow) for cow in HERD), served)
    opened = Book(season, DecisionSettings(), ReckoningSettings(), {}).reckoned()
    listed = items(opened)
    assert [item.needs for item in listed] == [(), (Need.MISFIT,)]
    moved = amend.settled(second.day, 1, second.events[0], in_calf("608", 60), BY)
    after = opened.after(second.name, [moved], "2027-03-23T12:00:00.000+00:00")
    again = items(after, opened, listed)
    assert again == items(after)
    assert again[0].needs == (Need.MISFIT,)
