"""A proof to try: a simulated engineer with a dummy on a simulated jig, behind a real pseudo-terminal."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from typing import Any

import numpy as np

from daq.keep.store import Store
from daq.live.demo import BEAT_AT_MOST_S, calibration_of, rig_text_of
from daq.live.links import links_of
from daq.live.proving.engineer import Done
from daq.live.real import begin
from daq.live.session.acquisition import Rider
from daq.live.session.session import Session
from daq.rider.bench_jig import BenchJig, CellFaults
from daq.rider.electronics import CELLS
from daq.rider.jig_geometry import JigGeometry
from daq.rig import parse_rig
from daq.sources.clock import SessionClock
from daq.sources.simulator import SimulatedBoard

SOUND = {cell: CellFaults(1000.0, 0.0, 0.0, 0.0) for cell in CELLS}


class SimulatedProof:
    """Jig, board and session; what the engineer does is applied to the jig."""

    def __init__(self, store: Store, *, seed: int, pace: float) -> None:
        self.rng = np.random.default_rng(seed)
        self._jig = BenchJig(self.rng, faults=SOUND)
        clock = SessionClock(pace=pace, at_most_s=BEAT_AT_MOST_S)
        board = SimulatedBoard(self._jig, clock, on_notification=_unheard, before_beat=lambda: None)
        text = rig_text_of(JigGeometry(), board.port)
        calibration = calibration_of(self._jig.electronics)
        self.session = Session(
            parse_rig(text),
            calibration,
            clock,
            Rider("R-0000", None),
            storing=begin(store, rig_text=text, calibration=calibration, simulated=True, clock=clock),
            simulated=True,
        )
        self.links: list[Callable[[], Coroutine[Any, Any, None]]] = [board.run, *links_of(self.session)]

    def put(self, done: Done, tilt_error_deg: float) -> None:
        """Load bar and saddle as the engineer did, each on both of its cells; the sensor shows the new tilt."""
        halves = {"hands_left": 0.5 * done.hands_n, "hands_right": 0.5 * done.hands_n}
        halves |= {"saddle_nose": 0.5 * done.saddle_n, "saddle_rear": 0.5 * done.saddle_n}
        self._jig.put(halves)
        self._jig.tilt(done.tilt_deg + tilt_error_deg)


def _unheard(received_us: int, characteristic: str, payload: bytes) -> None:
    """Nobody pedals."""
