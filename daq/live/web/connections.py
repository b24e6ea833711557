"""Connections before they have asked for anything: how many, and how long one may keep a request to itself.

The gate (daq.live.web.gate) sees whole requests. What only holds a connection open would take the process its open
files, of which sensors and store need some, without ever passing it.
"""

from __future__ import annotations

import asyncio
import ipaddress

from uvicorn.protocols.http.h11_impl import H11Protocol

MOST = 256
"""At once, streams included; a process may usually open 1024 files (setrlimit(2), the soft limit of Linux)."""
MOST_OF_ONE = 64
"""Of one address; a browser opens six and a stream or two. A proxy on this machine stands for many."""
ASKS_WITHIN_S = 10.0
"""So long a connection lives without a whole head of a request, or with nothing but the rest of an answered one."""


class Connection(H11Protocol):
    """uvicorn's connection with an end to waiting."""

    _timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        same = sum(_address(one) == _address(self) for one in self.connections)
        if len(self.connections) > MOST or (same > MOST_OF_ONE and not _is_here(_address(self))):
            transport.abort()
        else:
            self._look_again()

    def connection_lost(self, exc: Exception | None) -> None:
        self._rest()
        super().connection_lost(exc)

    def handle_websocket_upgrade(self, event: object) -> None:
        self._rest()  # from here on it is a stream, which has its own pings
        super().handle_websocket_upgrade(event)  # type: ignore[arg-type]

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


def _address(connection: object) -> str:
    peer = connection.transport.get_extra_info("peername")  # type: ignore[attr-defined]
    return str(peer[0]) if peer else ""


def _is_here(address: str) -> bool:
    return not address or ipaddress.ip_address(address.partition("%")[0]).is_loopback
