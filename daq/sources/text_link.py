"""A bought transmitter that sends lines of text by itself."""

from __future__ import annotations

import time
from collections.abc import Callable

from daq.pipeline import BOARD
from daq.rig import TextTransmitter
from daq.sources.clock import SessionClock
from daq.sources.serial_port import SerialLink
from daq.sources.transmitters import format_of, hello_of
from daq.wire.ascii_lines import LineDecoder
from daq.wire.board import Item

SILENT_S = 2.0


class TextLink:
    """Keeps one transmitter connected and hands on its loads. `message` says what is wrong, empty when nothing is."""

    def __init__(self, table: TextTransmitter, clock: SessionClock, on_said: Callable[[int, Item], None]) -> None:
        self._table = table
        self._clock = clock
        self._on_said = on_said
        self._lines = LineDecoder(BOARD, format_of(table))
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
            return f"nothing comes on {self._path}: is continuous sending on, at {self._table.baud} baud?"
        if now_s - self._scan_s > SILENT_S:
            why = self._lines.problem or "no end of a line"
            return f"text comes on {self._path}, but no line of it can be used: {why}"
        return ""

    def lost(self) -> tuple[int, int]:
        """Scans dropped, which cannot be known of such a device, and lines damaged."""
        return 0, self._lines.damaged

    async def run(self) -> None:
        """Keep the transmitter connected until cancelled."""
        await self._port.run()

    def _opened(self, path: str) -> None:
        self._path = path
        self._byte_s = self._scan_s = time.monotonic()
        self._on_said(self._clock.stamp_us(), hello_of(self._table))

    def _arrived(self, received_us: int, data: bytes) -> None:
        self._byte_s = time.monotonic()
        for scan in self._lines.feed(data, received_us):
            self._scan_s = self._byte_s
            self._on_said(received_us, scan)
