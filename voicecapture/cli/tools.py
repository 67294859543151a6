"""Commands that look at the installation and measure it."""

from datetime import datetime, timedelta
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import Progress

from voicecapture import demo
from voicecapture.bench import measure, read_manifest, table
from voicecapture.cli.options import DatabaseArgument, EngineOption, HerdOption, ModelOption, SettingsOption
from voicecapture.doctor import examine
from voicecapture.engines import make_recogniser
from voicecapture.errors import RecordError
from voicecapture.language.crib import crib
from voicecapture.language.grammar import load_grammar
from voicecapture.lists.herd import read_herd
from voicecapture.plain_text import one_line
from voicecapture.report.page import crib_page
from voicecapture.settings import Settings, read_settings
from voicecapture.speech_models import add_model
from voicecapture.store.purging import old_audio, purge
from voicecapture.store.record import Record
from voicecapture.whole_file import write_whole

app = typer.Typer()
model_app = typer.Typer(help="Speech models besides the one that is shipped.", no_args_is_help=True)
app.add_typer(model_app, name="model")


@model_app.command("add")
def model_add(
    source: Annotated[Path, typer.Argument(metavar="FOLDER_OR_ZIP", help="An unpacked or zipped Vosk model.")],
) -> None:
    """Check a Vosk model and keep it for --engine vosk --model NAME."""
    added = add_model(source, load_grammar().words)
    typer.echo(f"{added.path.name}: added.")
    if added.missing_words:
        typer.echo(f"Words of the grammar that it cannot hear: {', '.join(added.missing_words)}.")


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
def words(
    page: Annotated[Path | None, typer.Option(help="Write it as a page to print, an HTML file.")] = None,
    settings: SettingsOption = None,
) -> None:
    """Show everything that can be said."""
    sections = crib(load_grammar(practice_findings=read_settings(settings).findings))
    if page is not None:
        write_whole(page, crib_page(sections).encode())
        typer.echo(f"{page}: written.")
        return
    for section in sections:
        typer.echo(section.title)
        for saying in section.sayings:
            typer.echo(f"  {saying}")


@app.command()
def doctor() -> None:
    """Say what is installed, which devices and models there are, and hear a shipped recording."""
    healthy = True
    for finding in examine():
        typer.echo(f"{'ok  ' if finding.is_ok else 'BAD '} {finding.text}")
        healthy = healthy and finding.is_ok
    if not healthy:
        raise typer.Exit(1)


@app.command()
def bench(
    folder: Annotated[Path, typer.Argument(help="Recordings with a manifest.")] = Path("audio_fixtures/reporting"),
    herd: HerdOption = None,
    engine: EngineOption = "listener",
    model: ModelOption = None,
) -> None:
    """Measure the listening: entries right and taken wrong by noise and voice, latency, memory."""
    rows = read_manifest(folder)
    cows = read_herd(herd or demo.HERD)
    grammar = load_grammar()
    recogniser = make_recogniser(engine, model)
    with Progress(console=Console(stderr=True)) as progress:
        task = progress.add_task("hearing", total=len(rows))
        outcomes = measure(rows, cows, grammar, recogniser, Settings(), lambda: progress.advance(task))
    typer.echo("\n".join(table(outcomes)))
