"""The commands. Builds the real objects, prints errors as one sentence, sets the exit code.

Exit codes: 0 done, 1 failed, 2 wrong usage.
"""

import signal
import sys
import threading
from collections.abc import Callable, Iterable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Annotated

import platformdirs
import typer
from rich.console import Console
from rich.progress import Progress

from voicecapture import __version__, demo
from voicecapture.audio import (
    AudioChunk,
    check_recording,
    list_devices,
    open_microphone,
    paced,
    read_recording,
)
from voicecapture.bench import measure, read_manifest, table
from voicecapture.day import Day
from voicecapture.doctor import examine
from voicecapture.ear import Ear, Heard
from voicecapture.engines import ENGINES, make_recogniser
from voicecapture.errors import AudioError, RecordError, VoiceCaptureError
from voicecapture.hear import as_json, hear_file
from voicecapture.herd import Herd
from voicecapture.language.grammar import load_grammar
from voicecapture.lists.herd import read_herd
from voicecapture.plain import log_line
from voicecapture.session import Session
from voicecapture.settings import Settings, read_settings
from voicecapture.sheet import day_sheet
from voicecapture.speaker import HibariVoice, SilentSpeaker, SoundCardSpeaker, Speaker
from voicecapture.speech_models import add_model
from voicecapture.store import Record
from voicecapture.update import Update
from voicecapture.voice_check import PHRASES, summary
from voicecapture.voice_check import check as voice_check

app = typer.Typer(
    help="Hears cow numbers and pregnancy-scan results, checks them against the herd, keeps the record.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
herd_app = typer.Typer(help="The herd list.", no_args_is_help=True)
model_app = typer.Typer(help="Speech models besides the one that is shipped.", no_args_is_help=True)
app.add_typer(herd_app, name="herd")
app.add_typer(model_app, name="model")

HerdOption = Annotated[
    Path | None, typer.Option("--herd", help="Herd list, a CSV file; only the column cow is needed.")
]
SettingsOption = Annotated[Path | None, typer.Option("--settings", help="The practice's settings, a TOML file.")]
EngineOption = Annotated[str, typer.Option("--engine", help=f"Speech engine: {', '.join(ENGINES)}.")]
ModelOption = Annotated[str | None, typer.Option("--model", help="Folder or name of the Vosk model.")]
DatabaseOption = Annotated[Path | None, typer.Option("--database", help="Where the day is kept.")]
PlainOption = Annotated[bool, typer.Option("--plain", help="Plain lines instead of the screen.")]


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


@app.command("demo")
def demo_command(
    plain: PlainOption = False,
    speed: Annotated[float, typer.Option(min=0.5, max=1000, help="Times real speed.")] = 6.0,
    database: DatabaseOption = None,
) -> None:
    """Hear the demo morning: 60 cows of Alder Bank, an invented farm, from a recording."""
    herd = read_herd(demo.HERD)
    typer.echo(f"Alder Bank, an invented herd of {len(herd)} cows; a recorded morning at {speed:g} times its speed.")
    _run_day(
        paced(read_recording(demo.RECORDING), speed),
        herd=herd,
        herd_file=demo.HERD,
        source=demo.RECORDING.name,
        scanned_on=demo.SCANNED_ON,
        settings=Settings(),
        speaker=SilentSpeaker(),
        database=database,
        plain=plain,
        engine="listener",
        model=None,
    )


def _microphone(device: str | None) -> Iterable[AudioChunk]:
    return open_microphone(int(device) if device is not None and device.isdigit() else device)


@app.command()
def check(
    device: Annotated[str | None, typer.Option(help="Microphone, by number or part of its name.")] = None,
    recording: Annotated[Path | None, typer.Option("--from", help="A recording of the twenty phrases.")] = None,
    settings: SettingsOption = None,
    engine: EngineOption = "listener",
    model: ModelOption = None,
) -> None:
    """Check a voice and a microphone with twenty phrases, where the scan will be and with its noise."""
    if recording is not None:
        check_recording(recording)
    chunks = read_recording(recording) if recording is not None else _microphone(device)
    practice = read_settings(settings)
    grammar = load_grammar(practice_findings=practice.findings)
    console, said = Console(), []

    def prompt(number: int, phrase: str) -> None:
        console.print(f'{number:>2} of {len(PHRASES)}: say "{phrase}"')

    for one in voice_check(chunks, grammar, make_recogniser(engine, model), practice, prompt):
        said.append(one)
        became = "taken" if one.is_taken else "asked"
        mark = "right" if one.is_right else f'heard as "{one.heard}"'
        console.print(f"          {mark}, {became}, {one.snr_db:.0f} dB")
    for line in summary(said):
        console.print(line)
    if not said or any(one.is_taken and not one.is_right for one in said):
        raise typer.Exit(1)


@app.command()
def listen(
    herd: HerdOption = None,
    device: Annotated[str | None, typer.Option(help="Microphone, by number or part of its name.")] = None,
    devices: Annotated[
        bool, typer.Option("--list-devices", help="List microphones and loudspeakers, and end.")
    ] = False,
    recording: Annotated[Path | None, typer.Option("--from", help="A recording, heard as if live.")] = None,
    speed: Annotated[float, typer.Option(min=0.5, max=1000, help="Times real speed, with --from.")] = 1.0,
    quiet: Annotated[bool, typer.Option("--quiet", help="No read-back and no tones.")] = False,
    settings: SettingsOption = None,
    database: DatabaseOption = None,
    plain: PlainOption = False,
    engine: EngineOption = "listener",
    model: ModelOption = None,
) -> None:
    """Listen to a scan day at the microphone, and keep the record."""
    if devices:
        typer.echo(list_devices())
        return
    if recording is not None:
        check_recording(recording)
        chunks: Iterable[AudioChunk] = paced(read_recording(recording), speed)
    else:
        chunks = _microphone(device)
    speaker: Speaker = SilentSpeaker() if quiet else SoundCardSpeaker(HibariVoice())
    _run_day(
        chunks,
        herd=read_herd(herd) if herd else Herd(),
        herd_file=herd,
        source=recording.name if recording else "microphone",
        scanned_on=datetime.now().date(),
        settings=read_settings(settings),
        speaker=speaker,
        database=database,
        plain=plain,
        engine=engine,
        model=model,
    )


def _run_day(
    chunks: Iterable[AudioChunk],
    *,
    herd: Herd,
    herd_file: Path | None,
    source: str,
    scanned_on: date,
    settings: Settings,
    speaker: Speaker,
    database: Path | None,
    plain: bool,
    engine: str,
    model: str | None,
) -> None:
    """Run one day to its end and print its sheet."""
    grammar = load_grammar(practice_findings=settings.findings)
    recogniser = make_recogniser(engine, model)
    path = database or _new_database()
    record = Record.open(path)
    day_id = record.start_day(herd, scanned_on, settings.scan, str(herd_file) if herd_file else "", source)
    session = Session(Ear(Day(herd, settings.scan), grammar, recogniser, settings), record, day_id, speaker)
    stop = threading.Event()
    try:
        if plain or not sys.stdout.isatty():
            day = _run_plainly(lambda show: session.run(chunks, show, stop), stop)
        else:
            # The screen is loaded only where there is one.
            from voicecapture.dashboard import Dashboard

            dashboard = Dashboard(lambda show: session.run(chunks, show, stop), stop)
            dashboard.run()
            if dashboard.failure is not None:
                raise dashboard.failure
            day = session.day
    finally:
        speaker.close()
        record.close()
    typer.echo("\n".join(day_sheet(day, scanned_on)))
    typer.echo(f"\nThe day is kept in {path}")


def _run_plainly(run: Callable[[Callable[[Update], None]], Day], stop: threading.Event) -> Day:
    """Listen with one line for each utterance; Ctrl-C ends the day in order."""

    def show(update: Update) -> None:
        line = log_line(update)
        if line:
            typer.echo(line)

    # The first Ctrl-C ends the day in order: what is being said is still kept, and the sheet follows.
    signal.signal(signal.SIGINT, lambda *_: stop.set())
    return run(show)


def _new_database() -> Path:
    """A new file for the day in the user's data folder, named by the time."""
    folder = platformdirs.user_data_path("voicecapture") / "days"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RecordError(
            f"{folder}: cannot be made ({error.strerror}). Name a writable place with --database."
        ) from error
    return folder / f"{datetime.now(UTC).astimezone():%Y-%m-%d_%H%M%S}.db"


@app.command()
def hear(
    files: Annotated[list[Path], typer.Argument(help="Recordings: WAV, FLAC or Ogg.")],
    herd: HerdOption = None,
    engine: EngineOption = "listener",
    model: ModelOption = None,
    settings: SettingsOption = None,
    as_lines: Annotated[
        bool, typer.Option("--json", help="One JSON object for each utterance, on one line.")
    ] = False,
) -> None:
    """Turn recordings into entries. Each file is a fresh start; nothing is stored."""
    for path in files:
        check_recording(path)
    known = read_settings(settings)
    cows = read_herd(herd) if herd else Herd()
    grammar = load_grammar(practice_findings=known.findings)
    recogniser = make_recogniser(engine, model)
    broken = False
    for path in files:
        try:
            for heard in hear_file(path, cows, grammar, recogniser, known):
                typer.echo(as_json(path, heard) if as_lines else _hear_line(path, heard))
        except AudioError as error:
            # What was read of it is told above; the files after it are heard all the same.
            typer.echo(str(error), err=True)
            broken = True
    if broken:
        raise typer.Exit(1)


def _hear_line(path: Path, heard: Heard) -> str:
    """One utterance as a line for a person."""
    event = heard.decision.event
    return (
        f"{path.name}  {heard.utterance.start_s:7.1f} s  {heard.decision.outcome:<9} {event.heard}  ({event.reason})"
    )


@herd_app.command("check")
def herd_check(path: Annotated[Path, typer.Argument(metavar="HERD.csv", help="The herd list.")]) -> None:
    """Read a herd list and say what was found, or every line that is wrong."""
    herd = read_herd(path)
    animals = herd.animals.values()
    typer.echo(
        f"{path.name}: {len(herd)} cows, {sum(a.electronic_id is not None for a in animals)} with an electronic "
        f"ID, {sum(a.mated_on is not None for a in animals)} with a mating date."
    )


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
