"""The command for the desk after milking."""

import gc
from functools import partial
from typing import Annotated

import typer

from voicecapture.cli.options import DatabaseArgument, EngineOption, ModelOption, SettingsOption
from voicecapture.day import Event
from voicecapture.engines import ENGINES, make_recogniser
from voicecapture.errors import ModelError, RecordError
from voicecapture.settings import read_settings
from voicecapture.store.clips import read_clips
from voicecapture.store.record import Record
from voicecapture.store.season import amend, read_season

app = typer.Typer()


@app.command()
def review(
    database: DatabaseArgument,
    by: Annotated[str, typer.Option(help="Who sits at the desk; stands beside every change.")],
    settings: SettingsOption = None,
    engine: EngineOption = "listener",
    model: ModelOption = None,
) -> None:
    """Settle what is doubtful after milking, with the sound at hand. Nothing is overwritten."""
    if not by.strip():
        raise typer.BadParameter("name who sits at the desk", param_hint="--by")
    practice = read_settings(settings)
    if engine not in ENGINES:
        raise ModelError(f"--engine {engine}: unknown; expected {', '.join(ENGINES)}. Name one of these.")
    if not database.is_file():
        raise RecordError(f"{database}: no such file; expected the file of a day or a season. Name an existing file.")
    # What is loaded now stays until the end. Looking through it for garbage made the start a fifth longer, and was
    # seen to hold up a key by 0.2 s.
    gc.disable()
    # The screen is loaded only where there is one.
    from voicecapture.desk.app import DeskApp
    from voicecapture.desk.player import CardPlayer
    from voicecapture.desk.sitting import Desk, Sitting

    record = Record.open(database)
    try:

        def keep(day: str, seen: int, events: tuple[Event, ...]) -> None:
            amend(record, day, *events, seen=seen)

        read, clips, load = (
            partial(read_season, record, is_digested=False),
            partial(read_clips, record),
            partial(make_recogniser, engine, model),
        )
        sitting = Sitting(Desk(by.strip(), practice, read, clips, keep, load))
        gc.freeze()
        gc.enable()
        DeskApp(sitting, CardPlayer()).sit()
    finally:
        record.close()
    typer.echo(f"{database}: {sitting.left} left to settle.")
