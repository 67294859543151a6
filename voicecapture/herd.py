"""The herd and its matings, as the farm's lists tell them."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from datetime import date, timedelta
from enum import StrEnum
from functools import cached_property
from math import inf


@dataclass(frozen=True, slots=True)
class Animal:
    """One cow of the herd list."""

    cow: str
    """Cow number as painted, branded or tagged, 1 to 5 digits; leading zeros count."""
    electronic_id: str | None = None
    """15 digits as in ISO 11784, or None."""
    breed: str | None = None
    mated_on: date | None = None
    """Last recorded mating."""
    born_on: date | None = None
    calved_on: date | None = None
    """Last calving."""
    eligible: bool | None = None
    """Whether she was there and to be mated this season; None if the list does not say, which counts as yes."""

    @property
    def is_eligible(self) -> bool:
        """Whether she counts in the measures of the herd."""
        return self.eligible is not False

    def updated(self, later: "Animal") -> "Animal":
        """What a later list says of her, and where it says nothing what this one said."""
        known = {f.name: getattr(later, f.name) for f in fields(later) if getattr(later, f.name) is not None}
        return replace(self, **known)

    @property
    def is_heifer(self) -> bool:
        """Whether she is known not to have calved: her birth is recorded and no calving is."""
        return self.born_on is not None and self.calved_on is None


_ORDINARY_DIGITS = 4
"""Cows are numbered with up to so many digits (common practice)."""


class Herd:
    """Cows by number, in the order of the list."""

    def __init__(self, animals: Iterable[Animal] = ()) -> None:
        self.animals = {animal.cow: animal for animal in animals}

    @classmethod
    def joined(cls, herds: Iterable["Herd"]) -> "Herd":
        """The cows of several lists; a later one rules where it says something."""
        animals: dict[str, Animal] = {}
        for herd in herds:
            for cow, animal in herd.animals.items():
                held = animals.get(cow)
                if held != animal:
                    animals[cow] = held.updated(animal) if held else animal
        return cls(animals.values())

    @cached_property
    def by_electronic_id(self) -> dict[str, str]:
        """Cow numbers by the 15 digits of their electronic IDs."""
        return {animal.electronic_id: cow for cow, animal in self.animals.items() if animal.electronic_id}

    def is_usual(self, cow: str) -> bool:
        """Whether a number may well be one that the list lacks, as that of a cow bought in.

        A fifth digit, or a zero before the number, is usual where others of the herd have it.
        """
        digits, has_zeros = self._usual
        return len(cow) <= digits and (has_zeros or not cow.startswith("0"))

    @cached_property
    def _usual(self) -> tuple[int, bool]:
        longest = max(map(len, self.animals), default=0)
        return max(_ORDINARY_DIGITS, longest), any(cow.startswith("0") for cow in self.animals)

    def __contains__(self, cow: object) -> bool:
        return cow in self.animals

    def __len__(self) -> int:
        return len(self.animals)


_GAP_DAYS = 60
"""Days without a mating that part two seasons of mating."""


class ServiceKind(StrEnum):
    """How a cow was served."""

    INSEMINATION = "insemination"
    NATURAL = "natural"


@dataclass(frozen=True, slots=True)
class Service:
    """One recorded service of one cow."""

    cow: str
    served_on: date
    kind: ServiceKind = ServiceKind.INSEMINATION
    sire: str | None = None


@dataclass(frozen=True, slots=True)
class BullPeriod:
    """Days in which a bull ran with the herd, or with one cow."""

    bull_in: date
    bull_out: date | None = None
    """Last day; None if the bull is still in."""
    sire: str | None = None
    cow: str | None = None
    """The only cow that it ran with; None for all of them."""


@dataclass(frozen=True)
class Matings:
    """All recorded services and bull periods."""

    services: tuple[Service, ...] = ()
    bulls: tuple[BullPeriod, ...] = ()

    @cached_property
    def _services_by_cow(self) -> dict[str, tuple[Service, ...]]:
        by_cow: dict[str, list[Service]] = defaultdict(list)
        for service in self.services:
            by_cow[service.cow].append(service)
        return {cow: tuple(sorted(services, key=lambda s: s.served_on)) for cow, services in by_cow.items()}

    def services_of(self, cow: str) -> tuple[Service, ...]:
        """The services of a cow, the earliest first."""
        return self._services_by_cow.get(cow, ())

    def bulls_of(self, cow: str) -> tuple[BullPeriod, ...]:
        """The bull periods that a cow was in."""
        return tuple(bull for bull in self.bulls if bull.cow in (None, cow))

    def joined(self, other: "Matings") -> "Matings":
        """All matings of both, each once."""
        return Matings(
            tuple(dict.fromkeys((*self.services, *other.services))), tuple(dict.fromkeys((*self.bulls, *other.bulls)))
        )

    def began_on(self, scanned_on: date) -> date | None:
        """Day on which the season's mating began, by the matings in the year before a scan.

        A gap of more than 60 days parts two seasons. The last one counts that has a bull with the herd or a quarter
        of the year's matings; fewer are stragglers. Both numbers are our assumptions.
        """
        spans = [(s.served_on, s.served_on, 1.0) for s in self.services]
        spans += [(b.bull_in, b.bull_out or scanned_on, 1.0 if b.cow else inf) for b in self.bulls]
        spans = sorted(span for span in spans if timedelta(0) <= scanned_on - span[0] <= timedelta(days=365))
        matings: dict[date, float] = {}  # by the first day of their season
        first_on = ended_on = date.min
        for start, end, count in spans:
            if (start - ended_on).days > _GAP_DAYS:
                first_on = start
            matings[first_on] = matings.get(first_on, 0.0) + count
            ended_on = max(ended_on, end)
        least = len(spans) / 4
        return next((day for day in reversed(matings) if matings[day] >= least), min(matings, default=None))
