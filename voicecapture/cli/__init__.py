"""The commands. Builds the real objects, prints errors as one sentence, sets the exit code.

Exit codes: 0 done, 1 failed, 2 wrong usage.
"""

import sys
from typing import Annotated

import typer

from voicecapture import __version__
from voicecapture.cli import day, desk, farm, new, season, tools
from voicecapture.errors import VoiceCaptureError

app = typer.Typer(
    help="Hears cow numbers and pregnancy-scan results, checks them against the herd, keeps the record.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
for part in (new, day, desk, season, farm, tools):
    app.add_typer(part.app)


def main() -> None:
    """Run the command line; an error becomes one sentence and exit code 1."""
    try:
        app()
    except VoiceCaptureError as error:
        typer.echo(str(error), err=True)
        sys.exit(1)


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"voicecapture {__version__}")
        raise typer.Exit


@app.callback()
def _common(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version and end."),
    ] = False,
) -> None:
    """Options of every command."""
