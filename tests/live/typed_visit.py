"""A visit with a scale that is read and typed, in one process: a session, and a fitter who reads what a rider shows."""

import asyncio

import numpy as np
import uvloop

from daq.keep.store import Store
from daq.live.daemon import serve
from daq.live.links import links_of
from daq.live.real import begin
from daq.live.session.acquisition import Rider
from daq.live.session.session import Session
from daq.live.typed_rig import typed_rig_text
from daq.physics import STANDARD_G_M_S2
from daq.rig_file import parse_rig
from daq.sources.clock import SessionClock
from daq.sweep.plan import Plan, out_and_back
from daq.sweep.run import ENDED, Trigger
from daq.transmitters import calibration_of_scale

PACE = 200.0
BEAT_S = 0.001
PLAN = Plan(positions_mm=out_and_back(80.0, 30.0, 11), dwell_s=20.0)
ONSET_MM, SLOPE = 55.0, 2.0


class Visit:
    """A session on a scale in kilograms, and a fitter who reads what a rider of a clear onset would show."""

    def __init__(self, folder, text=None, seed=1, beside=()):
        """beside: jobs that run with the session's own, such as a sensor."""
        folder.mkdir(exist_ok=True)
        self.text, self.beside = text or typed_rig_text("kg", 0.1), beside
        rig = parse_rig(self.text)
        calibration = calibration_of_scale(rig, rig.typed)
        clock = SessionClock(pace=PACE, at_most_s=PACE * BEAT_S)
        self.path, self.outputs, self.rng = folder / "store.sqlite", [], np.random.default_rng(seed)
        storing = begin(
            Store.open(self.path), rig_text=self.text, calibration=calibration, simulated=False, clock=clock
        )
        self.session = Session(
            rig, calibration, clock, Rider("R-0001", 75.0), storing=storing, on_output=self.outputs.append
        )

    def run(self, job):
        links = [*self.beside, *links_of(self.session), self.beat]
        uvloop.run(asyncio.wait_for(serve(self.session, links, until=job()), 100))
        return self

    async def beat(self):
        """The clock waits for a machine that cannot keep up with the pace."""
        while True:
            await asyncio.sleep(BEAT_S)
            self.session.acquisition.clock.beat()

    async def ready(self):
        while not self.session.acquisition.pipeline.channels:
            await asyncio.sleep(0.01)

    async def check(self, loaded="10.0", on="hands", settles_s=None):
        return await self.session.typed.check(on, 10.0, "0.0", loaded, settles_s)

    def shown(self, setback_mm):
        """What the displays show, {"hands": ..., and "saddle": ... where there is a second}: what the hands take up
        the saddle loses."""
        rise_n = SLOPE * max(ONSET_MM - setback_mm, 0.0)
        loads_n = {"hands": 90.0 + rise_n + 3.0 * self.rng.standard_normal()}
        if self.session.acquisition.rig.columns("saddle"):
            loads_n["saddle"] = 400.0 - rise_n + 3.0 * self.rng.standard_normal()
        steps = {name: self.session.acquisition.rig.typed.step_of(name) for name in loads_n}
        shown = {name: steps[name] * round(load_n / STANDARD_G_M_S2 / steps[name]) for name, load_n in loads_n.items()}
        return {name: f"{kg:.1f}" for name, kg in shown.items()}

    async def due(self):
        """Wait for the next call."""
        while True:
            fields = self.session.typed.fields()
            if fields["taken"] < len(fields["due_in_s"]) and fields["due_in_s"][fields["taken"]] <= 0.0:
                return
            await asyncio.sleep(0.005)

    async def position(self):
        """One position: moved, read at every call, power typed."""
        progress = self.session.sweep.progress
        at_mm = progress.asked_setback_mm
        await self.session.sweep.fitter(Trigger.SADDLE_MOVED, at_mm)
        for _ in range(5):
            await self.due()
            await self.session.typed.read(**self.shown(at_mm))
        if progress.wants_effort:
            await self.session.typed.effort(200.0, 90.0)

    async def sweep(self):
        await self.ready()
        for each in self.session.acquisition.rig.cells:
            await self.check(on=each)
        await self.session.sweep.begin(PLAN)
        await self.session.sweep.fitter(Trigger.BEGIN)
        while self.session.sweep.progress.state not in ENDED:
            await self.position()
