"""A guided calibration to try: simulated cells with known faults behind a real pseudo-terminal, and the hands that
put weights on as they are asked to, unless told otherwise."""

from __future__ import annotations

from collections.abc import Callable, Coroutine, Mapping
from typing import Any

import numpy as np

from daq.keep.store import Store
from daq.live.demo import rig_text_of
from daq.live.links import links_of
from daq.live.real import begin, uncalibrated
from daq.live.session import Session
from daq.live.view import Rider
from daq.measure.calibration.bench_plan import Task
from daq.measure.calibration.weights import CLASSES
from daq.rider.bench_jig import BenchJig
from daq.rider.jig_geometry import JigGeometry
from daq.rig import parse_rig
from daq.sources.clock import SessionClock
from daq.sources.simulator import SimulatedBoard

WEIGHTS = "M1"
"""Class the simulated weights are within."""


class SimulatedBench:
    """Jig, board, session, and hands."""

    def __init__(self, store: Store, *, seed: int = 1, pace: float = 1.0) -> None:
        rng = np.random.default_rng(seed)
        self.jig = BenchJig(rng, weights_off=float(rng.uniform(-1.0, 1.0)) * CLASSES[WEIGHTS])
        clock = SessionClock(pace=pace)
        self._board = SimulatedBoard(self.jig, clock, on_notification=_unheard, before_beat=self._hang)
        self.rig_text = rig_text_of(JigGeometry(), self._board.port)
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
        self.links: list[Callable[[], Coroutine[Any, Any, None]]] = [self._board.run, *links_of(self.session)]
        self._hung: Task | None = None

    def hang(self, loads_n: Mapping[str, float]) -> None:
        """Put these weights on, by their marks, whatever is asked: until the next reading is due."""
        self.jig.put(loads_n)

    def _hang(self) -> None:
        """Put on what the reading due asks for."""
        bench = self.session.calibrating.bench
        task = None if bench is None else bench.bench.task
        if task == self._hung or bench is None or task is None:
            return
        self._hung = task
        self.jig.tilt(task.tilt_deg or 0.0)
        places = {place.name: place for place in bench.bench.plan.places}
        if task.place:
            cells = places[task.place].cells
            self.jig.put({cell: task.load_n / len(cells) for cell in cells})
        else:
            self.jig.put({task.cell: task.load_n} if task.cell and task.load_n else {})


def _unheard(received_us: int, characteristic: str, payload: bytes) -> None:
    """Nobody pedals on a bench."""
