"""The screen in a browser: who may see it, what is sent, and that nobody who watches holds up the day."""

import asyncio
import http.client
import random
import select
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from urllib.parse import urlsplit
from xml.etree import ElementTree

import pytest
from textual.pilot import Pilot

from tests.showing import MORNING, SHED, Showing, updates
from tests.test_cli import Run, run, sentence  # noqa: F401
from voicecapture.dashboard.app import Dashboard
from voicecapture.dashboard.watch import Watch, code
from voicecapture.dashboard.web import WebScreen
from voicecapture.day import Day, Event, EventKind
from voicecapture.errors import WebError
from voicecapture.language.phrase import Entry, Result
from voicecapture.update import Update

SVG = "<svg xmlns='http://www.w3.org/2000/svg'/>"
EVERYWHERE = "0.0.0.0:0"


@pytest.fixture
def here() -> Iterator[WebScreen]:
    web = WebScreen("127.0.0.1:0")
    web.show(SVG)
    yield web
    web.close()


@pytest.fixture
def outside() -> Iterator[WebScreen]:
    """Served on every address of the machine, and so with a token."""
    web = WebScreen(EVERYWHERE)
    web.show(SVG)
    yield web
    web.close()


def ask(web: WebScreen, path: str = "/screen.svg", **headers: str) -> tuple[http.client.HTTPResponse, str]:
    """An answer over loopback, with headers by their names in small letters."""
    connection = http.client.HTTPConnection("127.0.0.1", urlsplit(web.url).port, timeout=10)
    connection.request("GET", path, headers={name.replace("_", "-"): value for name, value in headers.items()})
    answer = connection.getresponse()
    text = answer.read().decode()
    connection.close()
    return answer, text


def token_of(web: WebScreen) -> str:
    return urlsplit(web.url).query.removeprefix("token=")


def cookie_of(web: WebScreen) -> str:
    answer, _ = ask(web, f"/?token={token_of(web)}")
    return (answer.getheader("Set-Cookie") or "").split(";")[0]


# ---- who may see it ------------------------------------------------------------------------------


def test_on_this_machine_alone_it_is_served_without_a_token(here: WebScreen) -> None:
    assert urlsplit(here.url).hostname == "127.0.0.1" and not urlsplit(here.url).query
    answer, text = ask(here)
    assert answer.status == 200 and text == SVG and answer.getheader("Content-Type") == "image/svg+xml"


@pytest.mark.parametrize("path", ["/", "/screen.svg", "/?token=", "/?token=wrong", "/?token=%ff%C3%A9", "/elsewhere"])
@pytest.mark.parametrize("cookie", ["", "voicecapture=wrong", "voicecapture="])
def test_elsewhere_nothing_is_shown_without_the_token(outside: WebScreen, path: str, cookie: str) -> None:
    answer, text = ask(outside, path, **({"cookie": cookie} if cookie else {}))
    assert answer.status == 403 and "svg" not in text and answer.getheader("Set-Cookie") is None


def test_the_token_is_exchanged_for_a_cookie_that_shows_the_screen_and_does_not_tell_it(outside: WebScreen) -> None:
    token = token_of(outside)
    answer, _ = ask(outside, f"/?token={token}")
    cookie = answer.getheader("Set-Cookie") or ""
    assert (answer.status, answer.getheader("Location")) == (303, "/")
    assert "HttpOnly" in cookie and "SameSite=Lax" in cookie and token not in cookie and len(token) >= 22
    answer, text = ask(outside, cookie=cookie.split(";")[0])
    assert (answer.status, text) == (200, SVG)
    # The token opens the page only; no picture has it in its address.
    assert ask(outside, f"/screen.svg?token={token}")[0].status == 303


def test_two_days_have_two_tokens(outside: WebScreen) -> None:
    other = WebScreen(EVERYWHERE)
    try:
        assert ask(other, f"/?token={token_of(outside)}")[0].status == 403
        assert ask(other, cookie=cookie_of(outside))[0].status == 403
    finally:
        other.close()


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8417", "127.0.0.1.evil.example", "", "[", "a b"])
def test_who_asks_by_another_name_sees_nothing(here: WebScreen, outside: WebScreen, host: str) -> None:
    """DNS rebinding: a page's own name is made to lead here, and its browser asks by that name."""
    assert ask(here, host=host)[0].status in (400, 403)
    assert ask(outside, host=host, cookie=cookie_of(outside))[0].status in (400, 403)


@pytest.mark.parametrize("host", ["127.0.0.1:1", "localhost", "[::1]:8417"])
def test_loopback_has_several_names(here: WebScreen, host: str) -> None:
    assert ask(here, host=host)[0].status == 200


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1", ""])
def test_a_page_from_elsewhere_sees_nothing(here: WebScreen, origin: str) -> None:
    assert ask(here, origin=origin)[0].status == 403
    own = f"http://127.0.0.1:{urlsplit(here.url).port}"
    assert ask(here, origin=own)[0].status == 200


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "OPTIONS"])
def test_nothing_can_be_sent(here: WebScreen, method: str) -> None:
    connection = http.client.HTTPConnection("127.0.0.1", urlsplit(here.url).port, timeout=10)
    connection.request(method, "/", body=b"417 empty")
    assert connection.getresponse().status == 405
    connection.close()


@pytest.mark.parametrize("path", ["/", "/screen.svg", "/nowhere"])
def test_no_answer_is_kept_embedded_or_lets_a_browser_load_from_elsewhere(here: WebScreen, path: str) -> None:
    answer, text = ask(here, path)
    assert answer.getheader("Cache-Control") == "no-store"
    assert answer.getheader("Cross-Origin-Resource-Policy") == "same-origin"
    policy = answer.getheader("Content-Security-Policy") or ""
    assert "default-src 'none'" in policy and "frame-ancestors 'none'" in policy
    if path == "/":
        nonce = policy.split("script-src 'nonce-")[1].split("'")[0]
        assert f'<script nonce="{nonce}">' in text and nonce not in ask(here, path)[1]


# ---- where it is served --------------------------------------------------------------------------


@pytest.mark.parametrize(
    "address",
    ["", "nowhere.invalid", "203.0.113.7", "127.0.0.1:port", "127.0.0.1:99999", "127.0.0.1/x", "a@127.0.0.1"],
)
def test_what_is_no_address_of_this_machine_is_refused_in_a_sentence(address: str) -> None:
    with pytest.raises(WebError, match=r"expected an address of this machine.*--web-at"):
        WebScreen(address)


def test_a_port_that_is_taken_is_refused_before_anything_is_written(
    run: Run,  # noqa: F811
    tmp_path: Path,
    here: WebScreen,
) -> None:
    database = tmp_path / "day.db"
    place = urlsplit(here.url).netloc
    code, _, errors = run("demo", "--database", database, "--web-at", place)
    assert code == 1 and place in sentence(errors) and not database.exists()


def test_without_a_screen_there_is_nothing_to_watch(run: Run) -> None:  # noqa: F811
    code, _, errors = run("demo", "--plain", "--web")
    assert code == 2 and "--plain" in errors


# ---- what is sent --------------------------------------------------------------------------------


def test_a_picture_that_has_not_changed_is_not_sent_again(here: WebScreen) -> None:
    version = ask(here)[0].getheader("ETag") or ""
    assert (ask(here, if_none_match=version)[0].status, ask(here, if_none_match=version)[1]) == (304, "")
    here.show(SVG.replace("/>", "> </svg>"))
    assert ask(here, if_none_match=version)[0].status == 200


def test_a_screen_that_leaves_no_picture_any_more_is_told() -> None:
    web = WebScreen("127.0.0.1:0")
    try:
        answer, text = ask(web)
        assert answer.status == 503 and text == "The screen does not answer."
    finally:
        web.close()


class Watched:
    """The shed screen over some updates, and a browser that looks until it sees what it waits for."""

    def __init__(self, told: list[Update], awaited: str) -> None:
        self.web, self.stop = WebScreen("127.0.0.1:0"), threading.Event()
        self.told, self.awaited, self.picture = told, awaited, ""
        try:
            Dashboard(self.session, lambda line, day: None, self.stop, SHED, self.web).run_day(headless=True)
        finally:
            self.web.close()

    def session(self, show: Callable[[Update], None]) -> Day:
        for update in self.told:
            show(update)
        for _ in range(100):
            self.picture = ask(self.web)[1]
            if self.awaited in self.picture.replace("&#160;", " "):
                break
        self.stop.set()
        return self.told[-1].day


def test_the_picture_is_the_screen_as_it_is_escaped_and_loads_nothing() -> None:
    odd = Entry("419", Result.EMPTY, findings=("</text><script>alert(1)</script>&",))
    picture = Watched(updates(Event(EventKind.ACCEPTED, 30.0, 1, odd, "clearly heard")), "alert(1)").picture
    elements = list(ElementTree.fromstring(picture).iter())
    names = {element.tag.rpartition("}")[2] for element in elements}
    assert "text" in names and not names & {"script", "image", "a", "foreignObject"}
    assert any("</text><script>" in (element.text or "") for element in elements)
    assert "url(http" not in picture and "@font-face" not in picture and "href" not in picture


def test_a_screen_that_nobody_watches_draws_no_picture(monkeypatch: pytest.MonkeyPatch) -> None:
    async def seen(app: Dashboard, pilot: Pilot[None]) -> None:
        await pilot.pause(0.7)

    monkeypatch.setattr(Dashboard, "picture", lambda _: pytest.fail("drawn"))
    Showing(MORNING, seen, web=WebScreen("127.0.0.1:0"))


def test_a_picture_that_cannot_be_drawn_does_not_end_the_day(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(_app: Dashboard) -> str:
        raise RuntimeError("no ink")

    async def seen(app: Dashboard, pilot: Pilot[None]) -> None:
        await asyncio.to_thread(ask, web)
        await pilot.press("e", *"417", "enter")
        assert any("no ink" in note.message for note in app._notifications)

    web = WebScreen("127.0.0.1:0")
    monkeypatch.setattr(Dashboard, "picture", broken)
    assert [line for line, _ in Showing(MORNING, seen, web=web).typed] == ["417"]


def test_the_address_is_shown_with_a_code_for_a_phone() -> None:
    web = WebScreen("127.0.0.1:0")

    async def seen(app: Dashboard, pilot: Pilot[None]) -> None:
        await pilot.press("w")
        shown = app.export_screenshot().replace("&#160;", " ")
        assert isinstance(app.screen, Watch) and web.url in shown and code(web.url).splitlines()[3].strip() in shown
        await pilot.press("escape")
        assert not isinstance(app.screen, Watch)

    Showing(MORNING, seen, web=web)


# ---- who watches holds nothing up ----------------------------------------------------------------


@contextmanager
def browsers(web: WebScreen, count: int, sent: bytes) -> Iterator[list[socket.socket]]:
    """So many that send something and read nothing."""
    with ExitStack() as stack:
        place = ("127.0.0.1", urlsplit(web.url).port or 0)
        made = [stack.enter_context(socket.create_connection(place, 10)) for _ in range(count)]
        for one in made:
            one.sendall(sent)
        yield made


@pytest.mark.parametrize(
    "sent", [b"", b"GET /screen.svg HT", b"GET /screen.svg HTTP/1.1\r\nHost: localhost\r\n\r\n" * 50]
)
def test_browsers_that_do_not_read_hold_up_neither_the_day_nor_other_browsers(sent: bytes) -> None:
    web = WebScreen("127.0.0.1:0")
    cows = [Event(EventKind.ACCEPTED, 10.0 * i, i, Entry(str(i), Result.EMPTY)) for i in range(1, 51)]
    # More than a connection's buffers hold, and nothing that packs well.
    large = f"<svg>{random.Random(5).randbytes(2_000_000).hex()}</svg>"

    async def seen(app: Dashboard, pilot: Pilot[None]) -> None:
        web.show(large)
        with browsers(web, 12, sent):
            answer, _ = await asyncio.to_thread(ask, web)
            assert answer.status == 200
            await pilot.press("e", *"417", "enter")

    showing = Showing(updates(*cows), seen, web=web)
    assert [line for line, _ in showing.typed] == ["417"]


def test_more_browsers_than_the_process_has_room_for_are_turned_away_and_room_is_made_again(here: WebScreen) -> None:
    with browsers(here, 60, b"") as made:
        for _ in range(100):
            turned_away, _, _ = select.select(made, [], [], 0)
            if len(turned_away) >= 15:
                break
            time.sleep(0.1)
        assert 15 <= len(turned_away) <= 28
    for _ in range(100):
        here.show(SVG)
        with suppress(OSError, http.client.HTTPException):
            assert ask(here)[0].status == 200
            return
    pytest.fail("no room was made")
