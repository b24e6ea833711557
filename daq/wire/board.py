"""The wire protocol of a board, version 1: what firmware_notes/wire_protocol.md says, both ways.

    frames    COBS and CRC         scans      the measured counts
    hello     who the board is     commands   what a host asks, what a board answers

This is the one file the rest of the program needs. It knows neither ports nor what a count is worth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from daq.values import Samples
from daq.wire.commands import (
    REPLY,
    Command,
    CommandDecoder,
    CommandOp,
    CommandResult,
    Reply,
    decode_reply,
    encode_command,
    encode_reply,
    set_gain,
    set_rate,
)
from daq.wire.frames import Deframer
from daq.wire.hello import HELLO, VERSION, Channel, ChannelKind, HelloBody, decode_hello, encode_hello, version_of
from daq.wire.scans import COUNT_BYTES, channels_in, decode_scans, encode_scan, encode_scans

__all__ = [
    "VERSION",
    "BoardDecoder",
    "Channel",
    "ChannelKind",
    "Command",
    "CommandDecoder",
    "CommandOp",
    "CommandResult",
    "HelloBody",
    "Item",
    "Reply",
    "WrongVersion",
    "encode_command",
    "encode_hello",
    "encode_reply",
    "encode_scan",
    "encode_scans",
    "set_gain",
    "set_rate",
]


@dataclass(frozen=True, slots=True)
class WrongVersion:
    """The board speaks a protocol this program does not know; nothing it sends is accepted until a hello says
    otherwise."""

    found: int
    expected: int = VERSION

    def __str__(self) -> str:
        return (
            f"the board speaks wire protocol {self.found}, this program speaks {self.expected}: "
            f"update {'the program' if self.found > self.expected else 'the firmware of the board'}"
        )


Item: TypeAlias = Samples | HelloBody | Reply | WrongVersion


class BoardDecoder:
    """Bytes of one board in, their content out. Wherever the stream is cut, the same scans come out in the same order.

    damaged    frames that failed COBS or CRC; each costs itself only
    dropped    scans missing by their numbers; a restart of the board is not counted
    malformed  frames whole by their CRC that say something impossible: `problem` tells what, until scans are taken
    unknown    frames of a type this version does not have; they are passed over
    """

    def __init__(self, source: str) -> None:
        self.source = source
        self.scans = 0
        self.dropped = 0
        self.malformed = 0
        self.unknown = 0
        self.problem = ""
        self.hello: HelloBody | None = None
        """The latest hello."""
        self._frames = Deframer()
        self._last: tuple[int, int] | None = None
        self._refusing = False

    @property
    def damaged(self) -> int:
        """Frames that failed COBS or CRC."""
        return self._frames.damaged

    @property
    def held(self) -> bytes:
        """Bytes of a frame that has not ended yet."""
        return self._frames.pending

    @property
    def lost(self) -> tuple[int, int]:
        """Scans dropped, and frames that were damaged or said something impossible."""
        return self.dropped, self.damaged + self.malformed

    def feed(self, data: bytes, received_us: int) -> list[Item]:
        """What ends in these bytes, in the order sent; scans that follow one another come as one Samples."""
        return [item for _, item in self.feed_pieces([(received_us, data)])]

    def feed_pieces(self, pieces: Sequence[tuple[int, bytes]]) -> list[tuple[int, Item]]:
        """The same for bytes that came in several pieces, each with its receipt time; items with theirs.

        Scans are joined across pieces, which costs a tenth of decoding them one at a time.
        """
        items: list[tuple[int, Item]] = []
        run: list[bytes] = []
        times_us: list[int] = []
        for received_us, body in self._frames.feed_pieces(pieces):
            is_scan = body[0] in COUNT_BYTES
            if run and not (is_scan and len(body) == len(run[0]) and body[0] == run[0][0]):
                self._close(run, times_us, items)
            if is_scan:
                run.append(body)
                times_us.append(received_us)
            else:
                self._take_message(body, received_us, items)
        self._close(run, times_us, items)
        return items

    def _close(self, run: list[bytes], times_us: list[int], items: list[tuple[int, Item]]) -> None:
        """Turn the scans collected so far into one item."""
        if not run:
            return
        bodies, run[:] = run[:], []
        received_us, times_us[:] = np.array(times_us, dtype=np.int64), []
        if self._refusing:
            return
        try:
            self._check_width(channels_in(bodies[0]))
        except ValueError as error:
            self._refuse(error, len(bodies))
            return
        samples = decode_scans(bodies, source=self.source, received_us=received_us)
        self.scans += len(samples)
        self.problem = ""
        self._count_dropped(samples)
        items.append((int(received_us[0]), samples))

    def _check_width(self, k: int) -> None:
        if self.hello is not None and k != len(self.hello.channels):
            raise ValueError(f"scan of {k} channels after a hello that names {len(self.hello.channels)}")

    def _count_dropped(self, samples: Samples) -> None:
        """Add the gaps in the numbers."""
        sequence, ticks_us = samples.sequence, samples.ticks_us
        first = int(sequence[0]), int(ticks_us[0])
        if self._last is not None and first[0] != (self._last[0] + 1) & 0xFFFF:
            self.dropped += self._missing((first[0] - self._last[0]) & 0xFFFF, first[1] - self._last[1])
        self._last = int(sequence[-1]), int(ticks_us[-1])
        if len(sequence) > 1:
            ahead = np.diff(sequence)
            for i in np.flatnonzero(ahead != 1).tolist():
                self.dropped += self._missing(int(ahead[i]), int(ticks_us[i + 1]) - int(ticks_us[i]))

    def _missing(self, ahead: int, elapsed_us: int) -> int:
        """Scans missing where the number advances by this much, modulo 65536: the clock tells how often it wrapped. 0
        if the clock has stepped back: the board has restarted.
        """
        elapsed_us &= 0xFFFFFFFF
        if elapsed_us >= 1 << 31:
            return 0
        rate_hz = self.hello.scan_rate_hz if self.hello else 0.0
        turns = max(0, round((elapsed_us * 1e-6 * rate_hz - ahead) / 65536))
        return max(0, ahead + 65536 * turns - 1)

    def _take_message(self, body: bytes, received_us: int, items: list[tuple[int, Item]]) -> None:
        try:
            if body[0] == HELLO:
                items.append((received_us, self._take_hello(body)))
            elif body[0] == REPLY:
                items.append((received_us, decode_reply(body)))
            else:
                self.unknown += 1
        except ValueError as error:
            self._refuse(error, 1)

    def _take_hello(self, body: bytes) -> HelloBody | WrongVersion:
        found = version_of(body)
        self._refusing = found != VERSION
        if self._refusing:
            return WrongVersion(found)
        hello = decode_hello(body)
        if self.hello is None or (hello.board_id, hello.boot) != (self.hello.board_id, self.hello.boot):
            self._last = None
        self.hello = hello
        return hello

    def _refuse(self, error: ValueError, frames: int) -> None:
        self.malformed += frames
        self.problem = str(error)
