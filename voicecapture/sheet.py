"""The day's sheet: every cow scanned, what is still open, and which cows were missed."""

from collections.abc import Iterator
from datetime import date, timedelta

from voicecapture.day import Day
from voicecapture.language.phrase import Entry, Result

GESTATION_DAYS = 282
"""Commonly accepted mean for New Zealand dairy cattle (Macmillan KL, Curnow RJ 1976, N Z Vet J 24(11):243-252)."""

_CAUTIONS = (
    "Dates are estimates from the age at the scan; twins are usually born earlier.",
    "Do not cull on one early empty result: about 1 in 20 cows found empty by hand calved as if they had been "
    "in calf (Warnick et al. 1995, Theriogenology 44:811-825). Have her looked at again.",
    "The vet's judgement and local rules on treatment, transport and slaughter decide.",
)


def conception_date(scanned_on: date, days: int) -> date:
    """The day of conception: the day of the scan less the age in days."""
    return scanned_on - timedelta(days=days)


def due_date(conceived_on: date, gestation_days: int = GESTATION_DAYS) -> date:
    """The expected calving date: conception or service and the length of gestation."""
    return conceived_on + timedelta(days=gestation_days)


def day_sheet(day: Day, scanned_on: date) -> list[str]:
    """The sheet as lines of text."""
    return [*_summary(day, scanned_on), "", *_cows(day, scanned_on), *_open(day), *_missed(day), "", *_CAUTIONS]


def _summary(day: Day, scanned_on: date) -> Iterator[str]:
    counts = day.counts
    of_herd = f" of {len(day.herd)} in the herd list" if len(day.herd) else ""
    yield f"Scan day {scanned_on.isoformat()}"
    yield f"scanned {counts.scanned}{of_herd}"
    for name, count in (("in calf", counts.in_calf), ("empty", counts.empty), ("recheck", counts.recheck)):
        share = f" ({100 * count / counts.scanned:.0f} % of {counts.scanned})" if counts.scanned else ""
        yield f"{name} {count}{share}"
    yield f"twins {counts.twins} of {counts.in_calf} in calf"
    yield f"questions still open {counts.questions}"


def _cows(day: Day, scanned_on: date) -> Iterator[str]:
    yield f"{'cow':>6}  {'result':<9} {'age':>8}  {'conceived':<10}  {'due':<10}  notes"
    order = [cow for cow in day.herd.animals if cow in day.results]
    order += [cow for cow in day.results if cow not in day.herd.animals]
    for cow in order:
        entry = day.results[cow][1].entry
        if entry is not None:
            yield _cow(entry, scanned_on)


def _cow(entry: Entry, scanned_on: date) -> str:
    age = conceived = due = ""
    if entry.days is not None:
        conception = conception_date(scanned_on, entry.days)
        age, conceived = f"{entry.days} days", conception.isoformat()
        due = due_date(conception).isoformat()
    line = f"{entry.cow:>6}  {_result(entry):<9} {age:>8}  {conceived:<10}  {due:<10}  {', '.join(_notes(entry))}"
    return line.rstrip()


def written_outcome(entry: Entry) -> str:
    """What was found in a cow, for a screen: "in calf 56 days, twins"."""
    age = f" {entry.days} days" if entry.days is not None else ""
    return ", ".join(filter(None, [f"{_result(entry)}{age}", *_notes(entry)]))


def _result(entry: Entry) -> str:
    return "in calf" if entry.result is Result.PREGNANT else str(entry.result or "")


def _notes(entry: Entry) -> list[str]:
    notes = ["twins"] if entry.twins else []
    notes += [entry.stage.value] if entry.stage else []
    notes += [f"in {entry.recheck_weeks} week{'s' if entry.recheck_weeks > 1 else ''}"] if entry.recheck_weeks else []
    return notes + [finding.replace("_", " ") for finding in entry.findings]


def _open(day: Day) -> Iterator[str]:
    if day.questions:
        yield ""
        yield "Questions still open:"
    for event in day.questions.values():
        minutes, seconds = divmod(int(event.at_s), 60)
        yield f"  {minutes:3d}:{seconds:02d}  heard '{event.heard}': {event.reason}"


def _missed(day: Day) -> Iterator[str]:
    missed = [cow for cow in day.herd.animals if cow not in day.results]
    if missed:
        yield ""
        yield f"In the herd list and without a result ({len(missed)}):"
    for start in range(0, len(missed), 15):
        yield "  " + " ".join(f"{cow:>5}" for cow in missed[start : start + 15])
