"""The daemon's end of a stream, limited in bytes and seconds: a client that does not read, or sends without end, is
disconnected. A screen only listens: it reads everything, and sends nothing but its browser's automatic pongs (RFC 6455,
5.5.3).
"""

from __future__ import annotations

import asyncio
import logging
import socket
from typing import Any

from uvicorn.protocols.websockets.websockets_sansio_impl import WebSocketsSansIOProtocol
from websockets.frames import Frame

KERNEL_BYTES = 131_072
"""The system's buffer for what a screen has not read yet, several seconds of loads at 1 kHz (socket(7), SO_SNDBUF)."""
UNREAD_BYTES = 262_144
"""Held for a screen in addition; more means a screen that makes the daemon send and does not read."""
UNREAD_S = 5.0
"""How long something may be held before it counts as unread."""
PING_EVERY_S, PONG_WITHIN_S = 5.0, 10.0
WORDS_PER_S = 50
"""Pings, messages and pieces of messages; a browser sends none."""
LOOK_S = 0.5

log = logging.getLogger("foreaft.web")


class BoundedStream(WebSocketsSansIOProtocol):
    """uvicorn's stream with bounds."""

    _look_again: asyncio.TimerHandle | None = None
    _held_since_s: float | None = None
    _is_cut = False
    _words = 0
    _words_since_s = 0.0

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        super().connection_made(transport)
        if (sock := transport.get_extra_info("socket")) is not None:
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, KERNEL_BYTES)
        self._look()

    def connection_lost(self, exc: Exception | None) -> None:
        if self._look_again is not None:
            self._look_again.cancel()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        if not self.handshake_initiated:  # the whole head was here and was none; uvicorn would wait for ever
            self._nobody_there()
            self._cut("it does not speak the protocol")

    def handle_ping(self) -> None:
        super().handle_ping()
        self._hear()

    def handle_pong(self, event: Frame) -> None:
        super().handle_pong(event)
        self._hear()

    def handle_cont(self, event: Frame) -> None:
        super().handle_cont(event)
        if not event.fin:  # a message in pieces without end, empty ones at that
            self._hear()

    def send_receive_event_to_app(self) -> None:
        super().send_receive_event_to_app()
        self._hear()

    async def send(self, message: Any) -> None:
        if self.transport.is_closing():
            self._nobody_there()
        await super().send(message)
        if message["type"] == "websocket.http.response.body":
            self.handshake_complete = True  # uvicorn would log an error for each stream that is refused

    def handle_parser_exception(self) -> None:
        if self.conn.close_sent is None:  # it failed before it was open, where uvicorn asserts that it was
            self._nobody_there()
            self._cut("it does not speak the protocol")
        else:
            super().handle_parser_exception()

    def _nobody_there(self) -> None:
        """Whoever still has something to send is told so, instead of failing on a closed transport."""
        self.disconnected = self.handshake_complete = True

    def _hear(self) -> None:
        """Count what a screen sends; every ping also causes a pong."""
        now_s = self.loop.time()
        if now_s > self._words_since_s + 1.0:
            self._words, self._words_since_s = 0, now_s
        self._words += 1
        if self._words > WORDS_PER_S:
            self._cut("it talks without end")
        elif self.transport.get_write_buffer_size() > UNREAD_BYTES:
            self._cut("it does not read")

    def _look(self) -> None:
        """Check regularly what is held for this screen, and since when."""
        held, now_s = self.transport.get_write_buffer_size(), self.loop.time()
        if held == 0:
            self._held_since_s = None
        elif self._held_since_s is None:
            self._held_since_s = now_s
        if self._held_since_s is not None and now_s - self._held_since_s > UNREAD_S:
            self._cut("it does not read")
        else:
            self._look_again = self.loop.call_later(LOOK_S, self._look)

    def keepalive_timeout(self) -> None:
        super().keepalive_timeout()
        self._cut("it does not answer")

    def _cut(self, why: str) -> None:
        """Close it now, without waiting for what it has not read."""
        if self._is_cut:  # frames that came in one piece with the one that broke the bound are still handled
            return
        self._is_cut = True
        if self._look_again is not None:
            self._look_again.cancel()
        client = self.client[0] if self.client else "here"
        log.warning("stream cut off", extra={"why": why, "client": client})
        self.transport.abort()
