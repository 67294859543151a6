"""The herd list: which cows there are."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date


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


class Herd:
    """Cows by number, in the order of the list."""

    def __init__(self, animals: Iterable[Animal] = ()) -> None:
        self.animals = {animal.cow: animal for animal in animals}

    def __contains__(self, cow: object) -> bool:
        return cow in self.animals

    def __len__(self) -> int:
        return len(self.animals)
