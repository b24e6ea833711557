"""The reference board behind a pseudo-terminal, its machine code executed, on a simulated rider's jig.

It takes the simulated board's place and is wired as in firmware_notes/reference_board/wiring.svg: bridges, tilt sensor,
a bouncing reed switch at the crank. It runs by the session's clock, as fast as this machine can.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import numpy as np

from daq.rider.electronics import CELLS
from daq.rider.jig import JigBlock
from daq.sources.clock import SessionClock
from daq.sources.reference_bench import INPUT, MARK, TILT_MV, BoardBench, Built
from daq.sources.simulator import BEAT_S, UNSENT_AT_MOST, Jig, PowerSender
from daq.sources.terminal import new_terminal

BOARD = bytes.fromhex("5173000000000002") + (1).to_bytes(4, "little")
"""Id and boot number in its EEPROM."""
SUPPLY_MV = 5000
MV_PER_DEG = 0.8 * SUPPLY_MV / 60.0
"""A tilt sensor whose output goes from 10 % to 90 % of its supply over 60 degrees."""
TILT_NOISE_MV = 8.0
DEGREES_PER_COUNT = SUPPLY_MV / (1023 * 64 * MV_PER_DEG)
CLOSED_S = 0.02
BOUNCES_S = (0.0, 2e-4, 3e-4, 6e-4)
"""After an edge the reed opens and closes again for this time; then it stays."""


class ReferenceBoard:
    """The board on a simulated jig; `port` is what a serial link opens. Its noise comes from `rng`."""

    def __init__(
        self,
        built: Built,
        jig: Jig,
        clock: SessionClock,
        *,
        rng: np.random.Generator,
        on_notification: Callable[[int, str, bytes], None],
        before_beat: Callable[[], None],
    ) -> None:
        self.bench = BoardBench(built, supply_mv=SUPPLY_MV, eeprom=BOARD)
        self._jig, self._clock, self._rng = jig, clock, rng
        self._power = PowerSender(clock, on_notification)
        self._before_beat = before_beat
        self._terminal = new_terminal()
        self.port = self._terminal.port
        self._unsent = b""

    async def run(self) -> None:
        """Ride and run the chip until cancelled."""
        ridden_s = 0.0
        begun_s = self._clock.now_us() / 1e6
        try:
            while True:
                await asyncio.sleep(BEAT_S)
                self._clock.beat()
                now_s = self._clock.now_us() / 1e6 - begun_s
                self._before_beat()
                block = self._jig.advance(now_s - ridden_s)
                ridden_s = now_s
                self._power.send(block)
                self._wire(block)
                self._listen()
                self._unsent += self.bench.run(now_s * 1e6)
                self._write()
        finally:
            self._terminal.close()
            self.bench.close()

    def _wire(self, block: JigBlock) -> None:
        """Apply the block to the pins of the board, each change at its time."""
        at = self.bench.at
        tilt_mv = (
            SUPPLY_MV / 2 + block.tilt_deg * MV_PER_DEG + TILT_NOISE_MV * self._rng.standard_normal(len(block.t_s))
        )
        for t_s, counts, mv, marked in zip(
            block.t_s.tolist(), block.counts.tolist(), tilt_mv.tolist(), block.crank_mark.tolist(), strict=True
        ):
            for i in range(len(CELLS)):
                at(t_s * 1e6, INPUT, counts[i], i)
            at(t_s * 1e6, TILT_MV, mv)
            if marked:
                for edge_s, level in ((t_s, 0), (t_s + CLOSED_S, 1)):
                    for i, bounce_s in enumerate(BOUNCES_S):
                        at((edge_s + bounce_s) * 1e6, MARK, 1 - level if i % 2 else level)
                    at((edge_s + 1e-3) * 1e6, MARK, level)

    def _listen(self) -> None:
        heard = self._terminal.read()
        if heard:
            self.bench.hear(heard)

    def _write(self) -> None:
        while self._unsent:
            taken = self._terminal.write(self._unsent)
            if not taken:
                self._unsent = self._unsent[-UNSENT_AT_MOST:]
                return
            self._unsent = self._unsent[taken:]
