"""The guided start: its fields and keys, the microphone, the voice check, and the day that begins."""

import asyncio
import threading
from collections.abc import Awaitable, Callable, Iterable, Iterator, Sequence
from datetime import date
from pathlib import Path

import pytest
from textual.app import App
from textual.pilot import Pilot
from textual.widgets import Input, Static

from tests.fakes import ScriptedRecogniser, in_chunks, with_pauses
from tests.test_rehearsal import Endless
from voicecapture.audio import AudioChunk, Chunks
from voicecapture.bars import DecisionSettings
from voicecapture.dashboard.letters import large
from voicecapture.dashboard.widgets import SoundPanel
from voicecapture.day import ScanKind
from voicecapture.errors import AudioError, ScreenError
from voicecapture.guide.app import Guide, GuideApp
from voicecapture.guide.checking import CheckScreen
from voicecapture.guide.choice import Choice
from voicecapture.language.grammar_file import load_grammar
from voicecapture.language.phrase import Entry
from voicecapture.rehearsal import Begun, Check, Source
from voicecapture.settings import Settings
from voicecapture.start import Field, Start, filled
from voicecapture.verdict import Said, Verdict
from voicecapture.voice_check import PHRASES, check, meaning

TODAY = date(2027, 2, 9)
GRAMMAR = load_grammar()
RIGHT = [Said(phrase, phrase, True, True, 20.0, -20.0) for phrase in PHRASES]
LOST = Said(PHRASES[19], "", False, False)
TAKEN_WRONG = Said(PHRASES[19], "five empty", False, True, 20.0, -20.0)
GIVEN = {Field.VET: "A Vet", Field.SCANNED_ON: "2027-02-09"}
"""With a herd list, all that is needed."""
Seen = Callable[[GuideApp, Pilot[Begun]], Awaitable[None]]


def reading(lines: int) -> Callable[[], Chunks]:
    """A recording in which something is said so often."""
    return lambda: in_chunks(with_pauses(1.0, *(part for _ in range(lines) for part in ("five.", 1.0))))


def scripted(said: Sequence[Said]) -> Check:
    """A check of which it is known what it hears, a line with each piece of sound."""

    def checked(chunks: Iterable[AudioChunk], prompt: Callable[[int, str], None]) -> Iterator[Said]:
        for number, (line, _) in enumerate(zip(said, chunks, strict=False), 1):
            prompt(number, line.phrase)
            yield line

    return checked


def never_ending(chunks: Iterable[AudioChunk], prompt: Callable[[int, str], None]) -> Iterator[Said]:
    """A check that goes wrong at once and then hears nothing more."""
    prompt(1, PHRASES[0])
    yield TAKEN_WRONG
    for _ in chunks:
        pass


def listening(hears: Sequence[Entry | None]) -> Check:
    """The check itself, with a recogniser of which it is known what it hears."""
    return lambda chunks, prompt: check(chunks, GRAMMAR, ScriptedRecogniser(hears), Settings(), prompt)


def failing() -> Chunks:
    raise AudioError("barn headset: cannot be opened. Plug it in.")
    yield


def microphone(listen: Callable[[], Chunks], name: str = "barn headset") -> Source:
    return Source(name, listen, lambda _: listen())


ALL_RIGHT = scripted(RIGHT)


class Guided:
    """The guided start, while `seen` looks at it and presses keys; what it was left with is `begun`."""

    def __init__(
        self,
        seen: Seen,
        given: dict[Field, str] | None = None,
        sources: Sequence[Source] = (microphone(reading(1)),),
        check: Check = ALL_RIGHT,
        size: tuple[int, int] = (80, 24),
    ) -> None:
        typed, start = given or {}, Start()
        for field, text in typed.items():
            start = filled(start, field, text)
        guide = Guide(sources, "no microphone was found", check, TODAY, DecisionSettings(), lambda: "now")
        self.app = GuideApp(guide, start, typed)
        asyncio.run(self.run(seen, size))
        self.begun = self.app.return_value

    async def run(self, seen: Seen, size: tuple[int, int]) -> None:
        async with self.app.run_test(size=size) as pilot:
            await pilot.pause()
            await seen(self.app, pilot)


async def until(pilot: Pilot[Begun], is_so: Callable[[], bool]) -> None:
    for _ in range(600):
        if is_so():
            return
        await pilot.pause(0.05)
    raise AssertionError("it never came to be so")


def text(app: App[Begun], selector: str) -> str:
    return str(app.screen.query_one(selector, Static).render())


def state(app: App[Begun], field: Field | str) -> str:
    return text(app, f"#{field.name if isinstance(field, Field) else field}-remark")


def keys(line: str) -> list[str]:
    """The keys that type a line."""
    return ["space" if letter == " " else letter for letter in line]


async def to_the_verdict(app: GuideApp, pilot: Pilot[Begun]) -> None:
    """From the microphone's row through the check."""
    await pilot.press("enter")
    await until(pilot, lambda: isinstance(app.screen, CheckScreen))
    await until(pilot, lambda: bool(str(app.screen.query_one("#large", Static).render())))


@pytest.fixture
def herd(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.chdir(tmp_path)
    Path("herd.csv").write_text("cow,breed\n417,Friesian\n608,\n")
    return "herd.csv"


def test_the_whole_form_is_filled_in_with_enter_from_field_to_field(herd: str) -> None:
    matings = Path("matings.csv")
    matings.write_text("cow,served_on\n417,2026-12-03\n")

    async def seen(app: GuideApp, pilot: Pilot[Begun]) -> None:
        assert app.focused is not None and app.focused.id == "HERD"
        for line in (herd, str(matings), "Alder Bank", "A Vet"):
            await pilot.press(*keys(line), "enter")
        await pilot.press("right", "enter", *keys("9/2/2027"), "enter", *keys("2026-11-15"), "enter")
        assert app.focused.id == "microphone" and text(app, "#needed") == "✓ nothing is missing"
        assert state(app, Field.HERD) == "✓ 2 cows" and state(app, Field.MATINGS) == "✓ 1 services"
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, CheckScreen))
        await pilot.press("b")

    begun = Guided(seen, check=listening([])).begun
    assert begun is not None and begun.source.name == "barn headset" and begun.checks == ()
    start = begun.start
    assert start.herd is not None and start.matings is not None
    assert (str(start.herd.file), start.matings.file) == (herd, matings)
    assert (start.farm, start.vet, start.scan) == ("Alder Bank", "A Vet", ScanKind.YES_NO)
    assert (start.scanned_on, start.mating_start) == (TODAY, date(2026, 11, 15))


def test_the_list_is_shown_as_it_was_understood_while_it_is_typed(herd: str) -> None:
    async def seen(app: GuideApp, pilot: Pilot[Begun]) -> None:
        await pilot.press(*keys(herd[:-1]))
        assert state(app, Field.HERD).startswith("✗") and herd in text(app, "#understood")
        await pilot.press("v")
        assert text(app, "#understood").splitlines()[2:5] == ["cow    breed", '"cow"  "breed"', "417    Friesian"]

    Guided(seen)


def test_a_name_is_gone_on_with_by_the_right_arrow(herd: str) -> None:
    async def seen(app: GuideApp, pilot: Pilot[Begun]) -> None:
        await pilot.press(*keys(herd[:-6]))
        await pilot.pause(0.2)
        await pilot.press("right")
        assert app.screen.query_one("#HERD", Input).value == herd

    Guided(seen)


def test_every_wrong_line_is_shown(tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.csv"
    wrong.write_text("cow\nred\nblue\n")

    async def seen(app: GuideApp, pilot: Pilot[Begun]) -> None:
        assert state(app, Field.HERD) == "✗ wrong lines: 2"
        assert "line 2" in text(app, "#understood") and "line 3" in text(app, "#understood")
        assert text(app, "#needed") == "✗ to put right: herd list"

    Guided(seen, GIVEN | {Field.HERD: str(wrong)})


def test_with_something_missing_enter_goes_there_and_not_to_the_check(herd: str) -> None:
    async def seen(app: GuideApp, pilot: Pilot[Begun]) -> None:
        assert app.focused is not None and app.focused.id == "VET"
        assert text(app, "#needed") == "? needed: vet"
        app.screen.query_one("#microphone").focus()
        await pilot.press("enter")
        assert app.focused.id == "VET" and not isinstance(app.screen, CheckScreen)

    Guided(seen, {Field.HERD: herd, Field.SCANNED_ON: "2027-02-09"})


def test_up_and_down_go_from_field_to_field(herd: str) -> None:
    async def seen(app: GuideApp, pilot: Pilot[Begun]) -> None:
        rows = []
        for key in ("up", "up", "down"):
            await pilot.press(key)
            assert app.focused is not None
            rows.append(app.focused.id)
        assert rows == ["MATING_START", "SCANNED_ON", "MATING_START"]

    Guided(seen, GIVEN | {Field.HERD: herd})


@pytest.mark.parametrize("key", ["escape", "ctrl+q"])
@pytest.mark.parametrize("is_checking", [False, True])
def test_leaving_begins_no_day_and_lets_go_of_the_microphone(herd: str, key: str, is_checking: bool) -> None:
    endless = Endless()

    async def seen(app: GuideApp, pilot: Pilot[Begun]) -> None:
        await until(pilot, endless.is_open.is_set)
        if is_checking:
            await pilot.press("enter")
            await until(pilot, lambda: isinstance(app.screen, CheckScreen) and endless.is_open.is_set())
            if key == "escape":
                await pilot.press("escape")
                await until(pilot, lambda: not isinstance(app.screen, CheckScreen))
        await pilot.press(key)
        await pilot.pause()

    assert Guided(seen, GIVEN | {Field.HERD: herd}, [microphone(endless.listen)], never_ending).begun is None
    assert not endless.is_open.is_set()


def test_the_microphone_is_heard_while_it_is_chosen_and_another_one_after_the_arrow(herd: str) -> None:
    loud, quiet = Endless(1.0), Endless(0.0)

    async def seen(app: GuideApp, pilot: Pilot[Begun]) -> None:
        await until(pilot, lambda: state(app, "microphone") == "! overdriven: move away")
        assert "-0 dB" in text(app, "#meter") or " 0 dB" in text(app, "#meter")
        await pilot.press("right")
        await until(pilot, lambda: state(app, "microphone") == "! silent: is it on?")
        assert text(app, "#source") == "built in" and not loud.is_open.is_set()
        await pilot.press("left")
        await until(pilot, loud.is_open.is_set)
        await pilot.press("up")
        assert not loud.is_open.is_set() and not app.screen.query_one(SoundPanel).display
        assert app.screen.query_one("#microphone", Choice).chosen == 0

    Guided(seen, GIVEN | {Field.HERD: herd}, [microphone(loud.listen), microphone(quiet.listen, "built in")])


def test_a_microphone_that_cannot_be_opened_is_told(herd: str) -> None:
    async def seen(app: GuideApp, pilot: Pilot[Begun]) -> None:
        await until(pilot, lambda: state(app, "microphone") == "✗ cannot be used")
        assert text(app, "#needed") == "barn headset: cannot be opened. Plug it in."
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, CheckScreen))
        await until(pilot, lambda: text(app, "#last") == "barn headset: cannot be opened. Plug it in.")
        assert text(app, "#state") == "✗ DO NOT RELY ON IT TODAY"

    Guided(seen, GIVEN | {Field.HERD: herd}, [microphone(failing)])


def test_without_any_microphone_no_day_can_begin(herd: str) -> None:
    async def seen(app: GuideApp, pilot: Pilot[Begun]) -> None:
        assert text(app, "#needed") == "? needed: microphone"
        assert text(app, "#understood") == "no microphone was found"
        assert "to the voice check" not in text(app, "KeyHints")
        await pilot.press("enter")
        assert not isinstance(app.screen, CheckScreen)

    Guided(seen, GIVEN | {Field.HERD: herd}, [])


@pytest.mark.parametrize(
    ("said", "verdict", "look", "begin"),
    [
        (RIGHT, Verdict.FIT, {"taken"}, "begin the day"),
        ([*RIGHT[:19], LOST], Verdict.CARE, {"asking"}, "begin all the same"),
        ([*RIGHT[:19], TAKEN_WRONG], Verdict.UNFIT, {"undone"}, "begin all the same"),
    ],
)
def test_the_verdict_is_told_by_word_sign_and_frame(
    herd: str, said: list[Said], verdict: Verdict, look: set[str], begin: str
) -> None:
    async def seen(app: GuideApp, pilot: Pilot[Begun]) -> None:
        await to_the_verdict(app, pilot)
        sign = {Verdict.FIT: "✓", Verdict.CARE: "?", Verdict.UNFIT: "✗"}[verdict]
        assert text(app, "#state") == f"{sign} {verdict.upper()}"
        assert app.screen.query_one("#line").classes == look
        assert begin in text(app, "KeyHints")
        right = sum(one.is_right for one in said)
        assert text(app, "#large") == large(f"{sign}  {right}/20")
        assert f"heard right       {right} of" in text(app, "#lines-heard")
        await pilot.press("b")

    begun = Guided(seen, GIVEN | {Field.HERD: herd}, check=scripted(said)).begun
    assert begun is not None
    (kept,) = begun.checks
    assert (kept.verdict, kept.checked_at) == (verdict, "now")


def test_line_after_line_is_shown_with_what_was_made_of_it(herd: str) -> None:
    """The second line has to be said again; the recording ends after it."""
    hears = [meaning(PHRASES[0], GRAMMAR), None, Entry("5")]

    async def seen(app: GuideApp, pilot: Pilot[Begun]) -> None:
        await to_the_verdict(app, pilot)
        shown = text(app, "#lines-heard")
        assert "only 2 of 20 lines were said" in shown
        assert f'? not right: "{PHRASES[1]}" was heard as "as said"' in shown
        assert text(app, "#state") == "✗ DO NOT RELY ON IT TODAY"

    guided = Guided(seen, GIVEN | {Field.HERD: herd}, [microphone(reading(3))], listening(hears), size=(200, 50))
    assert guided.begun is None


def test_the_line_to_say_stands_until_it_is_heard(herd: str) -> None:
    go_on = threading.Event()

    def waiting(chunks: Iterable[AudioChunk], prompt: Callable[[int, str], None]) -> Iterator[Said]:
        prompt(1, PHRASES[0])
        yield RIGHT[0]
        prompt(2, PHRASES[1])
        prompt(2, PHRASES[1])
        go_on.wait(20)

    async def seen(app: GuideApp, pilot: Pilot[Begun]) -> None:
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, CheckScreen))
        await until(pilot, lambda: text(app, "#state") == "LINE 2 OF 20  say it again")
        assert text(app, "#phrase") == PHRASES[1]
        assert text(app, "#last") == "· passed over as talk or noise"
        assert text(app, "#lines-heard") == f" 1 ✓ {PHRASES[0]}"
        go_on.set()

    Guided(seen, GIVEN | {Field.HERD: herd}, check=waiting)


def test_every_check_is_kept(herd: str) -> None:
    async def seen(app: GuideApp, pilot: Pilot[Begun]) -> None:
        await to_the_verdict(app, pilot)
        await pilot.press("escape")
        await until(pilot, lambda: not isinstance(app.screen, CheckScreen))
        assert app.focused is not None and app.focused.id == "microphone"
        await to_the_verdict(app, pilot)
        await pilot.press("a")
        await until(pilot, lambda: "20 of 20" in text(app, "#lines-heard"))
        await pilot.press("b")

    begun = Guided(seen, GIVEN | {Field.HERD: herd}).begun
    assert begun is not None and [len(made.said) for made in begun.checks] == [20, 20, 20]


def test_a_check_that_is_broken_off_is_kept(herd: str) -> None:
    async def seen(app: GuideApp, pilot: Pilot[Begun]) -> None:
        await until(pilot, lambda: isinstance(app.focused, Choice))
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, CheckScreen))
        await until(pilot, lambda: "✗" in text(app, "#lines-heard"))
        await pilot.press("b")

    begun = Guided(seen, GIVEN | {Field.HERD: herd}, [microphone(Endless().listen)], never_ending).begun
    assert begun is not None and [made.said for made in begun.checks] == [(TAKEN_WRONG,)]


def test_light_and_dark_change_outside_the_fields(herd: str) -> None:
    async def seen(app: GuideApp, pilot: Pilot[Begun]) -> None:
        assert app.theme == "before-dawn"
        await pilot.press("l")
        assert app.theme == "daylight"
        await pilot.press("up", "l")
        assert app.theme == "daylight" and app.screen.query_one("#MATING_START", Input).value == "l"

    Guided(seen, GIVEN | {Field.HERD: herd})


@pytest.mark.parametrize("size", [(80, 24), (200, 50)])
def test_everything_fits_on_the_screen(herd: str, size: tuple[int, int]) -> None:
    async def seen(app: GuideApp, pilot: Pilot[Begun]) -> None:
        for selector in ("#form", "#needed", "KeyHints", "#level"):
            assert app.screen.query_one(selector).region.bottom <= size[1]
        await to_the_verdict(app, pilot)
        assert app.screen.query_one("#last").region.bottom < app.screen.query_one("#lines").region.bottom <= size[1]
        assert app.screen.query_one("#large").region.bottom <= app.screen.query_one("#last").region.y

    Guided(seen, GIVEN | {Field.HERD: herd}, size=size)


def test_a_screen_that_breaks_is_one_sentence(herd: str, monkeypatch: pytest.MonkeyPatch) -> None:
    guide = Guide([microphone(reading(1))], "", lambda c, p: iter(()), TODAY, DecisionSettings(), lambda: "now")
    app = GuideApp(guide, Start(), {})

    def broken() -> Begun | None:
        async def go() -> None:
            async with app.run_test() as pilot:
                app.screen.query_one("#needed").remove()
                await pilot.pause()
                await pilot.press("x")
                await pilot.pause()

        try:
            asyncio.run(go())
        except Exception:
            return None
        return None

    monkeypatch.setattr(app, "run", broken)
    with pytest.raises(ScreenError, match="no day was begun"):
        app.ask()
