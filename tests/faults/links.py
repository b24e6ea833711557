"""A jig for faults of links: a board on a pseudo-terminal, the real session, the real store, a sweep under way."""

from __future__ import annotations

import asyncio
import contextlib
from dataclasses import dataclass, field

import numpy as np

from daq.items import Event
from daq.keep.store import Store
from daq.live.daemon import serve
from daq.live.links import links_of
from daq.live.real import begin
from daq.live.session.acquisition import Rider
from daq.live.session.session import Session
from daq.live.telling import view
from daq.measure.calibration import CalibratedChannel, Calibration
from daq.rig_file import parse_rig
from daq.sources.clock import SessionClock
from daq.sweep.plan import Plan
from daq.sweep.run import Trigger
from daq.values import Samples, joined
from tests.rigs import rig_text
from tests.sources.fake_board import FakeBoard
from tests.sources.waiting import until

BOARD = '[board]\nusb_serial = "FJ-0001"\n'
SLOPE = 0.01
"""Newtons in one count, of both cells: the board's counts are 100 N on the hands and 500 N on the saddle."""
CALIBRATION = Calibration(
    "test",
    "2026-01-01T00:00:00+00:00",
    (
        CalibratedChannel("hands", "force", (0.0, SLOPE)),
        CalibratedChannel("saddle", "force", (0.0, SLOPE)),
        CalibratedChannel("tilt", "tilt", (0.0, 0.001)),
    ),
)
PLAN = Plan(positions_mm=(80.0, 60.0, 40.0, 50.0, 70.0))


@dataclass
class Jig:
    """Everything a fault may touch, and what a person at the jig has been told."""

    board: FakeBoard
    session: Session
    outputs: list = field(default_factory=list)

    def told(self):
        return [f"{note.level}: {note.text}" for note in self.session.acquisition.notices]

    def shown(self, source="board"):
        """What the page shows of this sensor now."""
        return next(one for one in view.sources(self.session) if one["name"] == source)

    async def sees(self, words, *, seconds=20.0):
        """Wait until a person is told something with these words in it."""
        with contextlib.suppress(AssertionError):
            await until(lambda: any(words in line for line in self.told()), seconds=seconds)
        assert any(words in line for line in self.told()), f"{words!r} was never said; said was {self.told()}"

    async def goes_on(self, *, seconds=20.0):
        """Wait until scans come in again."""
        count = self.session.acquisition.sensors.decoder.scans
        await until(lambda: self.session.acquisition.sensors.decoder.scans > count + 20, seconds=seconds)


async def ride(folder, fault, *, more="", pace=1.0, board=None, beside=()):
    """Begin a sweep, let the fault happen, end the sweep; gives the jig."""
    fake = board or FakeBoard()
    text = rig_text(BOARD + more)
    clock = SessionClock(pace=pace)
    storing = begin(
        Store.open(folder / "store.sqlite"), rig_text=text, calibration=CALIBRATION, simulated=True, clock=clock
    )
    outputs = []
    session = Session(
        parse_rig(text), CALIBRATION, clock, Rider("R-0001", 75.0), storing=storing, on_output=outputs.append
    )
    jig = Jig(fake, session, outputs)

    async def act():
        await until(lambda: session.acquisition.pipeline.channels)
        await session.sweep.begin(PLAN)
        await session.sweep.fitter(Trigger.BEGIN)
        await session.sweep.fitter(Trigger.SADDLE_MOVED, 80.0)
        await session.sweep.mark("before the fault")
        await jig.goes_on()
        await fault(jig)
        await session.sweep.mark("after the fault")
        await session.sweep.fitter(Trigger.STOP)

    parts = [lambda: fake.run(pace), *links_of(session), *beside]
    await asyncio.wait_for(serve(session, parts, until=act()), 60)
    return jig


@dataclass(frozen=True)
class Kept:
    """What the store holds afterwards."""

    samples: list
    acts: list
    """What the fitter did and marked, in order."""
    notifications: list
    sweep_state: str

    @property
    def scans(self):
        """All of them as one."""
        return joined(self.samples)

    def missing(self):
        """How many numbers are missing between one scan and the next, (n - 1,)."""
        return (np.diff(self.scans.sequence.astype(np.int64)) - 1) % 65536

    def gaps_s(self):
        """Seconds of receipt between one scan and the next, (n - 1,)."""
        return np.diff(self.scans.received_us) / 1e6


def kept(folder):
    with Store.open(folder / "store.sqlite", write=False) as store:
        items = list(store.read_items(1))
        (sweep,) = store.sweeps()
    events = [item for item in items if isinstance(item, Event)]
    acts = [event.content.get("event") or event.content.get("text") for event in events]
    return Kept(
        [item for item in items if isinstance(item, Samples)],
        [act for act in acts if act],
        [item for item in items if hasattr(item, "payload")],
        sweep.state,
    )
