"""A guided calibration to try: simulated cells with known faults behind a real pseudo-terminal, and simulated hands
that put on the requested weights, unless told otherwise."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine, Mapping
from typing import Any

import numpy as np

from daq.keep.store import Store
from daq.live.demo import BEAT_AT_MOST_S, rig_text_of
from daq.live.links import links_of
from daq.live.real import begin, uncalibrated
from daq.live.session.acquisition import Rider
from daq.live.session.session import Session
from daq.measure.calibration.bench_plan import Task
from daq.measure.calibration.weights import CLASSES
from daq.rider.bench_jig import BenchJig
from daq.rider.jig_geometry import JigGeometry
from daq.rig_file import parse_rig
from daq.sources.clock import SessionClock
from daq.sources.reference_bench import Built
from daq.sources.reference_board import ReferenceBoard
from daq.sources.simulator import SimulatedBoard

WEIGHTS = "M1"
"""The simulated weights' class."""
SETTLED_US = 500_000
"""A converter's filter remembers the previous load for four conversions, 0.4 s at ten a second: no reading starts
sooner."""
LOOK_S = 0.005


class SimulatedBench:
    """Jig, board, session, and hands."""

    def __init__(self, store: Store, *, seed: int = 1, pace: float = 1.0, reference: Built | None = None) -> None:
        """reference: run the reference board's own firmware instead of the simulated board."""
        rng = np.random.default_rng(seed)
        self.jig = BenchJig(rng, weights_off=float(rng.uniform(-1.0, 1.0)) * CLASSES[WEIGHTS])
        clock = SessionClock(pace=pace, at_most_s=BEAT_AT_MOST_S)
        self.board: SimulatedBoard | ReferenceBoard
        if reference is None:
            self.board = SimulatedBoard(self.jig, clock, on_notification=_unheard, before_beat=self._hang)
        else:
            self.board = ReferenceBoard(
                reference, self.jig, clock, rng=rng, on_notification=_unheard, before_beat=self._hang
            )
        self.rig_text = rig_text_of(JigGeometry(), self.board.port)
        rig = parse_rig(self.rig_text)
        calibration = uncalibrated(rig)
        self.session = Session(
            rig,
            calibration,
            clock,
            Rider("R-0000", None),
            storing=begin(store, rig_text=self.rig_text, calibration=calibration, simulated=True, clock=clock),
            simulated=True,
        )
        self.links: list[Callable[[], Coroutine[Any, Any, None]]] = [self.board.run, *links_of(self.session)]
        self._hung: Task | None = None
        self._hung_us = 0

    def hang(self, loads_n: Mapping[str, float]) -> None:
        """Put these weights on, by their marks, whatever is requested, until the next reading is due."""
        bench = self.session.calibrating.bench
        self._hung = None if bench is None else bench.bench.task
        self.jig.put(loads_n)
        self._hung_us = _ticks_us(self.jig)

    async def arrived(self) -> None:
        """Wait until incoming scans were taken with the current load, and settled."""
        desk = self.session.calibrating.under_way()
        while desk.bench.task != self._hung or not _after(desk.latest_ticks_us, self._hung_us + SETTLED_US):
            await asyncio.sleep(LOOK_S)

    def _hang(self) -> None:
        """Put on what the next reading requires."""
        bench = self.session.calibrating.bench
        task = None if bench is None else bench.bench.task
        if task == self._hung or bench is None:
            return
        if task is None:
            self._hung = None
            return
        places = {place.name: place for place in bench.bench.plan.places}
        self.jig.tilt(task.tilt_deg or 0.0)
        if task.place:
            cells = places[task.place].cells
            self.hang({cell: task.load_n / len(cells) for cell in cells})
        else:
            self.hang({task.cell: task.load_n} if task.cell and task.load_n else {})


def _ticks_us(jig: BenchJig) -> int:
    return round(jig.t_s * 1e6) & 0xFFFF_FFFF


def _after(ticks_us: int | None, since_us: int) -> bool:
    """Whether a board's clock, which wraps, is at or past a moment less than half an hour ago."""
    return ticks_us is not None and (ticks_us - since_us) & 0xFFFF_FFFF < 0x8000_0000


def _unheard(received_us: int, characteristic: str, payload: bytes) -> None:
    """Nobody pedals on a bench."""
