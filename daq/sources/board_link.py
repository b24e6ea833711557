"""A board on a serial port: keeps the port open and talks to the board."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Mapping

from daq.rig import SerialBoard
from daq.sources.board_talk import BoardTalk
from daq.sources.clock import SessionClock
from daq.sources.serial_port import PortGone, SerialLink
from daq.wire.board import Item

BEAT_S = 0.1


class BoardLink:
    """Keeps one board connected and requests the rig file's settings. The decoder of the bytes calls `heard` with the
    results, and provides `problem`: why scans were rejected. `message` says in one sentence what is wrong, empty if
    nothing is.
    """

    def __init__(
        self,
        board: SerialBoard,
        clock: SessionClock,
        on_bytes: Callable[[int, bytes], None],
        *,
        gains: Mapping[str, int] | None = None,
        problem: Callable[[], str] = str,
    ) -> None:
        self._on_bytes = on_bytes
        self._problem = problem
        self._talk = BoardTalk(baud=board.baud, rate_hz=board.rate_hz, gains=gains)
        self._port = SerialLink(board, clock, self._arrived, on_open=self._opened)

    @property
    def message(self) -> str:
        return self._port.message or self._talk.message(time.monotonic(), self._problem())

    def heard(self, said: Item) -> None:
        """Take one decoded message of the board."""
        self._talk.hear(said, time.monotonic())

    def tare_done(self) -> None:
        """Tell the board that the tare requested by its button is done."""
        self._talk.tare_done()

    async def run(self) -> None:
        """Keep the board connected until cancelled."""
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(self._port.run())
            tasks.create_task(self._converse())

    async def _converse(self) -> None:
        while True:
            await asyncio.sleep(BEAT_S)
            self._ask()

    def _opened(self, path: str) -> None:
        self._talk.opened(path, time.monotonic())
        self._ask()

    def _arrived(self, received_us: int, data: bytes) -> None:
        self._talk.bytes_came(time.monotonic())
        self._on_bytes(received_us, data)

    def _ask(self) -> None:
        """Send what is due; a board that takes no commands shows by not answering."""
        if self._port.message:
            return
        try:
            self._port.send(self._talk.due(time.monotonic()))
        except PortGone:
            return
