"""Commands on the farm's lists."""

import csv
import io
from datetime import date, datetime
from pathlib import Path
from typing import Annotated

import typer

from voicecapture.cli.options import SettingsOption
from voicecapture.errors import HerdError
from voicecapture.exports.csv_file import as_text
from voicecapture.herd import Herd, Matings
from voicecapture.lists.herd import read_herd
from voicecapture.lists.matings import read_matings
from voicecapture.plain_text import one_line
from voicecapture.reckoning.cow import services_of
from voicecapture.reckoning.season import Season
from voicecapture.reckoning.year_round import visit_list
from voicecapture.settings import read_settings
from voicecapture.store.record import Record
from voicecapture.store.season import read_season
from voicecapture.whole_file import write_whole

app = typer.Typer()
herd_app = typer.Typer(help="The farm's lists.", no_args_is_help=True)
app.add_typer(herd_app, name="herd")
_VISIT_COLUMNS = (
    *("cow", "electronic_id", "breed", "mated_on", "with_bull_since", "days_since_mating"),
    *("born_on", "calved_on", "why"),
)


@herd_app.command("check")
def herd_check(
    path: Annotated[Path, typer.Argument(metavar="HERD.csv", help="The herd list.")],
    matings: Annotated[Path | None, typer.Option("--matings", help="The mating list, checked against it.")] = None,
) -> None:
    """Read a herd list and a mating list and say what was found, or every line that is wrong."""
    herd = read_herd(path)
    animals = herd.animals.values()
    typer.echo(
        f"{one_line(path.name)}: {len(herd)} cows, {sum(a.electronic_id is not None for a in animals)} with an "
        f"electronic ID, {sum(a.mated_on is not None for a in animals)} with a mating date."
    )
    if matings is None:
        return
    mated = read_matings(matings)
    strangers = sorted({s.cow for s in mated.services if s.cow not in herd}, key=int)
    typer.echo(f"{one_line(matings.name)}: {len(mated.services)} services, {len(mated.bulls)} bull periods.")
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
    """List the cows to scan at a visit, by their matings and rechecks; the list serves as --herd of the day."""
    if file.suffix.lower() != ".csv" or file.resolve() in {p.resolve() for p in (herd, matings) if p}:
        raise HerdError(f"{file}: not a name for a visit list; expected a new one that ends in .csv. Rename it.")
    visit_on = (on or datetime.now()).date()
    known = Season(())
    if season is not None:
        with Record.reading(season) as record:
            known = read_season(record)
    listed = read_herd(herd)
    mated = read_matings(matings) if matings else Matings()
    everything = Season(known.days, Herd.joined([known.herd, listed]), known.matings.joined(mated))
    cows = [cow for cow in everything.cows(read_settings(settings).reckoning) if cow.cow in listed]
    due = visit_list(cows, everything.matings, visit_on)
    if not due:
        raise HerdError(f"{herd}: no cow is to be scanned on {visit_on}. Check the dates of the matings.")
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(_VISIT_COLUMNS)
    for cow in due:
        animal, last_on = cow.animal, cow.mated_on or date.min
        # The herd list names services alone: the day on which a bull came is none.
        served_on = max(
            (s.served_on for s in services_of(animal, everything.matings) if s.served_on <= last_on), default=None
        )
        with_bull_since = cow.mated_on if cow.mated_on != served_on else None
        mating = (served_on, with_bull_since, cow.days_since_mating)
        row = (animal.cow, animal.electronic_id, animal.breed, *mating, animal.born_on, animal.calved_on, cow.why)
        writer.writerow(map(as_text, row))
    write_whole(file, text.getvalue().encode())
    typer.echo(f"{file}: {len(due)} cows to scan on {visit_on}.")
