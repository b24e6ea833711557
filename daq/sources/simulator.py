"""A simulated jig on the real input paths: a board that writes the wire protocol into a pseudo-terminal, a power
sensor in one crank arm that emits the bytes of Cycling Power Measurement and Vector.

The board answers the host as firmware would. It runs by the session's clock, so a pace above 1 only makes it write more
per second. The caller sets the jig before each beat: saddle, tilt, rider.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import replace
from typing import Protocol

import numpy as np

from daq.rider.electronics import CELLS, GAINS, Electronics
from daq.rider.jig import JigBlock
from daq.rider.position_sensors import MM_PER_COUNT, SENSORS
from daq.rider.power_sensor import PowerNotice
from daq.rider.power_vector import VectorSensor
from daq.sources.board_side import BoardSide
from daq.sources.clock import SessionClock
from daq.sources.terminal import new_terminal
from daq.values import Samples, Status, cut, joined
from daq.wire import board, cycling_power
from daq.wire.cycling_power_vector import VECTOR_UUID, PowerVector, encode_vector

BEAT_S = 0.01
HELLO_EVERY_S = 1.0
SLOWER = (1, 2, 4, 5, 10)
"""The simulated board sends every conversion, or one scan for every 2, 4, 5 or 10."""
UNSENT_AT_MOST = 1 << 20
"""Bytes kept for a stalled reader; a real board would lose scans beyond this too."""


class Jig(Protocol):
    """What the board is wired to: a rider's jig, or one with weights."""

    electronics: Electronics

    def advance(self, duration_s: float) -> JigBlock:
        """The scans of the next duration_s."""


class PowerSender:
    """The power sensor's notifications, as the radio would deliver them."""

    def __init__(self, clock: SessionClock, on_notification: Callable[[int, str, bytes], None]) -> None:
        self._clock, self._on_notification = clock, on_notification
        self._vectors = VectorSensor()

    def send(self, block: JigBlock) -> None:
        """What the sensor notifies in this part of the ride."""
        for notice in block.power:
            self._on_notification(self._clock.stamp_us(), cycling_power.MEASUREMENT_UUID, power_bytes(notice))
        for vector in self._vectors.run(block):
            sent = PowerVector(first_angle_deg=vector.first_angle_deg, torque_32=vector.torque_32)
            self._on_notification(self._clock.stamp_us(), VECTOR_UUID, encode_vector(sent))


class SimulatedBoard:
    """The electronics of a simulated jig behind a pseudo-terminal; `port` is what a serial link opens."""

    def __init__(
        self,
        jig: Jig,
        clock: SessionClock,
        *,
        on_notification: Callable[[int, str, bytes], None],
        before_beat: Callable[[], None],
        reads_positions: bool = False,
    ) -> None:
        """reads_positions: as the jig has encoders at saddle and bar."""
        self._jig, self._clock = jig, clock
        rate_hz = jig.electronics.rate_hz
        hello = hello_of(jig.electronics, reads_positions=reads_positions)
        self.side = BoardSide(hello, rates_hz=[rate_hz / slower for slower in SLOWER], gains=GAINS)
        self._power = PowerSender(clock, on_notification)
        self._before_beat = before_beat
        self.terminal = new_terminal()
        self.port = self.terminal.port
        self.unsent = b""
        self._sequence = 0
        self._ticks_us = 0
        self._next_hello_s = 0.0
        self._over: Samples | None = None

    async def run(self) -> None:
        """Ride and send until cancelled."""
        ridden_s = 0.0
        begun_s = self._clock.now_us() / 1e6
        at_most_s = self._clock.at_most_s
        beat_s = BEAT_S if at_most_s is None else min(BEAT_S, at_most_s / self._clock.pace)
        try:
            while True:
                await asyncio.sleep(beat_s)
                self._clock.beat()
                now_s = self._clock.now_us() / 1e6 - begun_s
                self._before_beat()
                self._obey()
                self.send(self._jig.advance(now_s - ridden_s))
                ridden_s = now_s
        finally:
            self.terminal.close()

    def send(self, block: JigBlock) -> None:
        """Send this block of the ride, and a hello when one is due."""
        self._power.send(block)
        if not len(block.t_s):
            return
        self._ticks_us = round(float(block.t_s[0]) * 1e6) & 0xFFFFFFFF
        if block.t_s[-1] >= self._next_hello_s:
            self.unsent += board.encode_hello(replace(self.side.hello, ticks_us=self._ticks_us))
            self._next_hello_s = float(block.t_s[-1]) + HELLO_EVERY_S
        if self.side.hello.running:
            self.unsent += board.encode_scans(self._scans(block), bits=24)
        self.write()

    def _obey(self) -> None:
        """Answer the host's commands; changes take effect from the next scan on."""
        heard = self.terminal.read()
        if not heard:
            return
        self.unsent += self.side.hear(heard, self._ticks_us)
        gains = tuple(channel.gain for channel in self.side.hello.channels[: len(CELLS)])
        self._jig.electronics = replace(self._jig.electronics, gains=gains)

    def _scans(self, block: JigBlock) -> Samples:
        """The block's conversions at the set rate, numbered."""
        every = round(self._jig.electronics.rate_hz / self.side.hello.scan_rate_hz)
        scans, self._over = slower(self._over, scans_of(block, 0), every)
        first, self._sequence = self._sequence, self._sequence + len(scans)
        return replace(scans, sequence=((first + np.arange(len(scans))) & 0xFFFF).astype(np.uint16))

    def write(self) -> None:
        """Write what the port accepts; no more of the rest is kept than a board could keep."""
        while self.unsent:
            taken = self.terminal.write(self.unsent)
            if not taken:
                self.unsent = self.unsent[-UNSENT_AT_MOST:]
                return
            self.unsent = self.unsent[taken:]


def hello_of(electronics: Electronics, *, reads_positions: bool = False) -> board.HelloBody:
    """What the simulated board says of itself; with the jig's encoders behind the tilt when it reads positions."""
    rate_hz = electronics.rate_hz
    bridges = tuple(
        board.Channel(name, board.ChannelKind.BRIDGE, gain, rate_hz)
        for name, gain in zip(CELLS, electronics.gains, strict=True)
    )
    tilt = board.Channel("tilt", board.ChannelKind.TILT, 1, rate_hz, 24, electronics.degrees_per_count)
    encoders = tuple(board.Channel(name, board.ChannelKind.POSITION, 1, rate_hz, 24, MM_PER_COUNT) for name in SENSORS)
    channels = (*bridges, tilt, *(encoders if reads_positions else ()))
    return board.HelloBody("5173000000000001", 1, "simulated board", rate_hz, channels)


def scans_of(block: JigBlock, first_sequence: int) -> Samples:
    """A block as the board numbers and stamps it."""
    n = len(block.t_s)
    return Samples(
        source="board",
        received_us=np.zeros(n, dtype=np.int64),
        ticks_us=(np.rint(block.t_s * 1e6).astype(np.int64) & 0xFFFFFFFF).astype(np.uint32),
        sequence=((first_sequence + np.arange(n)) & 0xFFFF).astype(np.uint16),
        status=(block.saturated * Status.SATURATED | block.crank_mark * Status.CRANK_MARK).astype(np.uint8),
        counts=block.counts if block.positions is None else np.hstack([block.counts, block.positions]),
    )


def slower(over: Samples | None, new: Samples, every: int) -> tuple[Samples, Samples]:
    """One scan of every `every` conversions, and the conversions left over for the next.

    A scan has the mean of their counts, the marks of all, and the time of the last. over: conversions left over from
    before.
    """
    scans = new if over is None else joined([over, new])
    n, k = len(scans) // every, scans.counts.shape[1]
    whole = cut(scans, slice(n * every))
    means = whole.counts.reshape(n, every, k).mean(axis=1)
    return replace(
        cut(whole, slice(every - 1, None, every)),
        status=np.bitwise_or.reduce(whole.status.reshape(n, every), axis=1),
        counts=np.rint(means).astype(np.int32),
    ), cut(scans, slice(n * every, None))


def power_bytes(notice: PowerNotice) -> bytes:
    """A notice as the Cycling Power Measurement a crank sensor sends."""
    return cycling_power.encode_power(
        cycling_power.PowerMeasurement(
            power_w=notice.power_w,
            torque_at_crank=True,
            torque_total_32=notice.torque_total_32,
            crank_revs=notice.crank_revs,
            crank_time_1024=notice.crank_time_1024,
        )
    )
