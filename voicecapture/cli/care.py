"""Commands that look after the record: copies, repair, and the drill of what may happen to it."""

from pathlib import Path
from typing import Annotated

import typer

from voicecapture.cli.options import DatabaseArgument
from voicecapture.errors import DamagedError
from voicecapture.store.backup import back_up
from voicecapture.store.record import Record
from voicecapture.store.repair import repair as repair_file

app = typer.Typer()


@app.command()
def backup(
    database: DatabaseArgument,
    to: Annotated[Path, typer.Argument(help="Folder for the copy, on another disk.")],
) -> None:
    """Copy a record and its sound, also while a day is listened to. Again: what is new."""
    copied, missing = back_up(database, to)
    typer.echo(f"{to / database.name}: written; {copied} sounds copied now.")
    if missing:
        typer.echo(f"{missing} sounds are not beside {database}.")


@app.command()
def repair(database: DatabaseArgument) -> None:
    """Rebuild a damaged record from what can be read of it; the damaged file is kept."""
    try:
        Record.open(database).close()
    except DamagedError:
        for line in repair_file(database):
            typer.echo(line)
        return
    typer.echo(f"{database}: whole; nothing was changed.")
