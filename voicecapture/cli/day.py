"""Commands that listen: the demo, the check before a day, the day, recordings."""

from collections.abc import Iterable
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from voicecapture import demo
from voicecapture.audio import AudioChunk, Source, after, later, paced, read_recording
from voicecapture.cli.begin import Wanted
from voicecapture.cli.options import (
    DatabaseOption,
    EngineOption,
    HerdOption,
    MatingsOption,
    ModelOption,
    NewDayOption,
    PlainOption,
    SettingsOption,
    WebAtOption,
    WebOption,
)
from voicecapture.cli.running import Plan, run_day, serve
from voicecapture.ear import Heard
from voicecapture.engines import make_recogniser
from voicecapture.errors import AudioError
from voicecapture.hear import as_json, hear_file
from voicecapture.herd import Herd
from voicecapture.language.grammar import Grammar
from voicecapture.language.grammar_file import load_grammar
from voicecapture.lists.herd import read_herd
from voicecapture.live import listen as listen_live
from voicecapture.live import unbroken
from voicecapture.microphone import choose, list_microphones
from voicecapture.plain_text import one_line
from voicecapture.recogniser import Recogniser
from voicecapture.settings import Settings, read_settings
from voicecapture.speaker import SilentSpeaker, SoundCardSpeaker
from voicecapture.spool import check_sound, read_sound
from voicecapture.verdict import Said, Verdict, VoiceCheck, said_words, summary
from voicecapture.voice import ReadBackVoice
from voicecapture.voice_check import PHRASES
from voicecapture.voice_check import check as voice_check

app = typer.Typer()
MicrophoneOption = Annotated[
    str | None, typer.Option("--device", help="Microphone, by part of its name; without it the one used last.")
]


@app.command("demo")
def demo_command(
    plain: PlainOption = False,
    speed: Annotated[float, typer.Option(min=0.5, max=1000, help="Times real speed.")] = 6.0,
    database: DatabaseOption = None,
    web: WebOption = False,
    web_at: WebAtOption = None,
) -> None:
    """Hear the demo morning: 60 cows of Alder Bank, an invented farm, from a recording."""
    herd = read_herd(demo.HERD)
    typer.echo(f"Alder Bank, an invented herd of {len(herd)} cows; a recorded morning at {speed:g} times its speed.")
    settings = Settings()
    run_day(
        Plan(
            Wanted(herd, demo.HERD, demo.SCANNED_ON, settings.scan, demo.RECORDING.name, "", is_live=False),
            lambda _: paced(read_recording(demo.RECORDING), speed),
            settings,
            partial(make_recogniser, "listener", None),
            SilentSpeaker(),
            database,
            is_plain=plain,
            web=serve(web, web_at, plain),
        )
    )


@app.command()
def check(
    device: MicrophoneOption = None,
    recording: Annotated[Path | None, typer.Option("--from", help="A recording of the twenty phrases.")] = None,
    settings: SettingsOption = None,
    engine: EngineOption = "listener",
    model: ModelOption = None,
) -> None:
    """Check a voice and a microphone with twenty phrases, where the scan will be and with its noise."""
    if recording is not None:
        check_sound(recording)
        chunks = read_sound(recording)
    else:
        microphone = choose(device)
        typer.echo(f"Microphone: {microphone}")
        chunks = unbroken(listen_live(microphone))
    practice = read_settings(settings)
    grammar = load_grammar(practice_findings=practice.findings)
    if _check_plainly(chunks, grammar, make_recogniser(engine, model), practice).verdict is Verdict.UNFIT:
        raise typer.Exit(1)


def _check_plainly(
    chunks: Iterable[AudioChunk], grammar: Grammar, recogniser: Recogniser, practice: Settings
) -> VoiceCheck:
    """The voice check in lines, with its figures and verdict."""
    said: list[Said] = []

    def prompt(number: int, phrase: str) -> None:
        typer.echo(f'{number:>2} of {len(PHRASES)}: say "{phrase}"')

    for one in voice_check(chunks, grammar, recogniser, practice, prompt):
        said.append(one)
        typer.echo(f"          {said_words(one)}")
    result = VoiceCheck(tuple(said))
    typer.echo("\n".join(summary(result)))
    return result


@app.command()
def listen(
    herd: HerdOption = None,
    matings: MatingsOption = None,
    vet: Annotated[str, typer.Option(help="Who scans; stands on the sheet.")] = "",
    device: MicrophoneOption = None,
    devices: Annotated[bool, typer.Option("--list-devices", help="List the microphones, and end.")] = False,
    recording: Annotated[Path | None, typer.Option("--from", help="A recording, heard as if live.")] = None,
    speed: Annotated[float, typer.Option(min=0.5, max=1000, help="Times real speed, with --from.")] = 1.0,
    reader: Annotated[
        str | None,
        typer.Option(metavar="URL", help="Electronic-ID reader: COM3, /dev/ttyUSB0 or socket://HOST:PORT."),
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="No read-back and no tones.")] = False,
    settings: SettingsOption = None,
    database: DatabaseOption = None,
    new_day: NewDayOption = False,
    plain: PlainOption = False,
    engine: EngineOption = "listener",
    model: ModelOption = None,
    web: WebOption = False,
    web_at: WebAtOption = None,
) -> None:
    """Listen to a scan day at the microphone, and keep the record."""
    if devices:
        typer.echo(list_microphones())
        return
    if recording is not None:
        check_sound(recording)
        source = one_line(recording.name)
    else:
        microphone = choose(device)
        source = str(microphone)
        typer.echo(f"Microphone: {microphone}")

    def listen_from(from_s: float) -> Source:
        if recording is not None:
            return paced(after(read_sound(recording), from_s), speed)
        return later(listen_live(microphone), from_s)

    practice, is_live = read_settings(settings), recording is None
    cows = read_herd(herd) if herd else Herd()
    run_day(
        Plan(
            Wanted(cows, herd, datetime.now().date(), practice.scan, source, vet, is_live),
            listen_from,
            practice,
            partial(make_recogniser, engine, model),
            SilentSpeaker() if quiet else SoundCardSpeaker(ReadBackVoice()),
            database,
            matings,
            reader=reader,
            goes_on=not new_day,
            is_plain=plain,
            web=serve(web, web_at, plain),
        )
    )


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
        check_sound(path)
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
