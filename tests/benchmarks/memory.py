"""Memory over a day at 1 kHz, accelerated: `python -m tests.benchmarks.memory [HOURS]`. Exit code 1 when it grows.

As many scans as the day has, 8 channels with crank marks, power and torque over the turn, from the board's bytes
through the whole session: decoding, store, ride, messages, and a page that reads them. A sweep is under way all the
time whose step never ends: what is kept for a step has to have its own end.
"""

import asyncio
import gc
import sys
import tempfile
from collections.abc import AsyncIterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import uvloop

from daq.items import BOARD
from daq.keep.store import Store
from daq.live.real import begin
from daq.live.session import beat
from daq.live.session.acquisition import Rider
from daq.live.session.session import Session
from daq.live.telling.teller import Teller
from daq.rig_file import parse_rig
from daq.sources.clock import SessionClock
from daq.sweep.plan import Plan, out_and_back
from daq.sweep.run import State, Trigger
from daq.wire import board
from daq.wire.cycling_power import MEASUREMENT_UUID, PowerMeasurement, encode_power
from daq.wire.cycling_power_vector import VECTOR_UUID, PowerVector, encode_vector
from tests.benchmarks.end_to_end import calibration, rig_of
from tests.keep.jig import pedalling

HOURS = 8.0
RATE_HZ = 1000
SETTLED_MIN = 20
MOST_GROWTH_MB = 10.0
PAGE_BYTES = 4096
VECTORS_PER_S = 3
TOO_LITTLE_W = 100
"""Of the plan's 200 W: no stroke counts, so that no step ends."""
HELLO = board.HelloBody(
    "00" * 8,
    1,
    "bench",
    RATE_HZ,
    tuple(board.Channel(f"cell_{i}", board.ChannelKind.BRIDGE, 128, RATE_HZ) for i in range(8)),
)


def rss_mb() -> float:
    """Resident memory of this process (proc(5), statm)."""
    gc.collect()
    return int(Path("/proc/self/statm").read_text().split()[1]) * PAGE_BYTES / 1e6


class Day:
    """A ride without end at 1 kHz."""

    def __init__(self, store: Store) -> None:
        self._now_us = 0
        clock, text = SessionClock(monotonic_ns=lambda: self._now_us * 1000), rig_of("/dev/null")
        storing = begin(store, rig_text=text, calibration=calibration(), simulated=True, clock=clock)
        self.session = Session(parse_rig(text), calibration(), clock, Rider("R-0000", 75.0), storing=storing)
        self.storing, self.teller = storing, Teller(self.session)
        self._scans = pedalling(scans=RATE_HZ, rate_hz=RATE_HZ, channels=8, source=BOARD)
        self._vector = encode_vector(PowerVector(first_angle_deg=90, torque_32=(320, 640, 320)))
        self.heard = 0

    async def ride(self, hours: float) -> AsyncIterator[int]:
        """Each second of it, gone through, told and stored."""
        sensors, clock = self.session.acquisition.sensors, self.session.acquisition.clock
        living = [asyncio.create_task(part) for part in (self.session.run(), self._listen())]
        sensors.arrive_bytes(clock.stamp_us(), board.encode_hello(HELLO))
        while not self.session.acquisition.pipeline.channels:
            await asyncio.sleep(0.01)
        await self.session.sweep.begin(Plan(positions_mm=out_and_back(80.0, 30.0, 6)))
        await self.session.sweep.fitter(Trigger.BEGIN)
        await self.session.sweep.fitter(Trigger.SADDLE_MOVED, 80.0)
        for number in range(round(3600 * hours)):
            self._now_us = (number + 1) * 1_000_000
            sensors.arrive_bytes(clock.stamp_us(), self._second(number))
            for _ in range(VECTORS_PER_S):
                sensors.arrive_notification(clock.stamp_us(), VECTOR_UUID, self._vector)
            told = PowerMeasurement(power_w=TOO_LITTLE_W, crank_revs=None, crank_time_1024=None)
            sensors.arrive_notification(clock.stamp_us(), MEASUREMENT_UUID, encode_power(told))
            self.session.acquisition.drain()
            await self.storing.flush()
            yield number
        assert self.session.sweep.progress.state in (State.SETTLING, State.AVERAGING)
        for task in living:
            task.cancel()
        await asyncio.gather(*living, return_exceptions=True)
        await self.storing.close(clock.stamp_us())

    def _second(self, number: int) -> bytes:
        at_us, scans = number * 1_000_000, self._scans
        return board.encode_scans(
            replace(
                scans,
                ticks_us=(scans.ticks_us.astype(np.int64) + at_us).astype(np.uint32),
                sequence=(scans.sequence.astype(np.int64) + number * RATE_HZ).astype(np.uint16),
            )
        )

    async def _listen(self) -> None:
        page = self.teller.join()
        while await page.get() is not None:
            self.heard += 1


async def grown_mb(folder: Path, *, hours: float, settled_min: float = SETTLED_MIN) -> tuple[float, float, int, int]:
    """Resident memory after the first minutes and the most after that, each minute; scans stored, messages heard."""
    beat.TICK_S = 0.005
    day, settled_mb, most_mb = Day(Store.open(folder / "day.sqlite")), 0.0, 0.0
    async for second in day.ride(hours):
        if second == round(60 * settled_min):
            settled_mb = most_mb = rss_mb()
        elif second % 60 == 0:
            now_mb = rss_mb()
            most_mb = max(most_mb, now_mb) if settled_mb else 0.0
            if second % 1800 == 0:
                print(f"{second / 3600:4.1f} h {now_mb:6.1f} MB", flush=True)
    return settled_mb, max(most_mb, rss_mb()), day.session.acquisition.sensors.decoder.scans, day.heard


def main() -> int:
    """Exit code."""
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else HOURS
    with tempfile.TemporaryDirectory() as folder:
        settled_mb, most_mb, scans, heard = uvloop.run(grown_mb(Path(folder), hours=hours))
    print(f"{hours:g} h, {scans} scans, {heard} messages heard")
    print(f"after {SETTLED_MIN} min {settled_mb:.1f} MB, at most {most_mb:.1f} MB later")
    missed = most_mb - settled_mb > MOST_GROWTH_MB
    print("a goal is missed" if missed else "all goals met")
    return int(missed)


if __name__ == "__main__":
    raise SystemExit(main())
