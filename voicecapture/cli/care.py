"""Commands that look after the record: copies, repair, the removal of sounds, the drill of what may happen to it."""

import os
import tempfile
from datetime import datetime, timedelta
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Annotated

import typer

from voicecapture.cli.options import DatabaseArgument
from voicecapture.drill import HEADING, Tried, row, total
from voicecapture.errors import DamagedError, RecordError, VoiceCaptureError
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


@app.command()
def drill(
    quick: Annotated[bool, typer.Option("--quick", help="Half a minute instead of half an hour.")] = False,
    hours: Annotated[float, typer.Option(min=0.0, help="Instead: hours of shed noise, and of talk, at speed.")] = 0.0,
    load: Annotated[int, typer.Option(min=0, help="Instead: demo mornings at ten times their pace.")] = 0,
    talk: Annotated[Path, typer.Option(help="Folder of talk, with --hours.")] = Path("audio_fixtures/reporting"),
    folder: Annotated[Path | None, typer.Option("--in", help="Folder on the disk to try.")] = None,
) -> None:
    """Kill the listening and break the disk under a day, on purpose, and count what was lost."""
    if os.name == "nt":
        raise VoiceCaptureError(
            "drill: on Windows; expected Linux or macOS, where processes can be killed. Run it there."
        )
    from voicecapture.drill.faults import try_faults
    from voicecapture.drill.kills import kill_at_every_line, kill_at_random, kill_the_program
    from voicecapture.drill.script import write_script

    with tempfile.TemporaryDirectory(dir=folder) as place:
        if hours or load:
            _drill_long(Path(place), hours, load, talk)
            return
        script, where = write_script(12 if quick else 40), Path(place)
        typer.echo(HEADING)
        tried: list[Tried] = []
        kills = (
            partial(kill_at_random, where, script, 16 if quick else 300, seed=1, longest_s=0.5 if quick else 1.5),
            partial(kill_at_every_line, where, script, every=40 if quick else 1),
            *(() if quick else (partial(kill_the_program, where, 10),)),
        )
        for one in chain((kill() for kill in kills), try_faults(where, script, 2 if quick else 150)):
            tried.append(one)
            typer.echo(row(one))
    typer.echo(row(total(tried)))
    if not all(one.is_good for one in tried):
        raise typer.Exit(1)


def _drill_long(place: Path, hours: float, passes: int, talk: Path) -> None:
    from voicecapture.drill import hours as long

    if passes:
        typer.echo("\n".join(long.load(place, passes, speed=10.0)))
    if hours:
        typer.echo("\n".join(long.hours_of_noise(place, hours)))
        # Recordings of talk are not shipped with the program.
        if recordings := sorted(talk.glob("*-talk-clean.ogg")):
            typer.echo("\n".join(long.hours_of_talk(place, hours, recordings)))
