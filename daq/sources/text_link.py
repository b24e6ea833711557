"""A bought transmitter that sends lines of text continuously."""

from __future__ import annotations

import time
from collections.abc import Callable

from daq.rig import TextTransmitter
from daq.sources.clock import SessionClock
from daq.sources.serial_port import SerialLink
from daq.values import Samples
from daq.wire.board import Item

SILENT_S = 2.0


class TextLink:
    """Keeps one transmitter connected. `message` says in one sentence what is wrong, empty when nothing is.

    Bytes are passed on unchanged, and as no bytes when the port has just been opened. Their decoder calls `heard` with
    the results, and provides `problem`: why the last line was rejected.
    """

    def __init__(
        self,
        table: TextTransmitter,
        clock: SessionClock,
        on_bytes: Callable[[int, bytes], None],
        problem: Callable[[], str],
    ) -> None:
        self._table = table
        self._clock = clock
        self._on_bytes = on_bytes
        self._problem = problem
        self._port = SerialLink(
            table, clock, self._arrived, parity=table.parity, data_bits=table.data_bits, on_open=self._opened
        )
        self._path = ""
        self._byte_s = self._scan_s = 0.0

    @property
    def message(self) -> str:
        now_s = time.monotonic()
        if self._port.message:
            return self._port.message
        if now_s - self._byte_s > SILENT_S:
            return f"nothing arrives on {self._path}: is continuous sending on, at {self._table.baud} baud?"
        if now_s - self._scan_s > SILENT_S:
            why = self._problem() or "no end of a line"
            return f"text arrives on {self._path}, but no line of it can be used: {why}"
        return ""

    def heard(self, said: Item) -> None:
        """Take one decoded message of the transmitter."""
        if isinstance(said, Samples):
            self._scan_s = time.monotonic()

    async def run(self) -> None:
        """Keep the transmitter connected until cancelled."""
        await self._port.run()

    def _opened(self, path: str) -> None:
        self._path = path
        self._byte_s = self._scan_s = time.monotonic()
        self._on_bytes(self._clock.stamp_us(), b"")

    def _arrived(self, received_us: int, data: bytes) -> None:
        self._byte_s = time.monotonic()
        self._on_bytes(received_us, data)
