"""Who may come in: the address, the key, the size and the time of every request, before anything else sees it."""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qsl, urlencode

from starlette.requests import cookie_parser

#: A plan file has a few thousand bytes, a large one fifty thousand; a form brings it as escaped text. [bytes]
LARGEST_BODY = 400_000
#: In which a request must be there in full, and in which its answer must begin. [s]
TIME_TO_READ, TIME_TO_ANSWER = 10.0, 90.0
LONGEST_ADDRESS = 2000
_METHODS = ("GET", "HEAD", "POST")
#: Nothing but what this server itself sends may be shown, run or posted to; no style or script stands in a page.
POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; connect-src 'self';"
    " form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    # Not "no-referrer": with that a browser keeps the origin of a form to itself, and it is asked for here.
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "geolocation=(self), camera=(), microphone=(), usb=(), payment=()",
    "cache-control": "no-store",
}
Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]


class RefusalError(Exception):
    """A request that is not answered: its status, and the reason in plain words."""


@dataclass
class Keeper:
    """What is known of the door: the hosts by which this server may be called (with their port), and its key.

    The key ends with the process.
    """

    hosts: set[str] = field(default_factory=set)
    key: str = field(default_factory=secrets.token_urlsafe)

    def open_at(self, host: str, port: int) -> None:
        """Let requests in that call the server by this host."""
        self.hosts.add(f"{host}:{port}")
        if host == "127.0.0.1":
            self.hosts.add(f"localhost:{port}")

    @property
    def cookie(self) -> str:
        """Name of the cookie; browsers share cookies between the ports of a machine, so it is of this process alone."""
        return f"solarvent-{self.key[:6]}"

    def is_key(self, word: str) -> bool:
        """Tell whether a word is the key, in a time that does not tell how much of it is right."""
        return secrets.compare_digest(word.encode(), self.key.encode())


class Gate:
    """Lets a request through to the page, or refuses it in a short plain answer."""

    def __init__(self, app: App, keeper: Keeper, refuse: Callable[[int, str], str]) -> None:
        self._app, self._keeper, self._refuse = app, keeper, refuse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, or refuse it."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        started = False

        async def guarded(message: MutableMapping[str, Any]) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                own = {name for name, _ in message["headers"]}
                message["headers"] = [
                    *message["headers"],
                    *((key.encode(), value.encode()) for key, value in _HEADERS.items() if key.encode() not in own),
                ]
            await send(message)

        try:
            enter = self._check(scope)
            if enter is not None:
                await _redirect(enter, self._keeper, guarded)
                return
            body = await _in_time(_body(scope, receive))
            await asyncio.wait_for(self._app(scope, _given(body, receive), guarded), TIME_TO_ANSWER)
        except RefusalError as refusal:
            await self._say(refusal, guarded)
        except TimeoutError:
            if not started:
                await self._say(RefusalError(503, "That took too long and was given up. Try a simpler plan."), guarded)

    def _check(self, scope: Scope) -> str | None:
        """Refuse what may not come in; give the address to go on with, where the key stood in this one."""
        headers = _headers(scope)
        if scope["method"] not in _METHODS:
            raise RefusalError(405, "This page is only read, or sent a form.")
        if len(scope["path"]) + len(scope["query_string"]) > LONGEST_ADDRESS:
            raise RefusalError(414, "This address is too long.")
        host = headers.get("host")
        # A name of another site may be led to this machine (DNS rebinding): its host gives it away.
        if host not in self._keeper.hosts:
            raise RefusalError(421, "This server answers only to the address that it printed when it was started.")
        origin = headers.get("origin")
        # A browser names the origin of every form; a form of another site is refused, key or no key.
        if (scope["method"] == "POST" and origin is None) or (origin is not None and origin != f"http://{host}"):
            raise RefusalError(403, "This form was not sent from the page itself.")
        query = dict(parse_qsl(scope["query_string"].decode("latin-1")))
        if self._keeper.is_key(query.pop("key", "")) and scope["method"] == "GET":
            path = scope.get("raw_path", b"/").decode("latin-1").partition("?")[0]
            return f"/{path.lstrip('/')}" + (f"?{urlencode(query)}" if query else "")
        if not self._keeper.is_key(cookie_parser(headers.get("cookie", "")).get(self._keeper.cookie, "")):
            raise RefusalError(403, "Open the page by the whole address that was printed, with the key at its end.")
        return None

    async def _say(self, refusal: RefusalError, send: Send) -> None:
        status, words = refusal.args
        text = self._refuse(status, words).encode()
        kind = [(b"content-type", b"text/html; charset=utf-8"), (b"content-length", str(len(text)).encode())]
        kind += [(b"connection", b"close"), (b"allow", ", ".join(_METHODS).encode())]
        await send({"type": "http.response.start", "status": status, "headers": kind})
        await send({"type": "http.response.body", "body": text})


def _headers(scope: Scope) -> dict[str, str]:
    """Headers by their names; a second host or origin is a trick, and refused."""
    found: dict[str, str] = {}
    for name, value in scope["headers"]:
        key = name.decode("latin-1").lower()
        if key in found and key in ("host", "origin", "content-length", "transfer-encoding"):
            raise RefusalError(400, "This request says one thing twice.")
        found[key] = value.decode("latin-1")
    return found


async def _in_time(reading: Awaitable[bytes]) -> bytes:
    """Give up a request that takes too long to be sent."""
    try:
        return await asyncio.wait_for(reading, TIME_TO_READ)
    except TimeoutError:
        raise RefusalError(408, "This request took too long to arrive. Send it again.") from None


async def _body(scope: Scope, receive: Receive) -> bytes:
    """Read the whole of a request that is small enough."""
    told = _headers(scope).get("content-length", "0")
    if not told.isdecimal() or int(told) > LARGEST_BODY:
        raise RefusalError(413, "That is too large to be a plan.")
    body = b""
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise RefusalError(400, "The request broke off.")
        body += message.get("body", b"")
        if len(body) > LARGEST_BODY:
            raise RefusalError(413, "That is too large to be a plan.")
        if not message.get("more_body"):
            return body


def _given(body: bytes, receive: Receive) -> Receive:
    """Hand on a body that was read already, and after it what else comes: the news that the browser has gone."""
    waiting = [{"type": "http.request", "body": body, "more_body": False}]

    async def next_message() -> MutableMapping[str, Any]:
        return waiting.pop() if waiting else await receive()

    return next_message


async def _redirect(place: str, keeper: Keeper, send: Send) -> None:
    """Take the key out of the address and into a cookie that no other site can send."""
    cookie = f"{keeper.cookie}={keeper.key}; Path=/; HttpOnly; SameSite=Strict"
    headers = [(b"location", place.encode("latin-1")), (b"set-cookie", cookie.encode()), (b"content-length", b"0")]
    await send({"type": "http.response.start", "status": 303, "headers": headers})
    await send({"type": "http.response.body", "body": b""})
