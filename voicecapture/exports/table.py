"""The columns of every cow that CSV and XLSX share."""

from dataclasses import dataclass
from datetime import date

from voicecapture.reckoning.conception import UNKNOWN_SIRE
from voicecapture.reckoning.cow import CowReckoning
from voicecapture.report.wording import cow_notes, written_age, written_result


@dataclass(frozen=True, slots=True)
class CowRow:
    """One cow; the fields are the columns, in their order."""

    cow: str
    electronic_id: str
    """As ISO 11784 is printed, "ccc nnnnnnnnnnnn": a spreadsheet keeps it as text, and the herd list reads it."""
    breed: str
    result: str
    twins: str
    age_said: str
    aged_on: date | None
    """Day of the scan whose age counts."""
    scanned_on: date | None
    vet: str
    scans: int
    conceived_on: date | None
    conceived_by: str
    conceived_by_scan: date | None
    sire: str
    sire_percent: int | None
    due_on: date | None
    due_80_from: date | None
    due_80_to: date | None
    due_95_from: date | None
    due_95_to: date | None
    dry_off_on: date | None
    recheck_on: date | None
    notes: str
    alerts: str


def cow_row(cow: CowReckoning) -> CowRow:
    """What is known of one cow."""
    last, conception, calving = cow.last, cow.conception, cow.calving
    likely, narrow = (calving.window(0.8), calving.window(0.95)) if calving else ((None, None), (None, None))
    sires = [s for s in conception.sires if s[0] != UNKNOWN_SIRE or len(conception.sires) > 1] if conception else []
    sire, chance = sires[0] if sires else ("", None)
    is_seen = last is not None and (last.entry.result is not None or last.entry.findings)
    without = "calved since" if cow.scans and not cow.since_calving else "" if is_seen else written_result(None)
    return CowRow(
        cow=cow.cow,
        electronic_id=_printed(cow.animal.electronic_id),
        breed=cow.animal.breed or "",
        result=written_result(cow.result) if cow.result else without,
        twins="yes" if cow.twins else "",
        age_said=written_age(cow.aged.entry) if cow.aged else "",
        aged_on=cow.aged.scanned_on if cow.aged else None,
        scanned_on=last.scanned_on if last else None,
        vet=last.vet if last else "",
        scans=len(cow.scans),
        conceived_on=conception.on if conception else None,
        conceived_by=conception.basis.value if conception else "",
        conceived_by_scan=conception.scan_on if conception else None,
        sire=sire,
        sire_percent=round(100 * chance) if chance is not None else None,
        due_on=calving.due_on if calving else None,
        due_80_from=likely[0],
        due_80_to=likely[1],
        due_95_from=narrow[0],
        due_95_to=narrow[1],
        dry_off_on=cow.dry_off_on,
        recheck_on=cow.recheck_on,
        notes=", ".join(cow_notes(cow)),
        alerts=", ".join(alert.value for alert in cow.alerts),
    )


def _printed(electronic_id: str | None) -> str:
    return f"{electronic_id[:3]} {electronic_id[3:]}" if electronic_id else ""
