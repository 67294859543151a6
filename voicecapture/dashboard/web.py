"""The screen in a browser, to be looked at: a picture of it as it is, and no way to change anything.

A server in a thread of its own hands out the last picture. The screen only leaves pictures here and waits for
nobody, so a browser that is slow, or gone, never holds it up. Off this machine a token is needed. It stands in the
address that is told, and is exchanged for a cookie at once, so that it is in no log.
"""

import asyncio
import hashlib
import hmac
import ipaddress
import secrets
import socket
import threading
import time
from collections.abc import Awaitable, Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from aiohttp import web

from voicecapture.errors import WebError

LOOPBACK = "127.0.0.1"
_PORT = 8417
_LOOK_EVERY_S = 0.1
"""How often a picture is looked for that somebody waits for."""
_WATCHED_S = 5.0
"""So long after a browser asked, it is taken to be there."""
_OLD_S = 3.0
"""A picture older than this is not shown as if it were the screen."""
_MOST_CONNECTIONS, _AT_ONCE = 32, 8
"""Further ones are closed at once, but for as many as come at once: a process has only so many files, and the record
needs some."""
_COOKIE = "voicecapture"
_PAGE = (Path(__file__).parent / "watch.html").read_text(encoding="utf-8")
_HEADERS = {
    "Cache-Control": "no-store",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'",
}
_Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


class WebScreen:
    """The screen as browsers see it."""

    def __init__(self, address: str = LOOPBACK) -> None:
        """Begin to serve.

        Args:
            address: Of this machine, "ADDRESS" or "ADDRESS:PORT"; port 0 is any that is free.

        Raises:
            WebError: If it is no address of this machine, or something else listens there.
        """
        self._host, self._socket = _listening(address)
        bound = ipaddress.ip_address(self._socket.getsockname()[0])
        self._is_everywhere = bound.is_unspecified
        self._token = "" if bound.is_loopback else secrets.token_urlsafe(16)
        self._known = secrets.token_urlsafe(16)
        self._drawn = _Drawn(b"", "", float("-inf"))
        self._asked_s = float("-inf")
        self._ended = asyncio.Event()
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._run, name="web", daemon=True)
        self._thread.start()

    @property
    def url(self) -> str:
        """What to type into a browser, with the token if one is needed."""
        host = _own_address() if self._host == "0.0.0.0" else self._host
        place = f"[{host}]" if ":" in host else host
        return f"http://{place}:{self._socket.getsockname()[1]}/" + (f"?token={self._token}" if self._token else "")

    @property
    def is_watched(self) -> bool:
        """Whether a browser has asked lately."""
        return time.monotonic() - self._asked_s < _WATCHED_S

    def show(self, svg: str) -> None:
        """Leave a picture of the screen, from any thread; it waits for nobody."""
        picture = svg.encode()
        self._drawn = _Drawn(picture, f'"{hashlib.sha256(picture).hexdigest()[:32]}"', time.monotonic())

    def close(self) -> None:
        """Serve no longer."""
        with suppress(RuntimeError):  # it has ended already
            self._loop.call_soon_threadsafe(self._ended.set)
        self._thread.join(5)

    # ---- in the thread of the server -------------------------------------------------------------

    def _run(self) -> None:
        with asyncio.Runner(loop_factory=lambda: self._loop) as runner:
            runner.run(self._serve())

    async def _serve(self) -> None:
        app = web.Application(middlewares=[self._guard])
        app.router.add_get("/", self._page)
        app.router.add_get("/screen.svg", self._svg)
        app.on_response_prepare.append(_harden)
        # No log of requests: the first of each browser has the token in it.
        runner = web.AppRunner(app, access_log=None, shutdown_timeout=0.1)
        await runner.setup()
        server = runner.server
        assert server is not None

        def accept() -> asyncio.Protocol:
            return server() if len(server.connections) < _MOST_CONNECTIONS else _Refused()

        listening = await self._loop.create_server(accept, sock=self._socket, backlog=_AT_ONCE)
        await self._ended.wait()
        listening.close()
        await runner.cleanup()

    @web.middleware
    async def _guard(self, request: web.Request, handler: _Handler) -> web.StreamResponse:
        """Only who asks for this machine by its own address, from no other page, and with the token."""
        # A page elsewhere whose name was made to lead here still asks by that name.
        if not self._is_own(request.headers.get("Host", "")):
            raise web.HTTPForbidden(text="The screen is not at this address.")
        if request.headers.get("Origin", f"http://{request.host}") != f"http://{request.host}":
            raise web.HTTPForbidden(text="The screen is not for other pages.")
        if not self._token:
            return await handler(request)
        if _is_same(request.query.get("token", ""), self._token):
            answer = web.Response(status=303, headers={"Location": "/"})
            answer.set_cookie(_COOKIE, self._known, httponly=True, samesite="Lax")
            return answer
        if not _is_same(request.cookies.get(_COOKIE, ""), self._known):
            raise web.HTTPForbidden(text="Open the whole address that the laptop tells, with its token.")
        return await handler(request)

    def _is_own(self, host: str) -> bool:
        try:
            name = urlsplit(f"//{host}").hostname or ""
        except ValueError:
            return False
        if name == self._host or (not self._token and name in ("localhost", LOOPBACK, "::1")):
            return True
        return self._is_everywhere and _is_number(name)

    async def _page(self, _request: web.Request) -> web.Response:
        nonce = secrets.token_urlsafe(16)
        policy = (
            f"default-src 'none'; script-src 'nonce-{nonce}'; style-src 'nonce-{nonce}'; img-src blob:; "
            "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
        )
        return web.Response(
            text=_PAGE.replace("NONCE", nonce),
            content_type="text/html",
            headers={"Content-Security-Policy": policy},
        )

    async def _svg(self, request: web.Request) -> web.Response:
        """The last picture; if nobody was watching, the next one."""
        asked_s = self._asked_s = time.monotonic()
        while time.monotonic() - self._drawn.at_s > _OLD_S:
            if time.monotonic() - asked_s > _OLD_S:
                raise web.HTTPServiceUnavailable(text="The screen does not answer.")
            await asyncio.sleep(_LOOK_EVERY_S)
        drawn = self._drawn
        if request.headers.get("If-None-Match") == drawn.version:
            return web.Response(status=304)
        answer = web.Response(body=drawn.picture, content_type="image/svg+xml", headers={"ETag": drawn.version})
        answer.enable_compression()
        return answer


@dataclass(frozen=True, slots=True)
class _Drawn:
    picture: bytes
    version: str
    at_s: float


class _Refused(asyncio.Protocol):
    """A connection too many."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        transport.abort()


async def _harden(_request: web.Request, answer: web.StreamResponse) -> None:
    for name, value in _HEADERS.items():
        answer.headers.setdefault(name, value)
    answer.headers["Server"] = "voicecapture"


def _is_same(given: str, expected: str) -> bool:
    return hmac.compare_digest(given.encode(errors="replace"), expected.encode())


def _is_number(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def _listening(address: str) -> tuple[str, socket.socket]:
    """The host that was named, in lower case, and a socket that listens there."""
    expected = "expected an address of this machine, such as 192.168.1.20:8417. Name one with --web-at"
    try:
        # An IPv6 address alone has colons and no port.
        place = urlsplit(f"//[{address}]" if ":" in address and _is_number(address) else f"//{address}")
        host, port = place.hostname or "", _PORT if place.port is None else place.port
    except ValueError:
        host = ""
    if not host or any(place[2:]) or "@" in address:
        raise WebError(f"{address}: not an address; {expected}.")
    try:
        (family, *_), *_ = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
        return host, socket.create_server((host, port), family=family)
    except (OSError, UnicodeError) as error:
        raise WebError(f"{address}: the screen cannot be served there ({error}); {expected}.") from error


def _own_address() -> str:
    """The address of this machine by which others in its network reach it; loopback without one."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, suppress(OSError):
        # Nothing is sent: this address of RFC 5737 only chooses the way out.
        probe.connect(("192.0.2.1", 9))
        return str(probe.getsockname()[0])
    return LOOPBACK
