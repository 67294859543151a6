"""The screen over updates made up by hand, for a test to look at and to press keys."""

import asyncio
import threading
from collections.abc import Awaitable, Callable
from pathlib import Path

from textual.app import App
from textual.pilot import Pilot
from textual.widgets import Static

from voicecapture.bars import DecisionSettings
from voicecapture.dashboard.app import Dashboard
from voicecapture.dashboard.shed import Shed
from voicecapture.dashboard.web import WebScreen
from voicecapture.day import Candidate, Day, Event, EventKind
from voicecapture.decision import Decision, Outcome
from voicecapture.herd import Animal, Herd
from voicecapture.language.crib import Section
from voicecapture.language.phrase import Entry, Result
from voicecapture.update import Update

SHED = Shed(
    "barn headset", Path("day.db"), DecisionSettings(), 30.0, (Section("The cow", ("[cow / number] NUMBER",)),)
)
FIFTEEN, FIFTY = Entry("419", Result.PREGNANT, 45), Entry("419", Result.PREGNANT, 50)
CHOICE = Event(
    *(EventKind.QUESTION, 30.0, 3, FIFTEEN, "it may have been another age", 0.6),
    (Candidate(FIFTEEN, 0.6), Candidate(FIFTY, 0.4)),
)
TAKEN = Event(EventKind.ACCEPTED, 20.0, 2, Entry("417", Result.PREGNANT, 56, True), "clearly heard")
_OUTCOMES = {EventKind.QUESTION: Outcome.QUESTION, EventKind.IGNORED: Outcome.IGNORED}


def updates(*events: Event) -> list[Update]:
    """A day of a herd of three as the session tells it."""
    day, told = Day(Herd(Animal(cow) for cow in ("417", "419", "608"))), []
    for event in events:
        day = day.after(event)
        decision = Decision(_OUTCOMES.get(event.kind, Outcome.ACCEPTED), event)
        told.append(Update(day, decision, event.at_s, -20.0, -45.0, True, "read back"))
    return told


MORNING = updates(
    Event(EventKind.ACCEPTED, 10.0, 1, Entry("608", Result.EMPTY)),
    TAKEN,
    CHOICE,
    Event(EventKind.IGNORED, 40.0, 4, reason="not an entry: talk or noise"),
)
Seen = Callable[[Dashboard, Pilot[None]], Awaitable[None]]


class Showing:
    """The screen over some updates, while `seen` looks at it and presses keys."""

    def __init__(
        self,
        told: list[Update],
        seen: Seen,
        size: tuple[int, int] = (80, 24),
        key: str = "q",
        web: WebScreen | None = None,
    ) -> None:
        self.told, self.typed = told, list[tuple[str, Day]]()
        self.stop = threading.Event()
        self.was_stopped: list[bool] = []
        self.app = Dashboard(self.session, lambda line, day: self.typed.append((line, day)), self.stop, SHED, web)
        try:
            asyncio.run(self.run(seen, size, key))
        finally:
            if web is not None:
                web.close()
        assert self.was_stopped == [True]

    def session(self, show: Callable[[Update], None]) -> Day:
        for update in self.told:
            show(update)
        self.was_stopped.append(self.stop.wait(10))
        return self.told[-1].day

    async def run(self, seen: Seen, size: tuple[int, int], key: str) -> None:
        async with self.app.run_test(size=size) as pilot:
            await settled(pilot)
            await seen(self.app, pilot)
            await pilot.press(key)
            await settled(pilot)


async def settled(pilot: Pilot[None]) -> None:
    """Long enough for the screen to look for updates."""
    await pilot.pause(0.15)


def text(app: App[None], selector: str) -> str:
    return str(app.query_one(selector, Static).render())


def look(told: list[Update], seen: Callable[[Dashboard], None], size: tuple[int, int] = (80, 24)) -> None:
    async def looked(app: Dashboard, _: Pilot[None]) -> None:
        seen(app)

    Showing(told, looked, size)
