"""The gate in front of the application: whatever does not belong here is refused before any route runs. For every
request it checks Host and Origin, the sender's pass, the rate and the size, adds the headers that isolate a page, and
gives it a number for the log. An ASGI application (asgi.readthedocs.io) around another.
"""

from __future__ import annotations

import asyncio
import json
import logging
import math
import time
from collections.abc import Awaitable, Callable, Collection, MutableMapping
from dataclasses import dataclass
from typing import Any, TypeAlias

from daq.live.logs import numbered
from daq.live.web import access
from daq.live.web.access import Haste, Keys, Role
from daq.live.web.passes import Passes
from daq.live.web.steady import steady_s
from daq.sweep.run import Trigger

Scope: TypeAlias = MutableMapping[str, Any]
Receive: TypeAlias = Callable[[], Awaitable[Scope]]
Send: TypeAlias = Callable[[Scope], Awaitable[None]]
App: TypeAlias = Callable[[Scope, Receive, Send], Awaitable[None]]

HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-cache",
}
BODY_AT_MOST = 65_536
KEY_AT_MOST = 2048
"""The most bytes of a body from somebody without a pass: a key has 32, and each field too many costs a sentence."""
BODY_WITHIN_S = 10.0
PATH_AT_MOST = 2048
READING = ("GET", "HEAD")
WRITES_PER_S, WRITES_AT_ONCE = 20.0, 60.0
"""Per address and role; the events of a sweep are counted separately, and the stop not at all."""
READS_PER_S, READS_AT_ONCE = 50.0, 400.0
"""Per address and role on a network, whatever a client without a pass asks included; the page has about a hundred
files."""
LATE_S = 1.0
"""A client that asks too fast is refused with this delay: refusals at full speed would take all of the daemon's time,
and fill its log."""
EVENTS = "/api/v1/sweep/events"
STOP_AT_MOST = 200
"""The most bytes of a stop; anything longer is treated like any other command."""

log = logging.getLogger("foreaft.web")


@dataclass(frozen=True, slots=True)
class TurnedAway:
    """Why a request goes no further."""

    status: int
    title: str
    detail: str
    wait_s: float = 0.0


class Gate:
    """keys None: the daemon listens on this machine only. names: its names on a network.

    passes: those given; None when they are not kept, and hold as long as the keys.
    """

    def __init__(
        self, app: App, *, keys: Keys | None = None, names: Collection[str] = (), passes: Passes | None = None
    ) -> None:
        self._app, self._keys, self._names, self._passes = app, keys, frozenset(names), passes
        self._haste = Haste(per_s=WRITES_PER_S, at_once=WRITES_AT_ONCE)
        self._asking = Haste(per_s=READS_PER_S, at_once=READS_AT_ONCE)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        with numbered() as number:
            number_of_pass, role = self._pass_shown(scope)
            # nobody behind the gate asks for cookies, yet Starlette reads them, as slowly as access.pass_in says
            scope["headers"] = [(name, value) for name, value in scope["headers"] if name != b"cookie"]
            state = scope.setdefault("state", {})
            state.update(role=role, ends_s=self._keys.ends_s if self._keys else None, number=number_of_pass)
            if self._keys is not None and (shown := state.get("shown")):
                shown(role)
            found = self._refusal(scope, role)
            if scope["type"] == "websocket":
                await (self._shut(found, receive, send) if found else self._app(scope, receive, send))
            else:
                await self._answer(scope, receive, send, found, number)

    def _pass_shown(self, scope: Scope) -> tuple[str, Role | None]:
        """The number of the pass and what it opens; nothing once it was ended."""
        if self._keys is None:
            return "", Role.RUN
        shown = access.pass_in(_header(scope, "cookie"))
        role = None if shown is None else access.role_of_pass(self._keys, shown, steady_s())
        if shown is None or role is None:
            return "", None
        number = access.number_of_pass(shown)
        return (number, role) if self._passes is None or self._passes.holds(number) else ("", None)

    def _refusal(self, scope: Scope, role: Role | None) -> TurnedAway | None:
        host, origin = _header(scope, "host"), _header(scope, "origin")
        method = scope.get("method", "GET")
        if wait_s := self._wait_to_ask_s(scope, method, role):
            return _too_fast(wait_s)
        if len(scope["path"]) + len(scope["query_string"]) > PATH_AT_MOST:
            return TurnedAway(414, "too long", f"an address here has at most {PATH_AT_MOST} characters")
        if not (access.host_allowed(host, self._names) if self._keys else access.local_host(host)):
            return TurnedAway(421, "not this daemon", "the address asked for is not one this daemon goes by")
        if (scope["type"] == "websocket" or method not in READING) and not access.same_origin(origin, host):
            return TurnedAway(403, "foreign origin", "commands are only taken from this daemon's own pages")
        if not access.may(role, method, scope["path"]):
            if role is None:
                return TurnedAway(401, "no key", "open the link, or scan the code, that the daemon shows where it runs")
            return TurnedAway(403, "not for this screen", "this key is for the rider's screen: it shows and it stops")
        return None

    def _wait_to_ask_s(self, scope: Scope, method: str, role: Role | None) -> float:
        counts = self._keys is not None and (method in READING or role is None)
        return self._asking.wait_s(f"{_client(scope)} {role}", steady_s()) if counts else 0.0

    async def _commanded(self, scope: Scope, role: Role | None, receive: Receive) -> bytes | TurnedAway:
        """The body of a command, or why it goes no further. The stop is never limited."""
        body = await _body(receive, KEY_AT_MOST if role is None else BODY_AT_MOST)
        if isinstance(body, TurnedAway) or (scope["path"] == EVENTS and is_stop(body)):
            return body
        client = f"{_client(scope)} {role} {scope['path'] == EVENTS}"
        wait_s = self._haste.wait_s(client, steady_s())
        return _too_fast(wait_s) if wait_s else body

    async def _answer(self, scope: Scope, receive: Receive, send: Send, found: TurnedAway | None, number: str) -> None:
        begun_s, status = time.perf_counter(), 0

        async def with_headers(message: Scope) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                more = {**HEADERS, "X-Request-Id": number}
                named = {name for name, _ in message.get("headers", ())}
                kept = [(n.lower().encode(), v.encode()) for n, v in more.items() if n.lower().encode() not in named]
                message = {**message, "headers": [*message.get("headers", ()), *kept]}
            await send(message)

        if found is not None and found.status == 429:
            await asyncio.sleep(min(found.wait_s + LATE_S, 2 * LATE_S))
        if found is None and scope["method"] not in READING:
            body = await self._commanded(scope, scope["state"]["role"], receive)
            found, receive = (body, receive) if isinstance(body, TurnedAway) else (None, _given(body, receive))
        await (_refuse(found, with_headers) if found else self._app(scope, receive, with_headers))
        if scope["method"] not in READING or status >= 400:
            # the route, not the path: somebody may have typed a name into an address
            route = getattr(scope.get("route"), "path", None) or ("refused" if found else "none")
            said = {"method": scope["method"], "route": route, "status": status, "client": _client(scope)}
            took_ms = round(1000 * (time.perf_counter() - begun_s), 1)
            odd = found is not None or status >= 500
            log.log(logging.WARNING if odd else logging.INFO, "request", extra={**said, "took_ms": took_ms})

    async def _shut(self, found: TurnedAway, receive: Receive, send: Send) -> None:
        await receive()
        await send({"type": "websocket.close", "code": 1008, "reason": found.title})
        if found.status != 429:  # not late, since streams are not counted among the connections: it would fill the log
            log.warning("stream refused", extra={"why": found.title})


def is_stop(body: bytes) -> bool:
    """Whether this event of a sweep is the stop."""
    try:
        said = json.loads(body) if len(body) <= STOP_AT_MOST else None
    except ValueError:
        return False
    return isinstance(said, dict) and said.get("event") == Trigger.STOP


async def _body(receive: Receive, most_bytes: int) -> bytes | TurnedAway:
    """The whole body, however it is split and whether or not its length was announced."""
    parts = bytearray()
    try:
        async with asyncio.timeout(BODY_WITHIN_S):
            while True:
                message = await receive()
                parts += message.get("body", b"")
                if len(parts) > most_bytes:
                    return TurnedAway(413, "too large", f"a body here has at most {most_bytes} bytes")
                if not message.get("more_body"):
                    return bytes(parts)
    except TimeoutError:
        return TurnedAway(408, "too slow", f"a body has to be here within {BODY_WITHIN_S:g} s")


def _given(body: bytes, receive: Receive) -> Receive:
    """A `receive` that returns this body first."""
    left = [{"type": "http.request", "body": body, "more_body": False}]

    async def give() -> Scope:
        return left.pop() if left else await receive()

    return give


async def _refuse(found: TurnedAway, send: Send) -> None:
    """A refusal as RFC 9457 has it."""
    body = json.dumps({"title": found.title, "status": found.status, "detail": found.detail}).encode()
    headers = [(b"content-type", b"application/problem+json"), (b"content-length", str(len(body)).encode())]
    if found.wait_s:
        headers.append((b"retry-after", str(math.ceil(found.wait_s)).encode()))
    if found.status in (408, 413):
        headers.append((b"connection", b"close"))
    await send({"type": "http.response.start", "status": found.status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


def _too_fast(wait_s: float) -> TurnedAway:
    return TurnedAway(429, "too fast", f"wait {math.ceil(wait_s)} s", wait_s)


def _header(scope: Scope, name: str) -> str | None:
    """The header's value; an invalid one, or a duplicate, becomes a value that matches nothing."""
    values = [value.decode("latin-1") for key, value in scope["headers"] if key == name.encode()]
    return values[0] if len(values) == 1 else ("\0" if values else None)


def _client(scope: Scope) -> str:
    return scope["client"][0] if scope.get("client") else "here"
