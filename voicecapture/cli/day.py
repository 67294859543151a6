"""Commands that listen: the demo, the check before a day, the day, recordings."""

import signal
import sys
import threading
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from datetime import date, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from voicecapture import demo
from voicecapture.alert import entry_alerts
from voicecapture.audio import AudioChunk, Source, after, later, paced, read_recording
from voicecapture.cli.begin import Wanted, begin
from voicecapture.cli.options import (
    DatabaseOption,
    EngineOption,
    HerdOption,
    MatingsOption,
    ModelOption,
    PlainOption,
    SettingsOption,
    WebAtOption,
    WebOption,
)
from voicecapture.ear import Ear, Heard
from voicecapture.engines import make_recogniser
from voicecapture.errors import AudioError, ReaderError
from voicecapture.hear import as_json, hear_file
from voicecapture.herd import Herd, Matings
from voicecapture.language.crib import crib
from voicecapture.language.grammar import Grammar, load_grammar
from voicecapture.lists.herd import read_herd
from voicecapture.lists.matings import FORMAT, parse_matings
from voicecapture.lists.table import read_text
from voicecapture.live import listen as listen_live
from voicecapture.live import unbroken
from voicecapture.microphone import choose, list_microphones
from voicecapture.plain import log_line
from voicecapture.reader import Reader
from voicecapture.recogniser import Recogniser
from voicecapture.report.content import make_report
from voicecapture.report.text import text_report
from voicecapture.session import Session
from voicecapture.settings import Settings, read_settings
from voicecapture.speaker import HibariVoice, SilentSpeaker, SoundCardSpeaker, Speaker
from voicecapture.spool import Spool, check_sound, read_sound
from voicecapture.store.record import Record
from voicecapture.store.season import add_list, read_season, set_mating_start
from voicecapture.update import Update
from voicecapture.verdict import Said, Verdict, VoiceCheck, said_words, summary
from voicecapture.voice_check import PHRASES
from voicecapture.voice_check import check as voice_check

if TYPE_CHECKING:
    from voicecapture.dashboard.web import WebScreen

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
    _run_day(
        lambda _: paced(read_recording(demo.RECORDING), speed),
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
        web=_serve(web, web_at, plain),
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
    new_day: Annotated[bool, typer.Option("--new-day", help="Begin a day, though the last was cut off.")] = False,
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
        source = recording.name
    else:
        microphone = choose(device)
        source = str(microphone)
        typer.echo(f"Microphone: {microphone}")

    def listen_from(from_s: float) -> Source:
        if recording is not None:
            return paced(after(read_sound(recording), from_s), speed)
        return later(listen_live(microphone), from_s)

    speaker: Speaker = SilentSpeaker() if quiet else SoundCardSpeaker(HibariVoice())
    _run_day(
        listen_from,
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
        web=_serve(web, web_at, plain),
        reader=reader,
        goes_on=not new_day,
    )


def _run_day(
    listen_from: Callable[[float], Source],
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
    web: "WebScreen | None" = None,
    mating_start: date | None = None,
    checks: Sequence[VoiceCheck] = (),
    reader: str | None = None,
    goes_on: bool = False,
) -> None:
    """Run one day to its end and print its sheet.

    The source is opened at the second of the audio clock from which the day goes on.
    """
    gate = _open_reader(reader, herd) if reader else None
    grammar = load_grammar(practice_findings=settings.findings)
    recogniser = make_recogniser(engine, model)
    mating_list = read_text(matings, FORMAT) if matings else ""
    mated = parse_matings(mating_list, str(matings)) if matings else Matings()
    wanted = Wanted(herd, herd_file, scanned_on, settings.scan, source, vet, is_live)
    begun = begin(wanted, database, not goes_on)
    record, day_id, path = begun.record, begun.day_id, begun.record.path
    if matings and begun.is_new:
        add_list(record, "matings", str(matings), mating_list)
    if mating_start is not None:
        set_mating_start(record, mating_start)
    for made in checks:
        record.keep_voice_check(day_id, made)
    watch = partial(entry_alerts, scanned_on=begun.scanned_on, matings=mated, settings=settings.reckoning)
    # A recording is there already; the sound of a live day is kept beside it.
    folder = path.with_name(f"{path.stem}_spool") / f"day{day_id}"
    spool = Spool(folder, settings.spool_hours, settings.spool_drops_oldest) if is_live else None
    ear = Ear(begun.day, grammar, recogniser, settings, begun.next_utterance, speaker.sounded)
    session = Session(ear, record, day_id, speaker, watch, gate, spool, begun.from_s)
    chunks = listen_from(begun.from_s)
    stop = threading.Event()
    lost: AudioError | None = None
    try:
        try:
            is_seen = sys.stdout.isatty()
            if plain or (web is None and not is_seen):
                _run_plainly(session, chunks, stop, sys.stdin if is_live else None)
            else:
                # The screen is loaded only where there is one.
                from voicecapture.dashboard import Dashboard, Shed

                shed = Shed(source, path, settings.decision, settings.break_after_minutes, crib(grammar))
                run = partial(session.run, chunks, stop=stop, stays_open=is_live)
                try:
                    if not is_seen:
                        _end_in_order_at_ctrl_c(stop)
                    Dashboard(run, session.type, stop, shed, web).run_day(headless=not is_seen)
                except AudioError as error:
                    lost = error  # the day went on by hand, and has its sheet
        finally:
            rescued = _end_keeping(session)
        if rescued is not None:
            with Record.reading(rescued) as kept:
                season = read_season(kept)
        else:
            season = read_season(record, day_id)
            if lost is None:
                record.end_day(day_id)
    finally:
        speaker.close()
        if spool is not None:
            spool.close()
        record.close()
        if web is not None:
            web.close()
    typer.echo("\n".join(text_report(make_report(season, settings.reckoning))))
    typer.echo(f"\nThe day is kept in {rescued or path}")
    if lost is not None:
        raise lost
    if rescued is not None:
        raise typer.Exit(1)


def _end_keeping(session: Session) -> Path | None:
    """Write what waits for the disk, however the day ended; tell of the rescue file where that could not be."""
    rescued = session.keeper.end()
    if rescued is not None:
        typer.echo(
            f"{session.keeper.trouble.rstrip('.')}. The whole day is in {rescued}: copy it to a safe place. "
            "`voicecapture season add` puts it into a season, or into the day's own file once that can be written.",
            err=True,
        )
    return rescued


def _open_reader(url: str, herd: Herd) -> Reader:
    """The electronic-ID reader; refused where nobody could tell whom it reads."""
    if not herd.by_electronic_id:
        raise ReaderError(
            "--reader: the herd list has no electronic ID; expected a column electronic_id. Add it, or leave "
            "--reader out."
        )
    return Reader(url)


def _run_plainly(session: Session, chunks: Source, stop: threading.Event, lines: Iterable[str] | None) -> None:
    """Listen with one line for each decision, and take typed lines; Ctrl-C ends the day in order."""
    seen = [session.day]

    def show(update: Update) -> None:
        seen[0] = update.day
        line = log_line(update)
        if line:
            typer.echo(line)

    def take() -> None:
        # A terminal that is closed, or is not ours, has no lines.
        with suppress(OSError, ValueError):
            for line in lines or ():
                if line.strip():
                    session.type(line.strip(), seen[0])

    _end_in_order_at_ctrl_c(stop)
    if hasattr(signal, "SIGTTIN"):
        # In the background of a terminal it must go on, without lines, and not be stopped.
        signal.signal(signal.SIGTTIN, signal.SIG_IGN)
    threading.Thread(target=take, name="lines", daemon=True).start()
    session.run(chunks, show, stop)


def _end_in_order_at_ctrl_c(stop: threading.Event) -> None:
    """What is being said is still kept, and the sheet follows."""
    signal.signal(signal.SIGINT, lambda *_: stop.set())


def _serve(is_wanted: bool, address: str | None, plain: bool) -> "WebScreen | None":
    """Begin to show the screen in browsers, if that is wanted."""
    if not is_wanted and address is None:
        return None
    if plain:
        raise typer.BadParameter("there is no screen to show with --plain", param_hint="--web")
    # The server is loaded only where it serves.
    from voicecapture.dashboard.web import LOOPBACK, WebScreen

    web = WebScreen(address or LOOPBACK)
    typer.echo(f"In a browser: {web.url}")
    return web


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
    event = heard.decision.event
    return (
        f"{path.name}  {heard.utterance.start_s:7.1f} s  {heard.decision.outcome:<9} {event.heard}  ({event.reason})"
    )
