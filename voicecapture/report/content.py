"""What stands on the sheet, whatever it is written on."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from voicecapture.amend import absences
from voicecapture.language.phrase import Result
from voicecapture.reads import unmatched
from voicecapture.reckoning.benchmarks import Benchmark, benchmarks_for
from voicecapture.reckoning.cow import CowReckoning
from voicecapture.reckoning.intervals import Share
from voicecapture.reckoning.measures import (
    HerdFigures,
    herd_figures,
    last_day_of,
    pregnancy_share,
    two_round_in_calf,
)
from voicecapture.reckoning.season import ScanDay, Season
from voicecapture.reckoning.settings import ReckoningSettings
from voicecapture.reckoning.year_round import YearRoundFigures, year_round_figures
from voicecapture.report.changes import changes, since_signed
from voicecapture.report.wording import (
    cow_notes,
    written_age,
    written_bounds,
    written_conception,
    written_day,
    written_outcome,
    written_result,
    written_share,
    written_sire,
)

CAUTIONS = (
    "Dates are estimates from the age at the scan, the recorded matings and the usual length of gestation; twins "
    "are usually born earlier.",
    "Do not cull on one early empty result: about 1 in 20 cows found empty by hand calved as if they had been "
    "in calf (Warnick et al. 1995, Theriogenology 44:811-825). Have her looked at again.",
    "A pregnancy found before day 45 may still be lost: of those seen at days 30 to 45 about 13 % are, at "
    "days 45 to 60 about 7 % (Albaaj et al. 2023, JDS Communications 4:144-148); of 526 cows scanned at days 28 to "
    "35, 9 % lost it before 13 weeks (Nation et al. 2003, Aust Vet J 81:63-65).",
    "Twins are lost more often, 28.8 % after days 36 to 42 where singles were 7.7 % (López-Gatius et al. 2004, "
    "Reprod Domest Anim 39:429-433), and twins counted before day 60 are not sure.",
    "Transport and slaughter in late pregnancy are limited by law in many places. The vet's judgement and local "
    "rules on treatment, transport and slaughter decide.",
)


@dataclass(frozen=True, slots=True)
class Figure:
    """One measure of the herd."""

    name: str
    text: str
    """Count, denominator, share and its 95 % interval."""
    benchmarks: tuple[Benchmark, ...] = ()


@dataclass(frozen=True, slots=True)
class Table:
    """One list of the sheet."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    explanation: str = ""


@dataclass(frozen=True, slots=True)
class Report:
    """The sheet."""

    title: str
    figures: tuple[Figure, ...]
    calving: tuple[str, ...]
    """Sentences on the calvings to come."""
    tables: tuple[Table, ...]
    herd: HerdFigures
    mating_start: date | None
    cautions: tuple[str, ...] = CAUTIONS


def make_report(season: Season, settings: ReckoningSettings) -> Report:
    """Everything that stands on the sheet of a season."""
    cows = season.cows(settings)
    herd = herd_figures(cows, season.matings, season.mating_start)
    on = season.last_on or date.min
    year_round = year_round_figures(cows, season.matings, on) if season.last_on else None
    days = ", ".join(day.scanned_on.isoformat() for day in season.days)
    return Report(
        f"Pregnancy scan, {days}",
        tuple(_figures(herd, year_round, season.mating_start)),
        tuple(_calving(herd)),
        tuple(table for table in _tables(season, cows) if table.rows),
        herd,
        season.mating_start,
    )


def _figures(herd: HerdFigures, year_round: YearRoundFigures | None, mating_start: date | None) -> Iterator[Figure]:
    yield Figure("scanned", written_share(herd.scanned))
    yield Figure("in calf", written_share(herd.in_calf))
    yield Figure("empty", written_share(herd.empty))
    yield Figure("recheck", written_share(herd.recheck))
    yield Figure("twins, of those in calf", written_share(herd.twins), benchmarks_for("twins"))
    yield Figure("not in calf, of the eligible", written_bounds(herd.not_in_calf), benchmarks_for("not_in_calf"))
    if herd.six_week_in_calf is not None:
        yield Figure("mating began", f"{mating_start}, as set or by the matings")
        yield Figure("three-week in-calf rate", written_bounds(herd.three_week_in_calf))
        yield Figure(
            "six-week in-calf rate", written_bounds(herd.six_week_in_calf), benchmarks_for("six_week_in_calf")
        )
    submission, conception = herd.three_week_submission, herd.conception
    if submission is not None:
        yield Figure("three-week submission rate", written_share(submission), benchmarks_for("three_week_submission"))
    if conception is not None:
        yield Figure("conception rate", written_bounds(conception), benchmarks_for("conception"))
    share = conception.low if conception is not None and not conception.unknown else None
    if submission is not None and share is not None and submission.value is not None and share.value:
        rate = pregnancy_share(submission, share) or 0.0
        twice = two_round_in_calf(submission.value, share.value)
        yield Figure(
            "in calf by submission times conception",
            f"{100 * rate:.0f} % after one round of 21 days, {100 * twice:.0f} % after two",
        )
    if year_round is not None:
        for name, measure in (
            ("in calf within 100 days of calving", "in_calf_by_100"),
            ("not in calf 200 days after calving", "not_in_calf_by_200"),
            ("served within 80 days of calving", "submission_by_80"),
        ):
            found = getattr(year_round, measure)
            if found is not None and found.of:
                text = written_share(found) if isinstance(found, Share) else written_bounds(found)
                yield Figure(name, text, benchmarks_for(measure))


def _calving(herd: HerdFigures) -> Iterator[str]:
    curve = herd.curve
    if curve is None:
        return
    busiest = curve.busiest
    cows = len(curve.calvings)
    yield (
        f"Half of the {cows} cows with a date are expected to have calved by {curve.calved_by(0.5)}, "
        f"nine in ten by {curve.calved_by(0.9)}."
    )
    yield (
        f"Busiest week: from {busiest.first_on}, {busiest.expected:.0f} calvings expected, "
        f"{busiest.low} to {busiest.high} in four weeks of five."
    )
    if herd.expected_losses < 0.05:
        return
    yield (
        f"About {herd.expected_losses:.1f} of the pregnancies are expected to be lost before their 90th day, if they "
        "are lost as often as published; the calvings do not count that."
    )


def _tables(season: Season, cows: Sequence[CowReckoning]) -> Iterator[Table]:
    yield Table("Questions still open", ("day", "heard", "why it was asked"), tuple(_open(season)))
    yield Table(
        "For the vet to look at",
        ("cow", "what", "scans"),
        tuple((c.cow, alert.value, _history(c)) for c in cows for alert in c.alerts),
        "The results stay as they were heard.",
    )
    yield _listed("Empty", cows, lambda c: c.result is Result.EMPTY)
    yield _listed("Recheck", cows, lambda c: c.result is Result.RECHECK)
    yield Table(
        "Twins",
        ("cow", "conceived", "due"),
        tuple((c.cow, written_conception(c.conception), _due(c)) for c in cows if c.twins),
    )
    yield Table(
        "Calved since the scan, not scanned again",
        ("cow", "calved", "scans"),
        tuple((c.cow, written_day(c.animal.calved_on), _history(c)) for c in cows if _is_calved_since(c)),
        "By the herd list. These scans are history: they count in no figure and no date.",
    )
    yield Table("Not seen", ("cows",), tuple(_in_lines(_not_seen(season, cows))), "In the lists, no result.")
    yield Table("The reader at the gate", ("day", "what", "cows"), tuple(_gate(season)), "Each needs a look.")
    yield from _groups(season, cows)
    undated = [c.cow for c in cows if c.result is Result.PREGNANT and c.calving is None]
    yield Table(
        "In calf, no date",
        ("cows",),
        tuple(_in_lines(undated)),
        f"{len(undated)} cows in calf of which no scan told the age: in no group of calvers.",
    )
    yield Table(
        "Every cow",
        ("cow", "result", "age", "scanned", "conceived", "sire", "due", "80 % window", "dry off", "notes"),
        tuple(_cow(cow) for cow in cows if cow.last is not None and (cow.result or cow.last.entry.findings)),
    )
    yield Table(
        "Scan days",
        ("day", "vet", "cows", "signed", "digest of the record"),
        tuple(_day(day) for day in season.days),
        "Two copies of a day are the same if their digests are (voicecapture verify).",
    )
    yield Table("Changed after the day", ("day", "when", "by", "what"), tuple(_amended(season)))


def _open(season: Season) -> Iterator[tuple[str, ...]]:
    for day in season.days:
        for event in day.day.questions.values():
            minutes, seconds = divmod(int(event.at_s), 60)
            yield f"{day.scanned_on} {minutes}:{seconds:02d}", event.heard, event.reason


def _listed(title: str, cows: Sequence[CowReckoning], belongs: Callable[[CowReckoning], bool]) -> Table:
    return Table(
        title,
        ("cow", "scanned", "look again from", "scans"),
        tuple(
            (c.cow, written_day(c.last.scanned_on), written_day(c.recheck_on), _history(c))
            for c in cows
            if c.last is not None and belongs(c)
        ),
    )


def _history(cow: CowReckoning) -> str:
    """All scans of a cow: "2027-02-09 in calf 56 days; 2027-04-20 empty"."""
    return "; ".join(f"{scan.scanned_on} {written_outcome(scan.entry)}" for scan in cow.scans)


def _due(cow: CowReckoning) -> str:
    return written_day(cow.calving.due_on) if cow.calving else ""


def _not_seen(season: Season, cows: Sequence[CowReckoning]) -> list[str]:
    """Cows without a result, the reason behind those of which it is known."""
    reasons = {cow: why for day in season.days for cow, why in absences(day.events).items()}
    unseen = [c.cow for c in cows if c.result is None and not _is_calved_since(c)]
    return [f"{cow} ({reasons[cow]})" if cow in reasons else cow for cow in unseen]


def _is_calved_since(cow: CowReckoning) -> bool:
    return bool(cow.scans) and not cow.since_calving


def _gate(season: Season) -> Iterator[tuple[str, ...]]:
    """Reads without a result and results without a read."""
    for day in season.days:
        read, not_read = unmatched(day.events, day.day.results)
        for what, found in (("read, no result", read), ("result, not read", not_read)):
            for (line,) in _in_lines(found):
                yield written_day(day.scanned_on), what, line


def _groups(season: Season, cows: Sequence[CowReckoning]) -> Iterator[Table]:
    """Cows to calve early, in the middle and late, for drafting: by weeks of mating, or else by thirds."""
    dated = sorted((c for c in cows if c.calving is not None), key=lambda c: (_due(c), int(c.cow)))
    if not dated:
        return
    start = season.mating_start
    if start is None:
        third = -(-len(dated) // 3)
        groups = [dated[:third], dated[third : 2 * third], dated[2 * third :]]
        means = ("the first third", "the second third", "the last third")
    else:
        ends = (last_day_of(start, 3), last_day_of(start, 6))
        on = [c.conception.on if c.conception else start for c in dated]
        place = [sum(day > end for end in ends) for day in on]
        groups = [[c for c, p in zip(dated, place, strict=True) if p == group] for group in range(3)]
        means = ("conceived in weeks 1 to 3", "in weeks 4 to 6", f"after {ends[1]}")
    for name, group, meaning in zip(("Early", "Middle", "Late"), groups, means, strict=True):
        if group:
            yield Table(
                f"{name} calvers",
                ("cows",),
                tuple(_in_lines([c.cow for c in group])),
                f"{len(group)} cows, {meaning}; due {_due(group[0])} to {_due(group[-1])}, the earliest first.",
            )


def _in_lines(cows: Sequence[str], length: int = 15) -> Iterator[tuple[str]]:
    for start in range(0, len(cows), length):
        yield (" ".join(cows[start : start + length]),)


def _cow(cow: CowReckoning) -> tuple[str, ...]:
    assert cow.last is not None
    age = written_age(cow.aged.entry) if cow.aged else ""
    if cow.aged and cow.aged.scanned_on != cow.last.scanned_on:
        age += f" on {cow.aged.scanned_on}"
    window = cow.calving.window(0.8) if cow.calving else None
    return (
        cow.cow,
        written_result(cow.result) if cow.result else "",
        age,
        written_day(cow.last.scanned_on),
        written_conception(cow.conception),
        written_sire(cow.conception),
        _due(cow),
        f"{window[0]} to {window[1]}" if window else "",
        written_day(cow.dry_off_on),
        ", ".join((["twins"] if cow.twins else []) + cow_notes(cow) + [alert.value for alert in cow.alerts]),
    )


def _day(day: ScanDay) -> tuple[str, ...]:
    signature = day.signature
    signed = f"by {signature.vet}, {signature.signed_at[:10]}" if signature else "not signed"
    later = since_signed(day)
    signed += f"; {later} change{'s' * (later > 1)} since" if later else ""
    signed += "" if day.is_as_signed else "; CHANGED since, other than by amendments"
    return (
        written_day(day.scanned_on),
        day.vet,
        str(day.day.counts.scanned),
        signed,
        day.digest,
    )


def _amended(season: Season) -> Iterator[tuple[str, ...]]:
    for day in season.days:
        for amendment, what in zip(day.amendments, changes(day), strict=True):
            when = amendment.at[:16].replace("T", " ") + " UTC"
            yield written_day(day.scanned_on), when, amendment.by, what
