"""Commands that look after the record: copies, repair, the removal of sounds, the drill of what may happen to it."""

from datetime import datetime, timedelta
from pathlib import Path
from typing import Annotated

import typer

from voicecapture.cli.options import DatabaseArgument
from voicecapture.errors import DamagedError, RecordError
from voicecapture.plain_text import one_line
from voicecapture.store.backup import back_up
from voicecapture.store.purging import old_audio, purge
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


@app.command("purge")
def purge_command(
    database: DatabaseArgument,
    older_than: Annotated[int, typer.Option(min=0, help="Days: what was scanned longer ago.")],
    audio: Annotated[bool, typer.Option("--audio", help="The sounds; nothing else can be purged.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
) -> None:
    """Remove the sounds of old days, which are personal data. The record stays as it is."""
    if not audio:
        raise typer.BadParameter("say what to purge: only sounds can be, the record never", param_hint="--audio")
    if not database.is_file():
        raise RecordError(f"{database}: no such file; expected the file of a day or a season. Name an existing file.")
    record = Record.open(database)
    try:
        found = old_audio(record, datetime.now().date() - timedelta(days=older_than))
        days = ", ".join(map(str, found.days)) or "none"
        what = f"{len(found.files)} sounds ({found.size_bytes / 1e6:.1f} MB) of the days: {days}"
        if not found.files:
            typer.echo(f"{one_line(str(database))}: no sound is so old.")
            return
        typer.echo(f"{one_line(str(database))}: {what}. The record stays; what was heard cannot be heard again.")
        if not yes:
            typer.confirm("Remove them for good?", abort=True)
        purge(record, found.files)
    finally:
        record.close()
    typer.echo(f"{len(found.files)} sounds removed.")
