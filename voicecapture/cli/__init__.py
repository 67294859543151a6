"""The commands. Builds the real objects, prints errors as one sentence, sets the exit code.

The module of a command is loaded when the command is called; until then its line of help stands here.

Exit codes: 0 done, 1 failed, 2 wrong usage.
"""

import sys
from importlib import import_module
from typing import Annotated, Any

import typer
from typer.core import TyperGroup
from typer.main import get_group

from voicecapture import __version__
from voicecapture.errors import VoiceCaptureError

COMMANDS = {
    "new": (
        "new",
        "Begin a day step by step: lists, vet, scan, microphone, voice check. With --plain by these flags alone.",
    ),
    "demo": ("day", "Hear the demo morning: 60 cows of Alder Bank, an invented farm, from a recording."),
    "check": (
        "day",
        "Check a voice and a microphone with twenty phrases, where the scan will be and with its noise.",
    ),
    "listen": ("day", "Listen to a scan day at the microphone, and keep the record."),
    "hear": ("day", "Turn recordings into entries. Each file is a fresh start; nothing is stored."),
    "review": ("desk", "Settle what is doubtful after milking, with the sound at hand. Nothing is overwritten."),
    "report": ("season", "Write the sheet of a day or a season: figures, charts, lists, every cow."),
    "export": ("season", "Write a day or a season in open formats, chosen by the ending of each file's name."),
    "sign": ("season", "Sign a day. From then on it can only be amended, by name and date."),
    "amend": ("season", "Change, add or take back a cow's result after the day. What it was before is kept."),
    "verify": (
        "season",
        "Show the digest of every day, whether it is still what was signed, and what differs between files.",
    ),
    "season": ("season", "Several scan days as one season."),
    "visit": (
        "farm",
        "List the cows to scan at a visit, by their matings and rechecks; the list serves as --herd of the day.",
    ),
    "herd": ("farm", "The farm's lists."),
    "backup": ("care", "Copy a record and its sound, also while a day is listened to. Again: what is new."),
    "repair": ("care", "Rebuild a damaged record from what can be read of it; the damaged file is kept."),
    "purge": ("care", "Remove the sounds of old days, which are personal data. The record stays as it is."),
    "drill": (
        "care",
        "Kill the listening and break the disk under a day, on purpose, and count what was lost.",
    ),
    "words": ("tools", "Show everything that can be said."),
    "doctor": ("tools", "Say what is installed, which devices and models there are, and hear a shipped recording."),
    "bench": ("tools", "Measure the listening on recordings whose words are known."),
    "model": ("tools", "Speech models besides the one that is shipped."),
}
"""Module and line of help of every command."""


class _Commands(TyperGroup):
    """Knows its commands by `COMMANDS`, and loads the one that is called."""

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """See `TyperGroup`."""
        name, listed, rest = super().resolve_command(ctx, args)
        if listed is None or name is None:
            return name, listed, rest
        return name, get_group(import_module(f"{__name__}.{COMMANDS[name][0]}").app).commands[name], rest


app = typer.Typer(
    cls=_Commands,
    help="Hears cow numbers and pregnancy-scan results, checks them against the herd, keeps the record.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
for _name, (_, _line) in COMMANDS.items():
    app.command(_name, help=_line)(lambda: None)


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
