"""Makes the pictures of README from the demo morning: the shed screen, the desk, the first page of the sheet.

    python -m voicecapture.synthesis.pictures [FOLDER]

Needs weasyprint and pypdfium2 besides what the product needs.
"""

import asyncio
import sys
import tempfile
import threading
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

import pypdfium2

from voicecapture import demo
from voicecapture.alert import entry_alerts
from voicecapture.audio import read_recording
from voicecapture.dashboard.app import Dashboard
from voicecapture.dashboard.look import Look
from voicecapture.dashboard.shed import Shed
from voicecapture.day import Day
from voicecapture.decision import Outcome
from voicecapture.desk.app import DeskApp
from voicecapture.desk.player import CardPlayer
from voicecapture.desk.sitting import Desk, Sitting
from voicecapture.ear import Ear
from voicecapture.herd import Matings
from voicecapture.language.grammar_file import load_grammar
from voicecapture.lists.herd import read_herd
from voicecapture.recogniser.listener import Listener
from voicecapture.report.content import make_report
from voicecapture.report.page import html_page, pdf_page
from voicecapture.session import Session
from voicecapture.settings import Settings
from voicecapture.speaker import SilentSpeaker
from voicecapture.store.clips import read_clips
from voicecapture.store.record import Record
from voicecapture.store.season import read_season
from voicecapture.update import Update

_SHED_SIZE, _DESK_SIZE = (90, 26), (120, 30)
"""Columns and rows."""
_COWS_SHOWN = 30
"""So many cows into the morning the shed screen is shown."""
_SHEET_WIDTH = 900
_SHEET_SHADES = 64


def make_pictures(folder: Path) -> None:
    """Write `shed.svg`, `desk.svg` and `sheet.png`."""
    with tempfile.TemporaryDirectory() as scratch:
        record = Record.open(Path(scratch) / "morning.db")
        try:
            told = _morning(record)
            _shed(told, folder / "shed.svg")
            _desk(record, folder / "desk.svg")
            _sheet(record, folder / "sheet.png")
        finally:
            record.close()


def _morning(record: Record) -> list[Update]:
    """Hear the demo morning; what a screen is told of it."""
    herd, settings, told = read_herd(demo.HERD), Settings(), list[Update]()
    day_id = record.start_day(herd, demo.SCANNED_ON, settings.scan, demo.HERD.name, demo.RECORDING.name)
    ear = Ear(Day(herd, settings.scan), load_grammar(), Listener(), settings)
    watch = partial(entry_alerts, scanned_on=demo.SCANNED_ON, matings=Matings(), settings=settings.reckoning)
    session = Session(ear, record, day_id, SilentSpeaker(), watch)
    session.run(read_recording(demo.RECORDING), told.append, threading.Event())
    return told


def _shed(told: Sequence[Update], file: Path) -> None:
    settings, stop = Settings(), threading.Event()
    last = next(
        place
        for place, update in enumerate(told)
        if update.day.counts.scanned == _COWS_SHOWN
        and update.decision is not None
        and update.decision.outcome is Outcome.ACCEPTED
    )

    def session(show: Callable[[Update], None]) -> Day:
        for update in told[: last + 1]:
            show(update)
        stop.wait()
        return told[last].day

    shed = Shed("a recorded morning", Path("morning.db"), settings.decision, 90, ())
    asyncio.run(_draw(Dashboard(session, lambda line, day: None, stop, shed), _SHED_SIZE, file))
    stop.set()


def _desk(record: Record, file: Path) -> None:
    read, clips = partial(read_season, record), partial(read_clips, record)
    sitting = Sitting(Desk("A Vet", Settings(), read, clips, lambda *_: None, Listener))
    asyncio.run(_draw(DeskApp(sitting, CardPlayer()), _DESK_SIZE, file))


async def _draw(app: Look[None], size: tuple[int, int], file: Path) -> None:
    async with app.run_test(size=size) as pilot:
        await pilot.pause(2)
        file.write_text(app.picture(), encoding="utf-8")


def _sheet(record: Record, file: Path) -> None:
    pdf = pdf_page(html_page(make_report(read_season(record), Settings().reckoning)))
    with pypdfium2.PdfDocument(pdf) as document:
        page = document[0]
        picture = page.render(scale=_SHEET_WIDTH / page.get_width()).to_pil()
    picture.quantize(_SHEET_SHADES).save(file, optimize=True)


if __name__ == "__main__":
    make_pictures(Path(sys.argv[1]) if len(sys.argv) > 1 else Path("docs"))
