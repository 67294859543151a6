"""A season: several scan days of one herd, from one or more vets, as one result a cow."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import cached_property

from voicecapture.day import Day, Event
from voicecapture.herd import Animal, Herd, Matings
from voicecapture.reckoning.cow import Alert, CowReckoning, Scan, reckon_cow
from voicecapture.reckoning.settings import ReckoningSettings

_OLDEST_HEIFER = timedelta(days=1200)
"""Age at the last scan: heifers calve at two to three years (common practice). Of an older cow without a calving,
the calvings were not recorded."""


@dataclass(frozen=True, slots=True)
class Signature:
    """A vet's name under a day's record."""

    vet: str
    signed_at: str
    """UTC, as in ISO 8601."""
    events: int
    """Number of events that were signed; those after them are amendments."""
    digest: str
    """SHA-256 of the record up to there, hexadecimal."""


@dataclass(frozen=True, slots=True)
class Amendment:
    """A change after the day was signed, or after milking."""

    at: str
    """UTC, as in ISO 8601."""
    by: str
    event: Event


@dataclass(frozen=True, slots=True)
class ScanDay:
    """One scan day as it is on record."""

    name: str
    """The day's own name, the same in every copy of it."""
    scanned_on: date
    started_at: str
    """UTC, as in ISO 8601."""
    vet: str
    day: Day
    recorded_at: tuple[str, ...]
    """When each event was recorded, UTC."""
    digest: str
    """SHA-256 of the record, hexadecimal; empty if nobody asked for it."""
    signature: Signature | None = None
    amendments: tuple[Amendment, ...] = ()
    events: tuple[Event, ...] = ()
    """Everything that happened, in order; event 1 is the first."""
    is_as_signed: bool = True
    """False if the record is known to differ from what was signed, other than by amendments."""

    @property
    def scans(self) -> Iterable[Scan]:
        """The results that count."""
        for cow in self.day.results:
            yield from self.scans_of(cow)

    def scans_of(self, cow: str) -> Iterable[Scan]:
        """The result of one cow that counts; none if she has none on this day."""
        if cow in self.day.results:
            number, event = self.day.results[cow]
            assert event.entry is not None
            recorded_at = self.recorded_at[number - 1]
            yield Scan(cow, self.scanned_on, event.entry, self.day.kind, self.vet, self.name, number, recorded_at)


@dataclass(frozen=True)
class Season:
    """Scan days, the earliest first, with the farm's lists."""

    days: tuple[ScanDay, ...]
    herd: Herd = field(default_factory=Herd)
    """Every cow of any list; cows that no list names are known by their scans alone."""
    matings: Matings = field(default_factory=Matings)
    mating_start: date | None = None
    """First day of mating; None if it is not known."""

    @cached_property
    def scans(self) -> dict[str, list[Scan]]:
        """Each cow's results, the earliest first."""
        by_cow: dict[str, list[Scan]] = defaultdict(list)
        for day in self.days:
            for scan in day.scans:
                by_cow[scan.cow].append(scan)
        return {cow: in_order(scans) for cow, scans in by_cow.items()}

    @property
    def last_on(self) -> date | None:
        """Day of the last scan; None without any."""
        return max((day.scanned_on for day in self.days), default=None)

    def cows(self, settings: ReckoningSettings) -> list[CowReckoning]:
        """Every cow of the lists in their order, and after them the scanned ones that no list names."""
        unlisted = [Animal(cow) for cow in sorted(self.scans, key=_by_number) if cow not in self.herd]
        listed = self._told_heifers(list(self.herd.animals.values()))
        return [self.reckoned(animal, self.scans.get(animal.cow, ()), settings) for animal in (*listed, *unlisted)]

    def reckoned(self, animal: Animal, scans: Sequence[Scan], settings: ReckoningSettings) -> CowReckoning:
        """One cow from her scans, the earliest first."""
        cow = reckon_cow(animal, scans, self.matings, settings, self.last_on)
        alerts = list(cow.alerts)
        if scans and int(animal.cow) in self._unknown_mated:
            alerts.append(Alert.ZEROS)
        if len(self.herd) > 0 and scans and animal.cow not in self.herd:
            alerts.append(Alert.UNLISTED)
        return replace(cow, alerts=tuple(alerts))

    @cached_property
    def _unknown_mated(self) -> set[int]:
        """Numbers, whatever their leading zeros, of the mated cows that are neither listed nor scanned."""
        mated = {s.cow for s in self.matings.services} | {b.cow for b in self.matings.bulls if b.cow is not None}
        return {int(cow) for cow in mated if len(self.herd) > 0 and cow not in self.herd and cow not in self.scans}

    def _told_heifers(self, animals: list[Animal]) -> list[Animal]:
        """The cows without the birth of those that it does not tell to be heifers."""
        tells = any(animal.calved_on for animal in animals)  # lists with no calving at all do not
        last_on = self.last_on or date.max
        return [
            animal
            if animal.born_on is None or (tells and last_on - animal.born_on <= _OLDEST_HEIFER)
            else replace(animal, born_on=None)
            for animal in animals
        ]


def in_order(scans: Iterable[Scan]) -> list[Scan]:
    """Scans in the order in which they were made; of one day, in the order in which they were recorded."""
    return sorted(scans, key=lambda scan: (scan.scanned_on, scan.recorded_at, scan.day, scan.event))


def _by_number(cow: str) -> tuple[int, str]:
    return int(cow), cow
