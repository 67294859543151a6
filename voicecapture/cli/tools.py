"""Commands that look at the installation and measure it."""

import json
import os
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import Progress

from voicecapture import demo
from voicecapture.bench.cases import SHEDS
from voicecapture.cli.options import ModelOption, SettingsOption
from voicecapture.doctor import examine
from voicecapture.engines import ENGINES
from voicecapture.errors import AudioError, RecordError
from voicecapture.language.crib import crib
from voicecapture.language.grammar_file import load_grammar
from voicecapture.lists.herd import read_herd
from voicecapture.report.page import crib_page
from voicecapture.settings import read_settings
from voicecapture.speech_models import add_model
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
    folder: Annotated[Path, typer.Argument(help="Recordings with a manifest.jsonl.")] = Path(
        "audio_fixtures/reporting"
    ),
    herd: Annotated[
        Path | None, typer.Option(help="Herd list, a CSV file. Without it, that of the shipped recordings.")
    ] = None,
    engine: Annotated[
        list[str] | None,
        typer.Option(help=f"Speech engine: {', '.join(ENGINES)}. Repeat it to hear several side by side."),
    ] = None,
    model: ModelOption = None,
    snr: Annotated[
        str | None,
        typer.Option(
            metavar="LIST",
            help="Mix the clean recordings with shed noise at these ratios in dB, such as clean,20,10,5,0 (10n: "
            "through a headset of 8 kHz), and leave out those with noise of their own. Without it, all are heard as "
            "they are.",
        ),
    ] = None,
    draws: Annotated[
        int,
        typer.Option(min=1, max=SHEDS, help="With --snr: in how many different sheds each recording is heard."),
    ] = 1,
    noise_hours: Annotated[
        float, typer.Option(min=0, max=100, help="Hours of shed noise with nobody in it, to count false entries.")
    ] = 1.0,
    quick: Annotated[
        bool, typer.Option("--quick", help="A stratified sample, under two minutes on two free cores.")
    ] = False,
    json_file: Annotated[Path | None, typer.Option("--json", help="Write all figures and trials there.")] = None,
    picture: Annotated[Path | None, typer.Option(help="Draw the figures there: .svg, .png or .pdf.")] = None,
) -> None:
    """Measure the listening on recordings whose words are known.

    Entries right, asked and taken wrong by noise, voice and phrase type; the curve over the bar;
    false entries an hour; confusions; calibration; latency and memory. Ctrl-C ends it with the
    figures so far.

    The manifest has an object on one line for each recording: "file"; "expected", the entry with
    "cow", "result", "days", "twins" and "findings", or null for talk; and, where known, "words",
    "kind", "voice", "snr_db" and "noise".
    """
    # Noise, statistics and pictures take seconds to load, and no other command needs them.
    from voicecapture.bench.picture import check_picture, draw
    from voicecapture.bench.results import as_json
    from voicecapture.bench.run import run
    from voicecapture.bench.tables import tables

    if draws > 1 and snr is None:
        raise typer.BadParameter("only with --snr: recordings are mixed with sheds there alone", param_hint="--draws")
    snrs_db, narrow_db = _read_snrs(snr) if snr is not None else (None, [])
    if picture is not None:
        check_picture(picture)
    for file in filter(None, (json_file, picture)):
        _check_place(file)
    cows = read_herd(herd or demo.HERD)
    engines = list(dict.fromkeys(engine or ["listener"]))
    with Progress(console=Console(stderr=True)) as bar:
        tasks = {name: bar.add_task(name, total=None) for name in engines}

        def progress(name: str, done: int, total: int) -> None:
            bar.update(tasks[name], completed=done, total=total)

        described, found = run(folder, cows, engines, model, snrs_db, narrow_db, draws, noise_hours, quick, progress)
    typer.echo("\n".join(tables(described, found)))
    if json_file is not None:
        write_whole(json_file, (json.dumps(as_json(described, found), indent=1) + "\n").encode())
        typer.echo(f"{json_file}: written.")
    if picture is not None:
        write_whole(picture, draw(described, found, picture.suffix))
        typer.echo(f"{picture}: written.")
    if described.is_stopped:
        raise typer.Exit(1)


def _read_snrs(text: str) -> tuple[list[float | None], list[float]]:
    """Ratios in dB in the order given, None for clean; and those with an n, through a line of 8 kHz.

    Raises:
        AudioError: If one is neither "clean" nor a number from -20 to 60.
    """
    wide: list[float | None] = []
    narrow: list[float] = []
    for part in filter(None, (part.strip().lower() for part in text.split(","))):
        if part == "clean":
            wide.append(None)
            continue
        try:
            snr_db = float(part.removesuffix("n"))
        except ValueError as error:
            raise AudioError(
                f"--snr: '{part}'; expected ratios in dB such as clean,20,10,10n,5. Correct it."
            ) from error
        if not -20 <= snr_db <= 60:
            raise AudioError(f"--snr: '{part}'; expected ratios from -20 to 60 dB. Correct it.")
        (narrow if part.endswith("n") else wide).append(snr_db)
    if not wide and not narrow:
        raise AudioError(f"--snr: '{text}'; expected ratios in dB such as clean,20,10,5,0. Name one.")
    return list(dict.fromkeys(wide)), list(dict.fromkeys(narrow))


def _check_place(file: Path) -> None:
    """Refuse, before minutes of listening, a file that cannot be written."""
    if file.is_dir() or not os.access(file.absolute().parent, os.W_OK):
        raise RecordError(f"{file}: cannot be written; expected a file in a folder that can. Name another place.")
