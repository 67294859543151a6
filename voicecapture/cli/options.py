"""Options that several commands share."""

from pathlib import Path
from typing import Annotated

import typer

from voicecapture.engines import ENGINES

HerdOption = Annotated[
    Path | None, typer.Option("--herd", help="Herd list, a CSV file; only the column cow is needed.")
]
SettingsOption = Annotated[Path | None, typer.Option("--settings", help="The practice's settings, a TOML file.")]
EngineOption = Annotated[str, typer.Option("--engine", help=f"Speech engine: {', '.join(ENGINES)}.")]
ModelOption = Annotated[str | None, typer.Option("--model", help="Folder or name of the Vosk model.")]
DatabaseOption = Annotated[Path | None, typer.Option("--database", help="Where the day is kept.")]
NewDayOption = Annotated[bool, typer.Option("--new-day", help="Begin a day, though the last was cut off.")]
PlainOption = Annotated[bool, typer.Option("--plain", help="Plain lines instead of the screen.")]
MatingsOption = Annotated[
    Path | None, typer.Option("--matings", help="Mating list, a CSV file of services and bull periods.")
]
WebOption = Annotated[bool, typer.Option("--web", help="Show the screen in a browser on this machine too.")]
WebAtOption = Annotated[
    str | None,
    typer.Option(metavar="ADDRESS[:PORT]", help="Show it at this address, to phones that have the token too."),
]
DatabaseArgument = Annotated[Path, typer.Argument(metavar="DATABASE", help="A file of a day or a season.")]
