"""Who may speak to the desk: this machine's browser with the token, within bounds of size and patience.

The address is the loopback one only. A page of a stranger that the maker has open at the same time can still
send requests there, so ``Host`` (a name that a stranger points at this machine), ``Origin`` and
``Sec-Fetch-Site`` (requests from other pages) are looked at before anything else, and a secret token is asked
for, which no other page or user knows.
"""

from __future__ import annotations

import asyncio
import hmac
import secrets
from collections.abc import AsyncIterator
from pathlib import Path
from urllib.parse import parse_qs

import h11
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import ClientDisconnect, Request, cookie_parser
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

from pipeline.errors import InputError

HEAD_S = 10.0
"""How long the head of a request may take to arrive."""
PIECE_S, BODY_S = 10.0, 120.0
"""How long a body may be silent, and take in all."""
UPLOADS = 4
"""Bodies that are taken in at once; further ones wait in their connections."""
FORM_BYTES = 200_000

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' blob:",
        "connect-src 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    )
)
FIXED = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cache-control": "no-store",
}


class Gate:
    """Lets through what comes from our own page with the token; everything else gets one sentence."""

    def __init__(self, app: ASGIApp, port: int) -> None:
        self.app = app
        self.token = secrets.token_urlsafe(24)
        self.cookie = f"hitchgrid-{port}"
        self.hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
        self.address = f"http://127.0.0.1:{port}/?token={self.token}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def sealed(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in FIXED.items():
                    headers.setdefault(name, value)
            await send(message)

        headers = Headers(scope=scope)
        host = headers.get("host", "")
        origin, site = headers.get("origin"), headers.get("sec-fetch-site", "none")
        if host not in self.hosts:
            answer: Response = PlainTextResponse("The desk answers to its own address only.", 421)
        elif (origin is not None and origin != f"http://{host}") or site not in ("none", "same-origin"):
            answer = PlainTextResponse("Another page may not use the desk.", 403)
        elif self._same(parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])[0]):
            answer = RedirectResponse("/", 303)  # the token leaves the address bar
            answer.set_cookie(self.cookie, self.token, httponly=True, samesite="strict")
        elif self._same(cookie_parser(headers.get("cookie", "")).get(self.cookie, "")):
            await self.app(scope, receive, sealed)
            return
        else:
            answer = PlainTextResponse(
                "This needs the whole address that hitchgrid desk printed, with its token.", 403
            )
        answer.headers["connection"] = "close"
        await answer(scope, receive, sealed)

    def _same(self, given: str) -> bool:
        return hmac.compare_digest(given.encode(), self.token.encode())


class Patient(H11Protocol):
    """HTTP that hangs up on a connection whose request does not arrive; uvicorn itself waits for ever."""

    _waiting: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._wait()

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        if self.conn.their_state is not h11.IDLE:
            self._unwait()
        elif self._waiting is None:
            self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        self._unwait()
        super().connection_lost(exc)

    def _wait(self) -> None:
        self._waiting = asyncio.get_running_loop().call_later(HEAD_S, self.transport.abort)

    def _unwait(self) -> None:
        if self._waiting is not None:
            self._waiting.cancel()
            self._waiting = None


_slots = asyncio.Semaphore(UPLOADS)


async def take_in(request: Request, path: Path, most: int) -> None:
    """Write the body of a request to ``path``. Raises InputError where it is too large or does not arrive."""
    async with _slots:
        try:
            with path.open("wb") as file:
                async with asyncio.timeout(BODY_S):
                    async for piece in _pieces(request, most):
                        file.write(piece)
        except TimeoutError:
            raise InputError("the file did not arrive.", "Try it again.") from None


async def _pieces(request: Request, most: int) -> AsyncIterator[bytes]:
    """The body piece by piece, none of them long in coming, at most ``most`` bytes together."""
    too_large = InputError(f"that is more than {most / 1e6:g} MB.", "Make it smaller.")
    if int(request.headers.get("content-length", "0")) > most:
        raise too_large
    stream = aiter(request.stream())
    size = 0
    while True:
        async with asyncio.timeout(PIECE_S):
            try:
                piece = await anext(stream, None)
            except ClientDisconnect:
                raise InputError("the connection broke off.", "Try it again.") from None
        if piece is None:
            return
        size += len(piece)
        if size > most:
            raise too_large
        yield piece


async def form_of(request: Request) -> dict[str, str]:
    """The fields of a small urlencoded form; of a field that comes more than once, all with commas between.

    Raises InputError for what is no such form.
    """
    try:
        async with asyncio.timeout(BODY_S):
            data = b"".join([piece async for piece in _pieces(request, FORM_BYTES)])
    except TimeoutError:
        raise InputError("the form did not arrive.", "Load the page again.") from None
    try:
        fields = parse_qs(
            data.decode(), keep_blank_values=True, strict_parsing=bool(data), max_num_fields=3000
        )
    except ValueError:
        raise InputError("the form cannot be read.", "Load the page again.") from None
    return {name: values[-1] if len(values) == 1 else "\n".join(values) for name, values in fields.items()}
