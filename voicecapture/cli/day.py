"""Commands that listen: the demo, the check before a day, the day, recordings."""

import signal
import sys
import threading
from collections.abc import Callable, Iterable
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path
from typing import Annotated

import platformdirs
import typer
from rich.console import Console

from voicecapture import demo, private
from voicecapture.alert import entry_alerts
from voicecapture.audio import (
    AudioChunk,
    check_recording,
    list_devices,
    microphone_name,
    open_microphone,
    paced,
    read_recording,
)
from voicecapture.cli.options import (
    DatabaseOption,
    EngineOption,
    HerdOption,
    MatingsOption,
    ModelOption,
    PlainOption,
    SettingsOption,
)
from voicecapture.day import Day
from voicecapture.ear import Ear, Heard
from voicecapture.engines import make_recogniser
from voicecapture.errors import AudioError, RecordError
from voicecapture.hear import as_json, hear_file
from voicecapture.herd import Herd, Matings
from voicecapture.language.crib import crib
from voicecapture.language.grammar import load_grammar
from voicecapture.lists.herd import read_herd
from voicecapture.lists.matings import FORMAT, parse_matings
from voicecapture.lists.table import read_text
from voicecapture.plain import log_line
from voicecapture.plain_text import one_line
from voicecapture.report.content import make_report
from voicecapture.report.text import text_report
from voicecapture.session import Session
from voicecapture.settings import Settings, read_settings
from voicecapture.speaker import HibariVoice, SilentSpeaker, SoundCardSpeaker, Speaker
from voicecapture.store.record import Record
from voicecapture.store.season import add_list, read_season
from voicecapture.update import Update
from voicecapture.voice_check import PHRASES, summary
from voicecapture.voice_check import check as voice_check

app = typer.Typer()


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
        matings=None,
        vet="",
        is_live=False,
    )


def _microphone(device: str | None) -> str | int | None:
    """A device as sounddevice names it."""
    return int(device) if device is not None and device.isdecimal() else device


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
    chunks = read_recording(recording) if recording is not None else open_microphone(_microphone(device))
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
    matings: MatingsOption = None,
    vet: Annotated[str, typer.Option(help="Who scans; stands on the sheet.")] = "",
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
        source, chunks = one_line(recording.name), paced(read_recording(recording), speed)
    else:
        source = microphone_name(_microphone(device))
        chunks = open_microphone(_microphone(device))
    speaker: Speaker = SilentSpeaker() if quiet else SoundCardSpeaker(HibariVoice())
    _run_day(
        chunks,
        herd=read_herd(herd) if herd else Herd(),
        herd_file=herd,
        source=source,
        scanned_on=datetime.now().date(),
        settings=read_settings(settings),
        speaker=speaker,
        database=database,
        plain=plain,
        engine=engine,
        model=model,
        matings=matings,
        vet=vet,
        is_live=recording is None,
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
    matings: Path | None,
    vet: str,
    is_live: bool,
) -> None:
    """Run one day to its end and print its sheet."""
    grammar = load_grammar(practice_findings=settings.findings)
    recogniser = make_recogniser(engine, model)
    mating_list = read_text(matings, FORMAT) if matings else ""
    mated = parse_matings(mating_list, str(matings)) if matings else Matings()
    path = database or _new_database()
    record = Record.open(path)
    day_id = record.start_day(herd, scanned_on, settings.scan, str(herd_file) if herd_file else "", source, vet)
    if matings:
        add_list(record, "matings", str(matings), mating_list)
    watch = partial(entry_alerts, scanned_on=scanned_on, matings=mated, settings=settings.reckoning)
    session = Session(Ear(Day(herd, settings.scan), grammar, recogniser, settings), record, day_id, speaker, watch)
    stop = threading.Event()
    lost: AudioError | None = None
    try:
        if plain or not sys.stdout.isatty():
            _run_plainly(lambda show: session.run(chunks, show, stop), stop)
        else:
            # The screen is loaded only where there is one.
            from voicecapture.dashboard import Dashboard, Shed

            shed = Shed(source, path, settings.decision, settings.break_after_minutes, crib(grammar))
            run = partial(session.run, chunks, stop=stop, stays_open=is_live)
            try:
                Dashboard(run, session.type, stop, shed).run_day()
            except AudioError as error:
                lost = error  # the day went on by hand, and has its sheet
        season = read_season(record, day_id)
    finally:
        speaker.close()
        record.close()
    typer.echo("\n".join(text_report(make_report(season, settings.reckoning))))
    typer.echo(f"\nThe day is kept in {path}")
    if lost is not None:
        raise lost


def _run_plainly(run: Callable[[Callable[[Update], None]], Day], stop: threading.Event) -> None:
    """Listen with one line for each utterance; Ctrl-C ends the day in order."""

    def show(update: Update) -> None:
        line = log_line(update)
        if line:
            typer.echo(line)

    # The first Ctrl-C ends the day in order: what is being said is still kept, and the sheet follows.
    signal.signal(signal.SIGINT, lambda *_: stop.set())
    run(show)


def _new_database() -> Path:
    """A new file for the day in the user's data folder, named by the time."""
    folder = platformdirs.user_data_path("voicecapture") / "days"
    try:
        private.make_folder(folder, parents=True)
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
    event, name, start_s = heard.decision.event, one_line(path.name), heard.utterance.start_s
    return f"{name}  {start_s:7.1f} s  {heard.decision.outcome:<9} {event.heard}  ({event.reason})"
