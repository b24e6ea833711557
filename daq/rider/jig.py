"""A simulated rider on a simulated jig: true forces, converter counts and power notifications, in blocks of any length.
A model. Scans lie on the grid i / rate; every scan draws the same number of normals, so for a given generator and
sequence of settings at the same scans, a ride is the same bit for bit however it is cut into blocks.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from daq.physics import crank_torque_nm
from daq.rider.budget import Budget, budget
from daq.rider.cell_faults import CellFaults
from daq.rider.electronics import CELLS, CHANNELS, Electronics
from daq.rider.jig_geometry import JigGeometry
from daq.rider.model import RiderModel, torque_of
from daq.rider.pedalling import SimulatedCrank, TurnedCrank
from daq.rider.position_sensors import PositionSensors
from daq.rider.power_sensor import PowerNotice, PowerSensor
from daq.rider.statics import Supports, supports
from daq.rider.truth import Truth, hands_n, truth
from daq.rider.visits import Visits
from daq.rider.wander import Wander
from daq.values import Array, Bools

_SWAY, _SIDE, _POWER, _CADENCE, _SHIFT, _STROKE = range(6)
_NORMALS = 6 + len(CHANNELS)

__all__ = ["JigBlock", "PowerNotice", "SimulatedJig"]

NOTICE_S = 1.0
"""Between two notifications of the power sensor."""


@dataclass(frozen=True, eq=False, slots=True)
class JigBlock:
    """n scans of the simulated jig, with the truth and what its sensors show."""

    t_s: Array
    """(n,) seconds since the ride began."""
    cells_n: Array
    """(n, 4) true forces on the cells, in the order of electronics.CELLS."""
    tilt_deg: Array
    crank_deg: Array
    """(n,) crank angle from the top."""
    crank_mark: Bools
    """(n,) the first scan of each turn."""
    torque_nm: Array
    """(n,) crank torque of this moment, both legs."""
    left_torque_nm: Array
    """(n,) of the leg whose top is at crank angle 0."""
    feet_n: Array
    counts: npt.NDArray[np.int32]
    """(n, 5) the converter's readings, in the order of electronics.CHANNELS."""
    saturated: Bools
    power: tuple[PowerNotice, ...]
    positions: npt.NDArray[np.int32] | None = None
    """(n, 4) what the encoders read, in the order of position_sensors.SENSORS; None of a jig without any."""

    def __len__(self) -> int:
        return len(self.t_s)


class SimulatedJig:
    """Rider and jig with their state. Set things, then advance."""

    def __init__(
        self,
        model: RiderModel,
        rng: np.random.Generator | None = None,
        *,
        reads_positions: bool = False,
    ) -> None:
        """rng defaults to one seeded with 0: nothing here is random by accident. reads_positions: with encoders at
        saddle and bar."""
        self.model = model
        self.geometry = JigGeometry()
        self.electronics = Electronics()
        self._rng = rng or np.random.default_rng(0)
        self._budget: Budget = budget(model, self.geometry)
        self._dt_s = 1.0 / self.electronics.rate_hz
        self._tilt_rad = 0.0
        self._power_w, self._cadence_rpm = model.power_w, model.cadence_rpm
        self._aboard = self._pedalling = True
        self._hands_shift_n = 0.0
        self._visits = Visits(self._budget, self._rng.spawn(1)[0])
        self._faults = CellFaults(model.confounds, self.electronics.zero_counts)
        self._encoders = PositionSensors(self._budget.geometry, model.confounds) if reads_positions else None
        first = self._rng.standard_normal(4)
        self._sway = Wander(model.sway_n, model.sway_s, self._dt_s, first[0])
        self._side = Wander(model.side_sway_n, model.sway_s, self._dt_s, first[1])
        self._held = Wander(model.power_wander_w, model.power_wander_s, self._dt_s, first[2])
        self._spun = Wander(model.cadence_wander_rpm, model.cadence_wander_s, self._dt_s, first[3])
        self._crank = SimulatedCrank(self._dt_s)
        self._sensor = PowerSensor(NOTICE_S, self._dt_s)
        self._asked_s = 0.0
        self._scans = 0
        self._shift_until_s = -1.0

    @property
    def t_s(self) -> float:
        """Time of the next scan."""
        return self._scans * self._dt_s

    @property
    def place(self) -> int:
        """How many times the saddle has been set so far, including to the same position."""
        return self._visits.place

    @property
    def setback_mm(self) -> float:
        """The saddle's true position."""
        return self._visits.setback_mm

    def set_setback(self, setback_mm: float) -> None:
        """Put the saddle there, unless it is there already; a mounted rider has to settle again. ValueError if it
        cannot be ridden there."""
        if setback_mm != self._visits.said_mm:
            self.place_saddle(setback_mm)

    def place_saddle(self, setback_mm: float) -> None:
        """Loosen the saddle and put it there, even if it was there before. ValueError if it cannot be ridden there."""
        self._visits.put(float(setback_mm), self.t_s, self._torque_nm)

    def set_gradient(self, gradient_pct: float) -> None:
        """Tilt the jig, nose up positive."""
        if not -30.0 <= gradient_pct <= 30.0:
            raise ValueError(f"gradient_pct: expected -30 to 30, got {gradient_pct:g}")
        self._tilt_rad = math.atan(gradient_pct / 100.0)
        self._visits.tilt(self._tilt_rad)

    def set_effort(self, power_w: float, cadence_rpm: float) -> None:
        """Ask for another power and cadence."""
        if not (0.0 <= power_w <= 600.0 and 20.0 <= cadence_rpm <= 180.0):
            raise ValueError(f"effort: expected 0-600 W at 20-180 rpm, got {power_w:g} W at {cadence_rpm:g} rpm")
        self._power_w, self._cadence_rpm = power_w, cadence_rpm

    def set_hands_shift(self, hands_n: float) -> None:
        """Add this much hand load from now on: the hands moved, or a cell drifts."""
        if not abs(hands_n) <= 1000.0:
            raise ValueError(f"hands_n: expected -1000 to 1000, got {hands_n}")
        self._hands_shift_n = hands_n

    def set_aboard(self, aboard: bool) -> None:
        """The rider mounts or dismounts; an empty jig shows its zero."""
        self._aboard = aboard

    def set_pedalling(self, pedalling: bool) -> None:
        """The rider pedals or sits still."""
        self._pedalling = pedalling

    def tire(self, from_s: float, over_s: float) -> None:
        """The ride begins at from_s, infinity for not yet: fatigue has its whole size over_s later, and keeps it."""
        self._visits.tire(from_s, over_s)

    def truth(self) -> Truth:
        """What a perfect instrument would find on this jig, at this gradient and effort."""
        return truth(self._budget, self._tilt_rad, self._power_w, self._cadence_rpm)

    def expected_hands_n(self, setback_mm: float) -> float:
        """Hand load there at this gradient and effort, settled, without sway and drift."""
        return hands_n(self._budget, setback_mm, self._tilt_rad, self._torque_nm)

    @property
    def _torque_nm(self) -> float:
        return torque_of(self._power_w, self._cadence_rpm)

    def advance(self, duration_s: float) -> JigBlock:
        """The scans of the next duration_s; none when no scan falls into it."""
        if not 0.0 <= duration_s < math.inf:
            raise ValueError(f"duration_s: time runs forward, got {duration_s:g}")
        self._asked_s += duration_s
        n = max(0, math.floor(self._asked_s * self.electronics.rate_hz + 1e-6) - self._scans)
        normals = self._rng.standard_normal((n, _NORMALS))
        t_s = np.arange(self._scans, self._scans + n, dtype=np.float64) * self._dt_s
        self._scans += n
        return self._ride(t_s, normals)

    def _ride(self, t_s: Array, z: Array) -> JigBlock:
        model, visits = self.model, self._visits
        back_10mm = (visits.setback_mm - self.geometry.reference_setback_mm) / 10.0
        turned = self._pedal(z, back_10mm)
        tilt_deg = np.full(len(t_s), math.degrees(self._tilt_rad))
        cells_n, feet_n = np.zeros((len(t_s), len(CELLS))), np.zeros(len(t_s))
        more_n, side_n = self._more_hands(t_s, z)
        if self._aboard:
            held = supports(self._budget, visits.at, turned.mean_nm, more_n)
            cells_n, feet_n = self._cells(held, turned, side_n)
        counts, ended = self.electronics.read(cells_n, tilt_deg, z[:, -len(CHANNELS) :])
        since_s = visits.since_s(t_s)
        shown, saturated = self._faults.show(counts.astype(np.float64), visits.place, since_s)
        return JigBlock(
            t_s=t_s,
            cells_n=cells_n,
            tilt_deg=tilt_deg,
            crank_deg=turned.crank_deg,
            crank_mark=turned.mark,
            torque_nm=turned.mean_nm + turned.ripple_nm,
            left_torque_nm=0.5 * (turned.mean_nm + turned.ripple_nm + turned.one_leg_nm),
            feet_n=feet_n,
            counts=shown.astype(np.int32),
            saturated=ended | saturated,
            power=self._sensor.run(t_s, turned) if model.confounds.power_told else (),
            positions=None
            if self._encoders is None
            else self._encoders.counts(visits.setback_mm, visits.place, since_s),
        )

    def _pedal(self, z: Array, back_10mm: float) -> TurnedCrank:
        model = self.model
        cadence_rpm = np.maximum(self._cadence_rpm + self._spun.run(z[:, _CADENCE]), 1.0)
        power_w = np.maximum(self._power_w + self._held.run(z[:, _POWER]), 0.0)
        if not (self._aboard and self._pedalling):
            cadence_rpm, power_w = np.zeros(len(z)), np.zeros(len(z))
        mean_nm = crank_torque_nm(power_w, np.maximum(cadence_rpm, 1.0))
        mean_nm = np.maximum(mean_nm - self._visits.torque_lost_nm, 0.0)
        return self._crank.run(
            cadence_rpm,
            mean_nm,
            model.stroke_spread * z[:, _STROKE],
            phase_deg=model.torque_phase_deg_per_10mm * back_10mm,
            depth=max(0.0, 1.0 + model.top_weakening_per_10mm * back_10mm),
        )

    def _more_hands(self, t_s: Array, z: Array) -> tuple[Array, Array]:
        """What is added to the budget's hand load, and what moves from the left hand to the right."""
        model = self.model
        more_n = self._sway.run(z[:, _SWAY]) + model.drift_n_per_min * t_s / 60.0 + self._hands_shift_n
        more_n = more_n + self._visits.more_n(t_s) + model.hand_shift_n * self._shifted(t_s, z)
        return more_n, self._side.run(z[:, _SIDE]) + 0.5 * self._visits.grip_n(t_s)

    def _shifted(self, t_s: Array, z: Array) -> Array:
        """1 while the hands are elsewhere, otherwise 0; shifts begin at random, at a rate per minute."""
        per_scan = self.model.hand_shifts_per_min * self._dt_s / 60.0
        shifted = np.zeros(len(t_s))
        begins = np.flatnonzero(z[:, _SHIFT] > NormalDist().inv_cdf(1.0 - per_scan)) if per_scan > 0.0 else ()
        shifted[t_s < self._shift_until_s] = 1.0
        for i in begins:
            self._shift_until_s = float(t_s[i]) + self.model.hand_shift_s
            shifted[(t_s >= t_s[i]) & (t_s < self._shift_until_s)] = 1.0
        return shifted

    def _cells(self, held: Supports, turned: TurnedCrank, side_n: Array) -> tuple[Array, Array]:
        """Forces on the cells (n, 4) and on the feet (n,): the means with the ripple of the turn."""
        model, geometry = self.model, self.geometry
        hands_n = np.maximum(held.hands_n - model.hands_ripple_n_per_nm * turned.ripple_nm, 0.0)
        saddle_n = held.saddle_n - model.saddle_ripple_n_per_nm * turned.ripple_nm
        feet_n = held.feet_n + held.hands_n + held.saddle_n - hands_n - saddle_n
        rock_n = model.rock_n * np.sin(np.radians(turned.crank_deg)) * (turned.mean_nm > 0.0)
        to_right_n = np.clip(side_n + rock_n, -0.5 * hands_n, 0.5 * hands_n)
        behind_mm = -1000.0 * held.saddle_x_m - self._visits.setback_mm
        between = (geometry.rear_cell_behind_mm - behind_mm) / (
            geometry.rear_cell_behind_mm - geometry.nose_cell_behind_mm
        )
        nose_n = saddle_n * between
        cells = [0.5 * hands_n - to_right_n, 0.5 * hands_n + to_right_n, nose_n, saddle_n - nose_n]
        return np.column_stack(cells), feet_n
