"""What is known of one cow: her result, her dates, and what the vet should look at."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum
from math import hypot

from voicecapture.day import ScanKind
from voicecapture.herd import Animal, BullPeriod, Matings, Service
from voicecapture.language.phrase import Entry, Result
from voicecapture.reckoning.calving import ExpectedCalving, expected_calving
from voicecapture.reckoning.conception import Conception, age_heard, conception_date, fit_matings
from voicecapture.reckoning.foetus import EARLIEST_DAYS_COW, EARLIEST_DAYS_HEIFER, loss_chance
from voicecapture.reckoning.gestation import GESTATION_SD_DAYS, gestation_days
from voicecapture.reckoning.settings import ReckoningSettings

_DISAGREE_SDS = 1.96

LONGEST_OFF_DAYS = 45
"""A calving further from the prediction is of another conception, or a slip of the records."""


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
    NOT_MATED = "in calf, no mating recorded"
    BEFORE_CALVING = "conceived before she last calved"
    DEAD_CALF = "in calf, and a dead calf found"
    TWINS = "twins at one scan, not at another"
    EARLY_RECHECK = "the recheck that was said is too early to tell"
    NOT_AN_AGE = "the length is outside what tells an age"
    CALVING = "the recorded calving does not fit the scan before it"
    ZEROS = "the mating list has her number with other zeros in front, as no cow of the herd list"
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
    def since_calving(self) -> tuple[Scan, ...]:
        """Her scans that count: those up to the recorded calving are of the calf that is born, and history."""
        return tuple(scan for scan in self.scans if _is_since_calving(self.animal, scan.scanned_on))

    @property
    def last(self) -> Scan | None:
        """The scan whose result rules; the last of all if none has a result, None if not seen since calving."""
        scans = self.since_calving
        with_result = [scan for scan in scans if scan.entry.result is not None]
        return next(reversed(with_result or scans), None)

    @property
    def result(self) -> Result | None:
        """Her result; None if she was not seen since she calved, or only something else was found in her.

        In calf and empty on one day is neither: she is to be looked at again, until one of them is amended.
        """
        if self.last is None:
            return None
        on_last_day = {scan.entry.result for scan in self.since_calving if scan.scanned_on == self.last.scanned_on}
        return Result.RECHECK if {Result.PREGNANT, Result.EMPTY} <= on_last_day else self.last.entry.result

    @property
    def twins(self) -> bool:
        """Whether she carries twins, by the last scan that looked at the age."""
        return self.result is Result.PREGNANT and carries_twins(self.since_calving)


def reckon_cow(
    animal: Animal,
    scans: Sequence[Scan],
    matings: Matings,
    settings: ReckoningSettings,
    last_on: date | None = None,
) -> CowReckoning:
    """Everything that follows from a cow's scans, in the order that they were made.

    Args:
        animal: The cow.
        scans: Her results.
        matings: Those of the herd.
        settings: Of the practice.
        last_on: The season's last day, up to which a bull that is still in may have mated her; her last scan's.
    """
    scans = tuple(scans)
    services, bulls = matings_since_calving(animal, matings)
    counted = CowReckoning(animal, scans).since_calving
    alerts = _disagreements(animal, counted, settings)
    before = scans[: len(scans) - len(counted)]
    if before and not _explains_calving(animal, before, settings):
        alerts.append(Alert.CALVING)
    seen = CowReckoning(animal, scans, alerts=tuple(alerts))
    last, result = seen.last, seen.result
    if last is None or result is None:
        return seen
    if result is not Result.PREGNANT:
        recheck_on = recheck_day(animal, last, services, bulls, last_on or last.scanned_on)
        early = (Alert.EARLY_RECHECK,) if _is_too_early(animal, last, services, bulls) else ()
        return CowReckoning(animal, scans, recheck_on=recheck_on, alerts=(*seen.alerts, *early))
    seen = replace(seen, alerts=(*seen.alerts, *_of_pregnancy(counted, last, matings, services, bulls)))
    ages = _ages(_in_calf(counted), settings)
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
        alerts=(*seen.alerts, *_of_conception(animal, conception)),
    )


def _of_pregnancy(
    scans: Sequence[Scan],
    last: Scan,
    matings: Matings,
    services: Sequence[Service],
    bulls: Sequence[BullPeriod],
) -> Iterator[Alert]:
    """What speaks against a pregnancy of any age."""
    is_mated = any(map(bool, _up_to(last.scanned_on, services, bulls)))
    if not is_mated and (matings.services or services):
        yield Alert.NOT_MATED
    if any("dead_calf" in scan.entry.findings for scan in _since_empty(scans)):
        yield Alert.DEAD_CALF


def _of_conception(animal: Animal, conception: Conception) -> Iterator[Alert]:
    if conception.is_misfit:
        yield Alert.NO_MATING
    if not _is_since_calving(animal, conception.on):
        yield Alert.BEFORE_CALVING


def services_of(animal: Animal, matings: Matings) -> tuple[Service, ...]:
    """Her recorded services, with the one that only the herd list names."""
    services = matings.services_of(animal.cow)
    if animal.mated_on is None or any(s.served_on == animal.mated_on for s in services):
        return services
    return (*services, Service(animal.cow, animal.mated_on))


def matings_since_calving(animal: Animal, matings: Matings) -> tuple[list[Service], list[BullPeriod]]:
    """Her services and bull periods after her recorded calving: those before it cannot have given this calf."""
    services = [s for s in services_of(animal, matings) if _is_since_calving(animal, s.served_on)]
    bulls = list(matings.bulls_of(animal.cow))
    if animal.calved_on is not None:
        after = animal.calved_on + timedelta(days=1)
        bulls = [
            replace(bull, bull_in=max(bull.bull_in, after))
            for bull in bulls
            if bull.bull_out is None or bull.bull_out >= after
        ]
    return services, bulls


def _is_since_calving(animal: Animal, day: date) -> bool:
    return animal.calved_on is None or day > animal.calved_on


def carries_twins(scans: Sequence[Scan]) -> bool:
    """Whether the pregnancy that the scans end with is of twins, by the last scan that looked at the age."""
    in_calf = _in_calf(scans)
    aged = [scan for scan in in_calf if scan.kind is ScanKind.AGED]
    return any(scan.entry.twins for scan in (aged or in_calf)[-1:])


def _explains_calving(animal: Animal, before: Sequence[Scan], settings: ReckoningSettings) -> bool:
    """Whether the recorded calving can follow from the last scan before it; if not, one of them may be wrong."""
    assert animal.calved_on is not None
    last = next((scan for scan in reversed(before) if scan.entry.result is not None), None)
    gestation = gestation_days(animal, carries_twins(before), settings)
    if last is None or (animal.calved_on - last.scanned_on).days > gestation:
        return True  # another calf, which no scan saw
    conceived_on = conception_date(animal.calved_on, gestation)
    if last.entry.result is Result.EMPTY:
        return (last.scanned_on - conceived_on).days - 2 * GESTATION_SD_DAYS < earliest_days(animal)
    ages = [(scan.scanned_on, age) for scan, age, _ in _ages(_in_calf(before), settings)]
    return not ages or abs((conception_date(*ages[-1]) - conceived_on).days) <= LONGEST_OFF_DAYS


def _since_empty(scans: Sequence[Scan]) -> Sequence[Scan]:
    """The scans since she was last found empty: those of one pregnancy."""
    empties = [place for place, scan in enumerate(scans) if scan.entry.result is Result.EMPTY]
    return scans[empties[-1] + 1 if empties else 0 :]


def _in_calf(scans: Sequence[Scan]) -> list[Scan]:
    return [scan for scan in _since_empty(scans) if scan.entry.result is Result.PREGNANT]


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


def recheck_day(
    animal: Animal, last: Scan, services: Sequence[Service], bulls: Sequence[BullPeriod], on: date
) -> date:
    """The day for another scan: when the last possible mating can be told, and not before the vet's own day.

    A bull that is still in may have mated her up to the day `on`.
    """
    known = [service.served_on for service in services] + [bull.bull_out or max(bull.bull_in, on) for bull in bulls]
    # Nothing recorded: she may have been mated on the day of the scan itself.
    earliest = max(known, default=last.scanned_on) + timedelta(days=earliest_days(animal))
    if last.entry.recheck_weeks is None:
        return max(earliest, last.scanned_on)
    said = last.scanned_on + timedelta(weeks=last.entry.recheck_weeks)
    # Without a recorded mating the vet's day stands: nothing speaks against it.
    return max(said, earliest) if known else said


def first_recheck_day(animal: Animal, last: Scan, services: Sequence[Service], bulls: Sequence[BullPeriod]) -> date:
    """The day for another scan by the matings up to this one, whatever has mated her since."""
    return recheck_day(animal, last, *_up_to(last.scanned_on, services, bulls), last.scanned_on)


def _is_too_early(animal: Animal, last: Scan, services: Sequence[Service], bulls: Sequence[BullPeriod]) -> bool:
    """Whether the day that the vet said was too early by the matings up to the scan."""
    weeks = last.entry.recheck_weeks
    said = last.scanned_on + timedelta(weeks=weeks or 0)
    return weeks is not None and said < first_recheck_day(animal, last, services, bulls)


def _up_to(
    day: date, services: Sequence[Service], bulls: Sequence[BullPeriod]
) -> tuple[list[Service], list[BullPeriod]]:
    """The matings up to a day."""
    return [s for s in services if s.served_on <= day], [
        replace(bull, bull_out=min(bull.bull_out or day, day)) for bull in bulls if bull.bull_in <= day
    ]


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
