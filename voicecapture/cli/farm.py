"""Commands on the farm's lists."""

import csv
from datetime import date, datetime
from pathlib import Path
from typing import Annotated

import typer

from voicecapture.cli.options import SettingsOption
from voicecapture.errors import HerdError
from voicecapture.herd import Herd
from voicecapture.lists.herd import read_herd
from voicecapture.lists.matings import read_matings
from voicecapture.reckoning.cow import CowReckoning
from voicecapture.reckoning.season import Season
from voicecapture.reckoning.year_round import visit_list
from voicecapture.settings import read_settings
from voicecapture.store.record import Record
from voicecapture.store.season import read_season

app = typer.Typer()
herd_app = typer.Typer(help="The farm's lists.", no_args_is_help=True)
app.add_typer(herd_app, name="herd")


@herd_app.command("check")
def herd_check(
    path: Annotated[Path, typer.Argument(metavar="HERD.csv", help="The herd list.")],
    matings: Annotated[Path | None, typer.Option("--matings", help="The mating list, checked against it.")] = None,
) -> None:
    """Read a herd list and a mating list and say what was found, or every line that is wrong."""
    herd = read_herd(path)
    animals = herd.animals.values()
    typer.echo(
        f"{path.name}: {len(herd)} cows, {sum(a.electronic_id is not None for a in animals)} with an electronic "
        f"ID, {sum(a.mated_on is not None for a in animals)} with a mating date."
    )
    if matings is None:
        return
    mated = read_matings(matings)
    strangers = sorted({s.cow for s in mated.services if s.cow not in herd}, key=int)
    typer.echo(f"{matings.name}: {len(mated.services)} services, {len(mated.bulls)} bull periods.")
    if strangers:
        typer.echo(f"Served, and not in the herd list: {', '.join(strangers)}.")


@app.command()
def visit(
    herd: Annotated[Path, typer.Argument(metavar="HERD.csv", help="The herd list.")],
    file: Annotated[Path, typer.Argument(metavar="VISIT.csv", help="The visit list to write.")],
    matings: Annotated[Path | None, typer.Option("--matings", help="The mating list.")] = None,
    season: Annotated[Path | None, typer.Option("--season", help="Scans already made are left out.")] = None,
    on: Annotated[datetime | None, typer.Option(formats=["%Y-%m-%d"], help="Day of the visit; today.")] = None,
    settings: SettingsOption = None,
) -> None:
    """List the cows to scan at a visit, by their last service; the list serves as --herd of the day."""
    visit_on = (on or datetime.now()).date()
    known = read_season_of(season) if season else Season(())
    listed = read_herd(herd)
    everything = Season(
        known.days,
        Herd.joined([known.herd, listed]),
        read_matings(matings) if matings else known.matings,
    )
    cows: list[CowReckoning] = [
        cow for cow in everything.cows(read_settings(settings).reckoning) if cow.cow in listed
    ]
    due = visit_list(cows, everything.matings, visit_on)
    if not due:
        raise HerdError(f"{herd}: no cow is to be scanned on {visit_on}. Check the dates of the services.")
    try:
        with file.open("w", encoding="utf-8", newline="") as written:
            writer = csv.writer(written)
            writer.writerow(["cow", "electronic_id", "breed", "mated_on", "days_since_service", "calved_on"])
            for cow in due:
                animal = cow.animal
                calved_on: date | str = animal.calved_on or ""
                row = [animal.cow, animal.electronic_id or "", animal.breed or "", cow.served_on]
                writer.writerow([*row, cow.days_since_service, calved_on])
    except OSError as error:
        raise HerdError(f"{file}: cannot be written ({error.strerror}). Name another place.") from error
    typer.echo(f"{file}: {len(due)} cows to scan on {visit_on}.")


def read_season_of(path: Path) -> Season:
    """The season in a file."""
    record = Record.open(path)
    try:
        return read_season(record)
    finally:
        record.close()
