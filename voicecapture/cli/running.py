"""Runs a day from its plan to its sheet, on the screen or in lines."""

import signal
import sys
import threading
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from voicecapture.alert import entry_alerts
from voicecapture.audio import Source
from voicecapture.cli.begin import Begun, Wanted, begin
from voicecapture.ear import Ear
from voicecapture.errors import AudioError, ReaderError
from voicecapture.herd import Herd, Matings
from voicecapture.language.crib import crib
from voicecapture.language.grammar import Grammar
from voicecapture.language.grammar_file import load_grammar
from voicecapture.lists.matings import FORMAT, parse_matings
from voicecapture.lists.table import read_text
from voicecapture.plain import log_line
from voicecapture.reader import Reader
from voicecapture.recogniser import Recogniser
from voicecapture.report.content import make_report
from voicecapture.report.text import text_report
from voicecapture.session import Session
from voicecapture.settings import Settings
from voicecapture.speaker import Speaker
from voicecapture.spool import Spool
from voicecapture.store.record import Record
from voicecapture.store.season import add_list, read_season, set_mating_start
from voicecapture.update import Update
from voicecapture.verdict import VoiceCheck

if TYPE_CHECKING:
    from voicecapture.dashboard.web import WebScreen


@dataclass(frozen=True, slots=True)
class Plan:
    """A day that is to be run."""

    wanted: Wanted
    listen_from: Callable[[float], Source]
    """Opens the source at the second of the audio clock from which the day goes on."""
    settings: Settings
    recogniser: Callable[[], Recogniser]
    """Loads the engine."""
    speaker: Speaker
    database: Path | None
    matings: Path | None = None
    mating_start: date | None = None
    checks: Sequence[VoiceCheck] = ()
    """Voice checks that were made for it."""
    reader: str | None = None
    """Address of the electronic-ID reader."""
    goes_on: bool = False
    """A day that was cut off is gone on with."""
    is_plain: bool = False
    web: "WebScreen | None" = None


def run_day(plan: Plan) -> None:
    """Run one day to its end and print its sheet."""
    settings = plan.settings
    gate = _open_reader(plan.reader, plan.wanted.herd) if plan.reader else None
    grammar = load_grammar(practice_findings=settings.findings)
    recogniser = plan.recogniser()
    mating_list = read_text(plan.matings, FORMAT) if plan.matings else ""
    mated = parse_matings(mating_list, str(plan.matings)) if plan.matings else Matings()
    begun = begin(plan.wanted, plan.database, not plan.goes_on)
    if not plan.matings and not begun.is_new:
        mated = read_season(begun.record, begun.day_id).matings
    _keep_with_it(plan, begun, mating_list)
    watch = partial(entry_alerts, scanned_on=begun.scanned_on, matings=mated, settings=settings.reckoning)
    ear = Ear(begun.day, grammar, recogniser, settings, begun.next_utterance, plan.speaker.sounded)
    spool = _spool(plan, begun)
    session = Session(ear, begun.record, begun.day_id, plan.speaker, watch, gate, spool, begun.from_s)
    lost: AudioError | None = None
    try:
        try:
            lost = _listen(plan, session, begun, grammar)
        finally:
            rescued = _end_keeping(session)
        if rescued is not None:
            with Record.reading(rescued) as kept:
                season = read_season(kept)
        else:
            season = read_season(begun.record, begun.day_id)
            if lost is None:
                begun.record.end_day(begun.day_id)
    finally:
        plan.speaker.close()
        if spool is not None:
            spool.close()
        begun.record.close()
        if plan.web is not None:
            plan.web.close()
    typer.echo("\n".join(text_report(make_report(season, settings.reckoning))))
    typer.echo(f"\nThe day is kept in {rescued or begun.record.path}")
    if lost is not None:
        raise lost
    if rescued is not None:
        raise typer.Exit(1)


def _keep_with_it(plan: Plan, begun: Begun, mating_list: str) -> None:
    """Keep with the day what was said of it before it began."""
    if plan.matings and begun.is_new:
        add_list(begun.record, "matings", str(plan.matings), mating_list)
    if plan.mating_start is not None:
        set_mating_start(begun.record, plan.mating_start)
    for made in plan.checks:
        begun.record.keep_voice_check(begun.day_id, made)


def _spool(plan: Plan, begun: Begun) -> Spool | None:
    """Where the sound of a live day is kept; a recording is there already."""
    if not plan.wanted.is_live:
        return None
    path = begun.record.path
    folder = path.with_name(f"{path.stem}_spool") / f"day{begun.day_id}"
    return Spool(folder, plan.settings.spool_hours, plan.settings.spool_drops_oldest)


def _listen(plan: Plan, session: Session, begun: Begun, grammar: Grammar) -> AudioError | None:
    """Listen until the day ends; why the sound was lost, if the day then went on by hand."""
    chunks, stop = plan.listen_from(begun.from_s), threading.Event()
    is_live, is_seen = plan.wanted.is_live, sys.stdout.isatty()
    if plan.is_plain or (plan.web is None and not is_seen):
        _run_plainly(session, chunks, stop, sys.stdin if is_live else None)
        return None
    # The screen is loaded only where there is one.
    from voicecapture.dashboard.app import Dashboard
    from voicecapture.dashboard.shed import Shed

    bars, break_after = plan.settings.decision, plan.settings.break_after_minutes
    shed = Shed(plan.wanted.source, begun.record.path, bars, break_after, crib(grammar))
    run = partial(session.run, chunks, stop=stop, stays_open=is_live)
    if not is_seen:
        _end_in_order_at_ctrl_c(stop)
    try:
        Dashboard(run, session.type, stop, shed, plan.web).run_day(headless=not is_seen)
    except AudioError as error:
        return error  # the day has its sheet
    return None


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


def serve(is_wanted: bool, address: str | None, plain: bool) -> "WebScreen | None":
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
