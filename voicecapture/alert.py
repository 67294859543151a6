"""What a person should look at while the day goes on. An alert changes nothing: the entry stays as it was heard."""

from collections.abc import Iterator
from datetime import date

from voicecapture.day import Day, Event, EventKind
from voicecapture.herd import Animal, Matings
from voicecapture.language.phrase import Entry
from voicecapture.reckoning.conception import age_heard, fit_matings
from voicecapture.reckoning.cow import matings_since_calving
from voicecapture.reckoning.foetus import CROWN_RUMP_MM
from voicecapture.reckoning.settings import ReckoningSettings
from voicecapture.recogniser import PLAUSIBLE_DAYS
from voicecapture.report.wording import written_age, written_outcome

LEAST_FREE_BYTES = 500_000_000
"""Below this the disk is low. A day of 2,000 utterances of 4 s takes about 150 MB of sound."""


def entry_alerts(
    event: Event, day: Day, scanned_on: date, matings: Matings, settings: ReckoningSettings
) -> tuple[str, ...]:
    """What speaks against an entry that was taken or asked about.

    Args:
        event: What was decided.
        day: The day after it.
        scanned_on: The day of the scan.
        matings: What is recorded besides the last mating in the herd list.
        settings: How far a scan's age may be off.
    """
    entry = event.entry
    if event.kind not in (EventKind.ACCEPTED, EventKind.QUESTION) or entry is None or entry.cow is None:
        return ()
    cow, alerts = entry.cow, []
    held = day.results.get(cow)
    if event.kind is EventKind.QUESTION and held is not None and held[0] != event.replaces and held[1].entry:
        alerts.append(f"{cow} scanned twice: {written_outcome(held[1].entry)} and {written_outcome(entry)}")
    if day.herd.animals and cow not in day.herd:
        alerts.append(f"{cow} not in the herd list")
    animal = day.herd.animals.get(cow, Animal(cow))
    alerts += [f"{cow} {written_age(entry)}: {why}" for why in _misfits(entry, animal, scanned_on, matings, settings)]
    # What is spoken is asked about.
    if event.by and not _is_found_by_scans(entry):
        alerts.append(f"{cow} {written_age(entry)}: not an age that a scan finds")
    return tuple(alerts)


def _is_found_by_scans(entry: Entry) -> bool:
    days, length = entry.days, entry.crown_rump_mm
    return (days is None or PLAUSIBLE_DAYS[0] <= days <= PLAUSIBLE_DAYS[1]) and (
        length is None or CROWN_RUMP_MM[0] <= length <= CROWN_RUMP_MM[1]
    )


def _misfits(
    entry: Entry, animal: Animal, scanned_on: date, matings: Matings, settings: ReckoningSettings
) -> Iterator[str]:
    try:
        age = age_heard(entry, settings)
    except ValueError:
        return  # a length that tells no age is asked about
    if age is None:
        return
    conception = fit_matings(scanned_on, *age, *matings_since_calving(animal, matings))
    if conception.is_misfit:
        yield "no recorded mating explains that age"
    if animal.calved_on is not None and conception.on <= animal.calved_on < scanned_on:
        yield f"she last calved on {animal.calved_on}, after that conception"


def disk_alert(free_bytes: int) -> str:
    """Whether the record runs out of room; empty while there is enough."""
    return f"disk low: {free_bytes / 1e6:.0f} MB free" if free_bytes < LEAST_FREE_BYTES else ""
