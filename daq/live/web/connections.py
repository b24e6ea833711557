"""Connections before they have sent a request: how many, and how long one may take to send it. The gate
(daq.live.web.gate) sees whole requests. Connections that are only held open would never pass it, yet use up the
process's open files, of which sensors and store need some. The newest connection always gets in: one without a pass
makes room, so that a stop is never locked out.
"""

from __future__ import annotations

import asyncio
import itertools
from collections import Counter
from collections.abc import Collection, Sequence
from typing import Any, Protocol, TypeVar

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from daq.live.web.access import Role

MOST = 256
"""At once, streams not counted; a process may usually open 1024 files (setrlimit(2), the soft limit of Linux)."""
MOST_WITHOUT_PASS = 128
"""Of these, the other half is for those who have shown a pass."""
ASKS_WITHIN_S = 10.0
"""How long a connection lives without a complete request head, or with only the rest of an answered one."""


HEAD_AT_MOST = 8192
"""Bytes of a request's head; a browser's has about 1000. Every line of it costs time, whoever sends it."""
PIECE_BYTES = 4096
"""What is looked at together: h11 bounds only a head that is not whole yet, and one in a large piece would be."""


class Held(Protocol):
    """What is known about a connection."""

    address: str
    role: Role | None
    """Of the pass in its last request; None without one, or if none is needed."""


H = TypeVar("H", bound=Held)
_numbers = itertools.count(1)


def one_too_many(held: Sequence[H]) -> H | None:
    """Which of these, oldest first, makes room; None if there is enough. One without a pass goes before a rider's, a
    rider's before a fitter's; among them the oldest of the address that holds most.
    """
    without = [one for one in held if one.role is None]
    if len(without) > MOST_WITHOUT_PASS:
        return _of_the_greediest(without)
    if len(held) > MOST:
        return _of_the_greediest([one for one in held if one.role is Role.RIDE] or held)
    return None


def _of_the_greediest(held: Collection[H]) -> H:
    of = Counter(one.address for one in held)
    return max(held, key=lambda one: of[one.address])


class _Whole(h11.Connection):
    """h11's end of a connection on which a body announces its length (RFC 9112, 6.3), as every browser's does."""

    refused = ""
    """Why the request was, if it was for its body."""

    def next_event(self) -> Any:
        """The next one. RemoteProtocolError for a body in chunks: each chunk costs as much as a request, however small
        it is, so that a piece of 256 KiB would hold the loop up for a fifth of a second before the gate sees any of it.
        """
        event = super().next_event()
        if isinstance(event, h11.Request) and any(name == b"transfer-encoding" for name, _ in event.headers):
            self.refused = "A body has to announce its length (Content-Length); a proxy must not send it in chunks."
            raise h11.RemoteProtocolError(self.refused)
        return event


class Connection(H11Protocol):
    """uvicorn's connection with a time limit for requests."""

    address = ""
    role: Role | None = None
    number = 0
    """In order of arrival: many may come in one tick of the loop's clock."""
    _timer: asyncio.TimerHandle | None = None

    def __init__(self, *words: Any, **named: Any) -> None:
        super().__init__(*words, **named)
        self.conn: _Whole = _Whole(h11.SERVER, HEAD_AT_MOST)

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        peer = transport.get_extra_info("peername")
        self.address = str(peer[0]) if peer else ""
        self.app_state = {**self.app_state, "shown": self._shown}
        self.number = next(_numbers)
        held = sorted((one for one in self.connections if isinstance(one, Connection)), key=lambda one: one.number)
        self._look_again()
        if (leaves := one_too_many(held)) is not None:
            self.connections.discard(leaves)  # now and not when its end is told: the next one must not choose it again
            leaves.transport.abort()

    def connection_lost(self, exc: Exception | None) -> None:
        self._rest()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        for at in range(0, len(data), PIECE_BYTES):
            if self.transport.is_closing() or self.transport.get_protocol() is not self:
                return  # who asked for a stream waits for its answer before sending frames (RFC 6455, 4.1)
            super().data_received(data[at : at + PIECE_BYTES])

    def send_400_response(self, msg: str) -> None:
        if self.conn.our_state in (h11.IDLE, h11.SEND_RESPONSE):
            super().send_400_response(self.conn.refused or msg)
        else:  # an answer is under way, or was given: a second one would be an error
            self.transport.abort()

    def handle_websocket_upgrade(self, event: object) -> None:
        self._rest()  # from here on it is a stream, which has its own pings
        super().handle_websocket_upgrade(event)  # type: ignore[arg-type]

    def _shown(self, role: Role | None) -> None:
        """Called by the gate with the role of the last request."""
        self.role = role

    def _look_again(self) -> None:
        self._timer = self.loop.call_later(ASKS_WITHIN_S, self._end_when_idle, self.cycle)

    def _end_when_idle(self, before: object) -> None:
        if self.cycle is before and (self.cycle is None or self.cycle.response_complete):
            self.transport.abort()
        else:
            self._look_again()

    def _rest(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
