"""What is known of one cow: her result, her dates, and what the vet should look at."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from math import hypot

from voicecapture.day import ScanKind
from voicecapture.herd import Animal, BullPeriod, Matings, Service
from voicecapture.language.phrase import Entry, Result
from voicecapture.reckoning.calving import ExpectedCalving, expected_calving
from voicecapture.reckoning.conception import Conception, age_heard, conception_date, fit_matings
from voicecapture.reckoning.foetus import EARLIEST_DAYS_COW, EARLIEST_DAYS_HEIFER, loss_chance
from voicecapture.reckoning.gestation import gestation_days
from voicecapture.reckoning.settings import ReckoningSettings

_DISAGREE_SDS = 1.96


@dataclass(frozen=True, slots=True)
class Scan:
    """One result that counts, of one cow on one day."""

    cow: str
    scanned_on: date
    entry: Entry
    kind: ScanKind = ScanKind.AGED
    vet: str = ""
    day: str = ""
    """The day's own name, the same in every copy of it."""
    event: int = 0
    """Number of its event within the day."""
    recorded_at: str = ""
    """UTC, as in ISO 8601."""


class Alert(StrEnum):
    """What the vet should look at; the result stays as it was heard."""

    SAME_DAY = "two results on one day"
    LOST = "in calf, later empty"
    FOUND_LATER = "empty, later in calf from before that scan"
    AGES = "ages of two scans disagree"
    NO_MATING = "no recorded mating fits the age"
    TWINS = "twins at one scan, not at another"
    EARLY_RECHECK = "the recheck that was said is too early to tell"
    NOT_AN_AGE = "the length is outside what tells an age"
    UNLISTED = "not in the herd list"


@dataclass(frozen=True, slots=True)
class CowReckoning:
    """One cow in one season."""

    animal: Animal
    scans: tuple[Scan, ...] = ()
    """Her results, the earliest first; empty if she was never seen."""
    aged: Scan | None = None
    """The scan whose age tells the conception."""
    conception: Conception | None = None
    calving: ExpectedCalving | None = None
    dry_off_on: date | None = None
    recheck_on: date | None = None
    """Earliest day on which another scan can tell, or later where the vet said so; only of empties and rechecks."""
    loss_chance: float | None = None
    """Chance, 0-1, that the pregnancy is lost between the scan and its 90th day."""
    alerts: tuple[Alert, ...] = ()

    @property
    def cow(self) -> str:
        """Her number."""
        return self.animal.cow

    @property
    def last(self) -> Scan | None:
        """The scan whose result rules; the last of all if no scan has a result, None if she was never seen."""
        with_result = [scan for scan in self.scans if scan.entry.result is not None]
        return next(reversed(with_result or self.scans), None)

    @property
    def result(self) -> Result | None:
        """Her result; None if she was never seen, or only something else was found in her.

        In calf and empty on one day is neither: she is to be looked at again, until one of them is amended.
        """
        if self.last is None:
            return None
        on_last_day = {scan.entry.result for scan in self.scans if scan.scanned_on == self.last.scanned_on}
        return Result.RECHECK if {Result.PREGNANT, Result.EMPTY} <= on_last_day else self.last.entry.result

    @property
    def twins(self) -> bool:
        """Whether she carries twins, by the last scan that looked at the age."""
        if self.result is not Result.PREGNANT:
            return False
        in_calf = _in_calf(self.scans)
        aged = [scan for scan in in_calf if scan.kind is ScanKind.AGED]
        return (aged or in_calf)[-1].entry.twins


def reckon_cow(animal: Animal, scans: Sequence[Scan], matings: Matings, settings: ReckoningSettings) -> CowReckoning:
    """Everything that follows from a cow's scans, in the order that they were made."""
    scans = tuple(scans)
    services, bulls = services_of(animal, matings), matings.bulls_of(animal.cow)
    seen = CowReckoning(animal, scans, alerts=tuple(_disagreements(animal, scans, settings)))
    last, result = seen.last, seen.result
    if last is None or result is None:
        return seen
    if result is not Result.PREGNANT:
        recheck_on, alerts = _recheck(animal, last, services, bulls)
        return CowReckoning(animal, scans, recheck_on=recheck_on, alerts=(*seen.alerts, *alerts))
    ages = _ages(_in_calf(scans), settings)
    if not ages:
        return seen
    # The surest age counts, and the latest of equally sure ones; where they disagree, the latest.
    is_one_age = Alert.AGES not in seen.alerts
    scan, age_days, sd_days = min(reversed(ages), key=lambda aged: aged[2]) if is_one_age else ages[-1]
    conception = fit_matings(scan.scanned_on, age_days, sd_days, services, bulls)
    calving = expected_calving(conception, gestation_days(animal, seen.twins, settings))
    return CowReckoning(
        animal,
        scans,
        scan,
        conception,
        calving,
        calving.due_on - timedelta(days=settings.dry_off_days),
        loss_chance=loss_chance((last.scanned_on - conception.on).days, seen.twins),
        alerts=(*seen.alerts, *((Alert.NO_MATING,) if conception.is_misfit else ())),
    )


def services_of(animal: Animal, matings: Matings) -> tuple[Service, ...]:
    """Her recorded services, with the one that only the herd list names."""
    services = matings.services_of(animal.cow)
    if animal.mated_on is None or any(s.served_on == animal.mated_on for s in services):
        return services
    return (*services, Service(animal.cow, animal.mated_on))


def _in_calf(scans: Sequence[Scan]) -> list[Scan]:
    """The scans in calf since she was last found empty: those of one pregnancy."""
    empties = [place for place, scan in enumerate(scans) if scan.entry.result is Result.EMPTY]
    return [scan for scan in scans[empties[-1] + 1 if empties else 0 :] if scan.entry.result is Result.PREGNANT]


def _ages(scans: Sequence[Scan], settings: ReckoningSettings) -> list[tuple[Scan, float, float]]:
    """Scans with an age, the age and its standard deviation in days."""
    ages = []
    for scan in scans:
        try:
            age = age_heard(scan.entry, settings)
        except ValueError:
            age = None  # the alert tells it
        if age is not None:
            ages.append((scan, *age))
    return ages


def earliest_days(animal: Animal) -> int:
    """Days after a mating from which a scan tells."""
    return EARLIEST_DAYS_HEIFER if animal.is_heifer else EARLIEST_DAYS_COW


def _recheck(
    animal: Animal, last: Scan, services: Sequence[Service], bulls: Sequence[BullPeriod]
) -> tuple[date, tuple[Alert, ...]]:
    """The day for another scan: when the last possible mating can be seen, and not before the vet's own day."""
    bulls = [bull for bull in bulls if bull.bull_in <= last.scanned_on]
    with_bull = [min(bull.bull_out or last.scanned_on, last.scanned_on) for bull in bulls]
    known = [s.served_on for s in services if s.served_on <= last.scanned_on] + with_bull
    # Nothing recorded: she may have been mated on the day of the scan itself.
    earliest = max(known, default=last.scanned_on) + timedelta(days=earliest_days(animal))
    if last.entry.recheck_weeks is None:
        return max(earliest, last.scanned_on), ()
    said = last.scanned_on + timedelta(weeks=last.entry.recheck_weeks)
    # Without a recorded mating the vet's day stands: nothing speaks against it.
    return max(said, earliest) if known else said, (Alert.EARLY_RECHECK,) if known and said < earliest else ()


def _disagreements(animal: Animal, scans: Sequence[Scan], settings: ReckoningSettings) -> list[Alert]:
    """What does not go together in a cow's scans."""
    alerts = []
    # Ages and twins from before she was found empty belong to another pregnancy.
    in_calf = _in_calf(scans)
    aged = {id(scan): (age, sd) for scan, age, sd in _ages(in_calf, settings)}
    if any(scan.entry.crown_rump_mm is not None and id(scan) not in aged for scan in in_calf):
        alerts.append(Alert.NOT_AN_AGE)
    if len({scan.entry.twins for scan in in_calf if scan.kind is ScanKind.AGED}) > 1:
        alerts.append(Alert.TWINS)
    for i, earlier in enumerate(scans):
        for later in scans[i + 1 :]:
            alerts += _between(animal, earlier, later, aged.get(id(earlier)), aged.get(id(later)))
    return list(dict.fromkeys(alerts))


def _between(
    animal: Animal,
    earlier: Scan,
    later: Scan,
    earlier_age: tuple[float, float] | None,
    later_age: tuple[float, float] | None,
) -> list[Alert]:
    alerts = []
    results = (earlier.entry.result, later.entry.result)
    if earlier.scanned_on == later.scanned_on:
        # Two vets, or two laptops: what differs within a day is no course of events.
        return [Alert.SAME_DAY] if earlier.entry != later.entry and None not in results else []
    if results == (Result.PREGNANT, Result.EMPTY):
        alerts.append(Alert.LOST)
    if results == (Result.EMPTY, Result.PREGNANT) and later_age is not None:
        age, sd = later_age
        then = (earlier.scanned_on - conception_date(later.scanned_on, age)).days
        if then - _DISAGREE_SDS * sd >= earliest_days(animal):
            alerts.append(Alert.FOUND_LATER)
    if earlier_age is not None and later_age is not None:
        (age_1, sd_1), (age_2, sd_2) = earlier_age, later_age
        apart = conception_date(later.scanned_on, age_2) - conception_date(earlier.scanned_on, age_1)
        if abs(apart.days) > _DISAGREE_SDS * hypot(sd_1, sd_2):
            alerts.append(Alert.AGES)
    return alerts
