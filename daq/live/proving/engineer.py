"""A simulated engineer at a simulated jig with its dummy: does what is asked, and reads caliper, gap and level as
accurately as people do. A model; the jig has the faults of `daq.rider.proof_faults`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.measure.geometry import tilt_deg_of
from daq.proof.dummy import Plank, Springs
from daq.proof.sheet import ProofReading, Sheet
from daq.proof.tasks import GRADUAL, ProofTask, hung_n
from daq.rider.proof_faults import JigFaults

SOFT = Springs((1.0,))
"""The spring for the sweep that is loaded throughout."""
CALIPER_MM, GAP_MM, SET_MM, LEVEL_DEG = 0.05, 0.05, 0.1, 0.03
"""Scatter of readings and settings made by hand."""


@dataclass(frozen=True, slots=True)
class Done:
    """The result of one task."""

    typed: dict[str, float]
    hands_n: float
    """On bar and saddle, as the cells show it without noise."""
    saddle_n: float
    tilt_deg: float
    """The jig's true tilt."""


class Engineer:
    """One person with one dummy and one caliper, whose two ends are located slightly wrong."""

    def __init__(self, rng: np.random.Generator, sheet: Sheet, plank: Plank | None, wrong: JigFaults) -> None:
        self._rng, self._dummy, self._plan, self._plank, self.wrong = rng, sheet.dummy, sheet.plan, plank, wrong
        self._springs = {"rise": sheet.dummy.springs, "loaded": SOFT}
        if sheet.dummy.gradual_springs is not None:
            self._springs[GRADUAL] = sheet.dummy.gradual_springs
        self._hung = {on: hung_n(sheet, on) for on in ("bar", "saddle")}
        self._datum_mm = float(rng.uniform(-1.0, 1.0)) * sheet.dummy.u_datum_mm * math.sqrt(3.0)
        self._onset_mm, self._tilt_deg = 60.0, 0.0
        for reading in sheet.readings:
            self._find(reading)

    def _find(self, reading: ProofReading) -> None:
        """Of a proof that goes on: dummy and jig as they were left."""
        if "gap_mm" in reading.typed:
            self._onset_mm = reading.typed["caliper_mm"] - reading.typed["gap_mm"] - self._datum_mm
        self._tilt_deg = reading.typed.get("level_deg", self._tilt_deg)

    def does(self, task: ProofTask) -> Done:
        """The finished task."""
        kind, _, number = task.id.partition("/")
        typed: dict[str, float] = {}
        loads = (0.0, 0.0)
        if kind == "scale" and task.setback_mm is not None:
            at_mm = float(self.wrong.setback_mm(task.setback_mm, task.forward))
            typed = {"caliper_mm": self._read(at_mm + self._datum_mm, CALIPER_MM)}
        elif kind == "place":
            typed = self._placed(70.0 if number == GRADUAL else 60.0)
        elif kind == "tilt":
            self._tilt_deg = tilt_deg_of(self._plan.gradient_pct) if number.endswith("climb") else 0.0
            typed = {"level_deg": self._read(self._tilt_deg, LEVEL_DEG)}
        elif kind in self._hung:
            load_n = self._hung[kind][int(number)]
            loads = (load_n, 0.0) if kind == "bar" else (0.0, load_n)
        elif task.setback_mm is not None:
            loads = self._pulled(kind, task.setback_mm, task.forward)
        shown = self.wrong.shown_n(*loads)
        return Done(typed, float(shown[0]), float(shown[1]), self._tilt_deg)

    def _placed(self, about_mm: float) -> dict[str, float]:
        self._onset_mm = about_mm + float(self._rng.uniform(-2.0, 2.0))
        placed_mm = self._onset_mm + float(self._rng.uniform(8.0, 12.0))
        return {
            "caliper_mm": self._read(placed_mm + self._datum_mm, CALIPER_MM),
            "gap_mm": self._read(placed_mm - self._onset_mm, GAP_MM),
        }

    def _pulled(self, kind: str, setback_mm: float, forward: bool) -> tuple[float, float]:
        at_mm = float(self.wrong.setback_mm(setback_mm, forward)) + float(self._rng.normal(0.0, SET_MM))
        hands_n = saddle_n = 0.0
        if self._plank is not None:
            hands_n, saddle_n = (float(load_n) for load_n in self._plank.loads_n(at_mm, self._tilt_deg))
        if kind in self._springs:
            springs, onset_mm = self._springs[kind], self._onset_mm
            if kind == "loaded":
                onset_mm = max(self._plan.positions_mm) + 10.0
            hands_n += self.wrong.pulled_n(lambda mm: float(springs.hands_n(mm, onset_mm)), at_mm)
        return hands_n, saddle_n

    def _read(self, value: float, scatter: float) -> float:
        return round(value + float(self._rng.normal(0.0, scatter)), 2)
