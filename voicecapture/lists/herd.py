"""The herd list."""

from pathlib import Path

from voicecapture.electronic_id import read_electronic_id
from voicecapture.herd import Animal, Herd
from voicecapture.lists.table import COW_HEADINGS, Line, ListFormat, parse, read_text, yes_or_no

FORMAT = ListFormat(
    name="herd list",
    rows="cows",
    needed="cow",
    synonyms={
        "cow": COW_HEADINGS,
        "electronic_id": ("electronic id", "electronic number", "electronic tag", "eid", "e id", "rfid", "rfid tag"),
        "breed": ("breed",),
        "mated_on": (
            "mated on",
            "mated",
            "mating date",
            "service date",
            "served on",
            "last service",
            "last service date",
            "insemination date",
            "ai date",
        ),
        "born_on": ("born on", "born", "birth date", "date of birth", "dob"),
        "calved_on": ("calved on", "calved", "calving date", "last calving", "last calving date"),
        "eligible": ("eligible", "eligible for mating", "to be mated"),
    },
)


def read_herd(path: Path) -> Herd:
    """Read a herd list.

    The first line names the columns, in any order; only the cow number is required and unknown columns are
    left out. Commas, semicolons or tabs part the columns. Text is UTF-8, UTF-16 with a byte order mark, or
    Windows-1252. Dates are yyyy-mm-dd or dd/mm/yyyy, the day first. Leading zeros of cow numbers are kept.

    Raises:
        HerdError: If the file is not such a list. The message names every wrong line, up to a hundred.
    """
    return parse_herd(read_text(path, FORMAT), str(path))


def parse_herd(text: str, where: str) -> Herd:
    """The herd in the text of a list.

    Raises:
        HerdError: As `read_herd`.
    """
    cows: dict[str, int] = {}
    electronic_ids: dict[str, int] = {}

    def animal(line: Line) -> Animal:
        cow = line.cow()
        electronic_id = line.read("electronic_id", read_electronic_id)
        line.only_once("cow", cow, cows)
        line.only_once("electronic id", electronic_id, electronic_ids)
        born_on, calved_on = line.date("born_on", "birth date"), line.date("calved_on", "calving date")
        if born_on and calved_on and calved_on <= born_on:
            line.faults.append(f"calved on {calved_on} and born on {born_on}; expected the birth first.")
        return Animal(
            cow,
            electronic_id,
            line.text("breed"),
            line.date("mated_on", "mating date"),
            born_on,
            calved_on,
            line.read("eligible", yes_or_no),
        )

    return Herd(parse(text, where, FORMAT, animal))
