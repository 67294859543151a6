"""The guided start of a day, on a screen or by flags."""

import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import closing, suppress
from dataclasses import replace
from datetime import datetime
from functools import cache, partial
from pathlib import Path
from typing import Annotated

import typer

from voicecapture.audio import AudioChunk, Chunks, after, later, paced
from voicecapture.audio import Source as Sound
from voicecapture.cli.begin import Wanted
from voicecapture.cli.day import MicrophoneOption, _check_plainly
from voicecapture.cli.options import (
    DatabaseOption,
    EngineOption,
    HerdOption,
    MatingsOption,
    ModelOption,
    NewDayOption,
    PlainOption,
    SettingsOption,
)
from voicecapture.cli.running import Plan, run_day
from voicecapture.engines import make_recogniser
from voicecapture.errors import AudioError, HerdError
from voicecapture.language.grammar_file import load_grammar
from voicecapture.live import listen as listen_live
from voicecapture.live import unbroken
from voicecapture.microphone import Microphone, choose, microphones
from voicecapture.recogniser import Recogniser
from voicecapture.rehearsal import Begun, Source
from voicecapture.settings import Settings, read_settings
from voicecapture.speaker import SilentSpeaker, SoundCardSpeaker, Speaker
from voicecapture.spool import check_sound, read_sound
from voicecapture.start import Field, Start, filled
from voicecapture.store.record import now
from voicecapture.verdict import Said, Verdict
from voicecapture.voice import ReadBackVoice
from voicecapture.voice_check import check as voice_check

app = typer.Typer()

_FLAGS = {
    Field.HERD: "--herd",
    Field.MATINGS: "--matings",
    Field.FARM: "--farm",
    Field.VET: "--vet",
    Field.SCAN: "--scan",
    Field.SCANNED_ON: "--date",
    Field.MATING_START: "--mating-start",
}


@app.command()
def new(
    herd: HerdOption = None,
    matings: MatingsOption = None,
    farm: Annotated[str, typer.Option(help="Names the day's file.")] = "",
    vet: Annotated[str, typer.Option(help="Who scans; stands on the sheet.")] = "",
    scan: Annotated[str, typer.Option(help="aged or yes_no; without it as in the settings.")] = "",
    scanned_on: Annotated[str, typer.Option("--date", help="Day of the scan, yyyy-mm-dd; today.")] = "",
    mating_start: Annotated[str, typer.Option(help="First day of mating, yyyy-mm-dd.")] = "",
    device: MicrophoneOption = None,
    check_from: Annotated[Path | None, typer.Option(help="A recording of the twenty lines.")] = None,
    no_check: Annotated[bool, typer.Option("--no-check", help="With --plain: begin without the check.")] = False,
    recording: Annotated[Path | None, typer.Option("--from", help="A recording, heard as if live.")] = None,
    speed: Annotated[float, typer.Option(min=0.5, max=1000, help="Times real speed, of recordings.")] = 1.0,
    quiet: Annotated[bool, typer.Option("--quiet", help="No read-back and no tones.")] = False,
    settings: SettingsOption = None,
    database: DatabaseOption = None,
    new_day: NewDayOption = False,
    plain: PlainOption = False,
    engine: EngineOption = "listener",
    model: ModelOption = None,
) -> None:
    """Begin a day step by step: lists, vet, scan, microphone, voice check. With --plain by these flags alone."""
    practice = read_settings(settings)
    for path in filter(None, (recording, check_from)):
        check_sound(path)
    typed = {
        Field.HERD: str(herd or ""),
        Field.MATINGS: str(matings or ""),
        Field.FARM: farm,
        Field.VET: vet,
        Field.SCAN: scan or practice.scan.value,
        Field.SCANNED_ON: scanned_on or datetime.now().date().isoformat(),
        Field.MATING_START: mating_start,
    }
    start = Start()
    for field, text in typed.items():
        start = filled(start, field, text)
    load = cache(partial(make_recogniser, engine, model))
    if plain or not sys.stdout.isatty():
        is_checked = not no_check and (check_from is not None or recording is None)
        named = partial(_named, device, recording, check_from, speed)
        begun: Begun | None = _by_flags(start, named, practice, load, is_checked)
    else:
        begun = _on_screen(start, typed, partial(_sources, device, recording, check_from, speed), practice, load)
    if begun is None:
        typer.echo("No day was begun.")
        return
    speaker: Speaker = SilentSpeaker() if quiet else SoundCardSpeaker(ReadBackVoice())
    run_day(replace(_plan(begun, practice, load, speaker, database, new_day), is_plain=plain))


def _plan(
    begun: Begun,
    practice: Settings,
    load: Callable[[], Recogniser],
    speaker: Speaker,
    database: Path | None,
    new_day: bool,
) -> Plan:
    """The day itself, as `listen` runs it."""
    start, source = begun.start, begun.source
    assert start.herd is not None and start.scanned_on is not None
    herd, kind = start.herd, start.scan
    return Plan(
        Wanted(herd.herd, herd.file, start.scanned_on, kind, source.name, start.vet, source.is_live, start.farm),
        source.listen,
        replace(practice, scan=kind),
        load,
        speaker,
        database,
        start.matings.file if start.matings else None,
        start.mating_start,
        begun.checks,
        goes_on=not new_day,
    )


def _by_flags(
    start: Start, choose: Callable[[], Source], practice: Settings, load: Callable[[], Recogniser], is_checked: bool
) -> Begun:
    """Where there is no screen: all that is needed must be there, and the check is made in lines."""
    for field, fault in start.faults.items():
        if field in (Field.HERD, Field.MATINGS):
            raise HerdError(fault)
        raise typer.BadParameter(fault, param_hint=_FLAGS[field])
    if start.missing:
        raise typer.BadParameter("needed where there is no screen", param_hint=[_FLAGS[f] for f in start.missing])
    source = choose()
    if not is_checked:
        return Begun(start, source, ())
    with closing(source.rehearse()) as chunks:
        grammar = load_grammar(practice_findings=practice.findings)
        result = replace(_check_plainly(chunks, grammar, load(), practice), checked_at=now())
    if result.verdict is Verdict.UNFIT and not (sys.stdin.isatty() and typer.confirm("Begin all the same?")):
        raise AudioError(
            f"the voice check: {result.verdict}; expected fit to use, or use with care. Check again, or begin "
            "without it: --no-check."
        )
    return Begun(start, source, (result,))


def _on_screen(
    start: Start,
    typed: Mapping[Field, str],
    choose_from: Callable[[], list[Source]],
    practice: Settings,
    load: Callable[[], Recogniser],
) -> Begun | None:
    """On the screen; None if no day is to begin."""
    # The screen is loaded only where there is one.
    from voicecapture.guide.app import Guide, GuideApp

    grammar = load_grammar(practice_findings=practice.findings)

    def check(chunks: Iterable[AudioChunk], prompt: Callable[[int, str], None]) -> Iterator[Said]:
        yield from voice_check(chunks, grammar, load(), practice, prompt)

    try:
        sources, why = choose_from(), "no microphone was found; expected one. Plug it in and start again."
    except AudioError as error:
        sources, why = [], str(error)
    guide = Guide(sources, why, check, datetime.now().date(), practice.decision, now)
    return GuideApp(guide, start, typed).ask()


def _source(microphone: Microphone | None, recording: Path | None, check_from: Path | None, speed: float) -> Source:
    """What is listened to: a microphone, with recordings in its place for the day or the check."""
    listen = partial(_played_from, recording, speed) if recording else partial(_heard_from, microphone)
    rehearsed = check_from or recording
    rehearse = partial(_played, rehearsed, speed) if rehearsed else partial(_heard, microphone)
    return Source(recording.name if recording else str(microphone), rehearse, listen, recording is None)


def _named(device: str | None, recording: Path | None, check_from: Path | None, speed: float) -> Source:
    """The microphone that was named, or used last; none where recordings are in its place."""
    return _source(None if recording else choose(device), recording, check_from, speed)


def _sources(device: str | None, recording: Path | None, check_from: Path | None, speed: float) -> list[Source]:
    """What may be chosen on the screen: all microphones, the one used last first, or the one that was named."""
    if device is not None or recording is not None:
        return [_named(device, recording, check_from, speed)]
    first: Microphone | None = None
    with suppress(AudioError):  # the one used last is not there, and the user chooses
        first = choose()
    there = sorted((microphone for _, microphone in microphones()), key=lambda microphone: microphone != first)
    return [_source(microphone, None, check_from, speed) for microphone in there]


def _heard(microphone: Microphone | None) -> Chunks:
    assert microphone is not None
    return unbroken(listen_live(microphone))


def _heard_from(microphone: Microphone | None, from_s: float) -> Sound:
    assert microphone is not None
    return later(listen_live(microphone), from_s)


def _played(recording: Path, speed: float) -> Chunks:
    """A recording in the place of the microphone."""
    return _played_from(recording, speed, 0.0)


def _played_from(recording: Path, speed: float, from_s: float) -> Chunks:
    return paced(after(read_sound(recording), from_s), speed)
