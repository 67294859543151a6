"""Results, dates and shares in words, the same on the screen, on the sheet and in the exports."""

from datetime import date

from voicecapture.language.phrase import Entry, Result
from voicecapture.reckoning.conception import UNKNOWN_SIRE, Basis, Conception
from voicecapture.reckoning.cow import CowReckoning
from voicecapture.reckoning.intervals import Share
from voicecapture.reckoning.measures import Bounded

_BASIS = {Basis.SCAN: "by the scan", Basis.SERVICE: "by the service", Basis.BULL: "with the bull"}


def written_result(result: Result | None) -> str:
    """A result in the trade's words; "not seen" without one."""
    return {Result.PREGNANT: "in calf", Result.EMPTY: "empty", Result.RECHECK: "recheck", None: "not seen"}[result]


def written_age(entry: Entry) -> str:
    """What was said of the age: "56 days" or "30 mm crown-rump"; empty if nothing was."""
    if entry.days is not None:
        return f"{entry.days} days"
    return f"{entry.crown_rump_mm} mm crown-rump" if entry.crown_rump_mm is not None else ""


def notes(entry: Entry) -> list[str]:
    """Everything else that was said of a cow."""
    said = ["twins"] if entry.twins else []
    said += [entry.stage.value] if entry.stage else []
    said += [f"in {entry.recheck_weeks} week{'s' if entry.recheck_weeks > 1 else ''}"] if entry.recheck_weeks else []
    return said + [finding.replace("_", " ") for finding in entry.findings]


def cow_notes(cow: CowReckoning) -> list[str]:
    """What else was said of a cow at the scan that rules, and what any other found since she calved, with its day."""
    if cow.last is None:
        return []
    said = [note for note in notes(cow.last.entry) if note != "twins"]
    for scan in cow.since_calving:
        found = notes(Entry(cow.cow, findings=scan.entry.findings))
        is_same_day = scan.scanned_on == cow.last.scanned_on
        said += [note if is_same_day else f"{note} on {scan.scanned_on}" for note in found if note not in said]
    return list(dict.fromkeys(said))


def written_outcome(entry: Entry) -> str:
    """What was found in a cow: "in calf 56 days, twins"."""
    result = written_result(entry.result) if entry.result else ""
    return ", ".join(filter(None, [f"{result} {written_age(entry)}".strip(), *notes(entry)]))


def written_day(day: date | None) -> str:
    """A day as in ISO 8601; empty without one."""
    return day.isoformat() if day else ""


def written_conception(conception: Conception | None) -> str:
    """The day of conception and what it rests on; the scan's own day where a mating replaced it."""
    if conception is None:
        return ""
    text = f"{conception.on.isoformat()} {_BASIS[conception.basis]}"
    return text if conception.on == conception.scan_on else f"{text} (scan {conception.scan_on.isoformat()})"


def written_sire(conception: Conception | None) -> str:
    """The likeliest sire with the chance that it was him; empty where no mating that may be it names one."""
    if conception is None or all(sire == UNKNOWN_SIRE for sire, _ in conception.sires):
        return ""
    sire, chance = conception.sires[0]
    return f"{sire} {100 * chance:.0f} %"


def written_share(share: Share | None) -> str:
    """A share with its denominator and interval: "49 of 56, 88 % (76 to 94)"."""
    if share is None:
        return "not known"
    if share.value is None:
        return "0 of 0"
    low, high = share.interval
    return f"{share.count} of {share.of}, {100 * share.value:.0f} % ({100 * low:.0f} to {100 * high:.0f})"


def written_bounds(bounded: Bounded | None) -> str:
    """A share of which some cows are not known: its lower and upper bound."""
    if bounded is None:
        return "not known: no start of mating"
    if not bounded.of:
        return "0 of 0"
    if not bounded.unknown:
        return written_share(bounded.low)
    low, high = bounded.low, bounded.high
    least, most = 100 * (low.value or 0.0), 100 * (high.value or 0.0)
    return (
        f"{low.count} to {high.count} of {bounded.of}, {least:.0f} to {most:.0f} % "
        f"({100 * low.interval[0]:.0f} to {100 * high.interval[1]:.0f})"
    )
