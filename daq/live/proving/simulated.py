"""A proof to try: a simulated engineer with a dummy on a simulated jig, behind a real pseudo-terminal."""

from __future__ import annotations

from collections.abc import Callable, Coroutine, Mapping
from typing import Any

import numpy as np

from daq.keep.store import Store
from daq.live.demo import BEAT_AT_MOST_S, calibration_of, rig_text_of
from daq.live.links import links_of
from daq.live.proving.engineer import Engineer
from daq.live.real import begin
from daq.live.session.acquisition import Rider
from daq.live.session.session import Session
from daq.proof.sheet import Sheet
from daq.proof.tasks import ProofTask
from daq.rider.bench_jig import BenchJig, CellErrors
from daq.rider.electronics import CELLS
from daq.rider.jig_geometry import JigGeometry
from daq.rider.proof_faults import JigFaults
from daq.rig_file import parse_rig
from daq.sources.clock import SessionClock
from daq.sources.reference_bench import Built
from daq.sources.reference_board import DEGREES_PER_COUNT, ReferenceBoard
from daq.sources.simulator import SimulatedBoard

SOUND = {cell: CellErrors(1000.0, 0.0, 0.0, 0.0) for cell in CELLS}
SOUND_JIG = JigFaults()


class SimulatedProof:
    """Jig, board and session; what the engineer does is applied to the jig."""

    def __init__(
        self, store: Store, *, seed: int, pace: float, wrong: JigFaults = SOUND_JIG, reference: Built | None = None
    ) -> None:
        """wrong: what is wrong with the jig. reference: the reference board's own program in the simulated board's
        place.
        """
        self._rng, self._wrong = np.random.default_rng(seed), wrong
        self._jig = BenchJig(self._rng, faults=SOUND)
        clock = SessionClock(pace=pace, at_most_s=BEAT_AT_MOST_S)
        hears: dict[str, Any] = {"on_notification": _unheard, "before_beat": lambda: None}
        board: SimulatedBoard | ReferenceBoard
        if reference is None:
            board = SimulatedBoard(self._jig, clock, **hears)
            calibration = calibration_of(self._jig.electronics)
        else:
            board = ReferenceBoard(reference, self._jig, clock, rng=np.random.default_rng(seed + 1), **hears)
            calibration = calibration_of(self._jig.electronics, tilt_zero=0.0, degrees_per_count=DEGREES_PER_COUNT)
        text = rig_text_of(JigGeometry(), board.port)
        self.session = Session(
            parse_rig(text),
            calibration,
            clock,
            Rider("R-0000", None),
            storing=begin(store, rig_text=text, calibration=calibration, simulated=True, clock=clock),
            simulated=True,
        )
        self.session.proving.hands_for = self._hands_for
        self.links: list[Callable[[], Coroutine[Any, Any, None]]] = [board.run, *links_of(self.session)]

    def _hands_for(self, sheet: Sheet) -> Callable[[ProofTask], Mapping[str, float]]:
        """Does tasks on the jig: loads on bar and saddle, each on both of its cells; the sensor shows another tilt."""
        plank = sheet.dummy.plank(self.session.acquisition.rig)
        engineer = Engineer(self._rng, sheet, plank, self._wrong)

        def does(task: ProofTask) -> Mapping[str, float]:
            done = engineer.does(task)
            halves = {"hands_left": 0.5 * done.hands_n, "hands_right": 0.5 * done.hands_n}
            halves |= {"saddle_nose": 0.5 * done.saddle_n, "saddle_rear": 0.5 * done.saddle_n}
            self._jig.put(halves)
            self._jig.tilt(done.tilt_deg + float(np.asarray(self._wrong.tilt_deg)))
            return done.typed

        return does


def _unheard(received_us: int, characteristic: str, payload: bytes) -> None:
    """Nobody pedals."""
