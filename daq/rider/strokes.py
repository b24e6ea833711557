"""The simulated rider stroke by stroke, for studies of many sweeps: the same body, budget, confounds and faults as in
scans, with means over whole turns drawn directly. A model, like everything in this folder. Ripple and rocking are left
out, since their mean over a whole turn is zero, and with them the 0.2 N of ripple that remains when strokes are cut at
scans. Sway is averaged over turns at the requested cadence.
"""

from __future__ import annotations

import math

import numpy as np

from daq.physics import STANDARD_G_M_S2, crank_torque_nm
from daq.rider.budget import budget
from daq.rider.cell_faults import CellFaults
from daq.rider.electronics import Electronics
from daq.rider.jig_geometry import JigGeometry
from daq.rider.model import RiderModel
from daq.rider.statics import Supports, supports
from daq.rider.visits import Visits
from daq.rider.wander import MeanWander
from daq.values import NAN, Array, Bools, Status, Stroke

TOLD_NM = 1.0 / 32.0
"""The resolution of a crank sensor's torque."""
_SWAY, _SIDE, _POWER, _CADENCE = range(4)
_ENDED = Status.CRANK_MARK | Status.SATURATED
SCANS = 67
"""Of a stroke at 90 rpm on a board of 100 scans a second."""


class StrokeRider:
    """One rider on one jig, level. Set the saddle, then ride."""

    def __init__(self, model: RiderModel, rng: np.random.Generator) -> None:
        self.model = model
        self.geometry = JigGeometry()
        self.t_s = 0.0
        """When the next stroke begins."""
        self._rng = rng
        self._budget = budget(model, self.geometry)
        self._visits = Visits(self._budget, rng.spawn(1)[0])
        self._electronics = Electronics()
        self._faults = CellFaults(model.confounds, self._electronics.zero_counts)
        turn_s = 60.0 / model.cadence_rpm
        first = rng.standard_normal(4)
        self._wanders = tuple(
            MeanWander(sd, correlation_s, turn_s, z)
            for sd, correlation_s, z in zip(
                (model.sway_n, model.side_sway_n, model.power_wander_w, model.cadence_wander_rpm),
                (model.sway_s, model.sway_s, model.power_wander_s, model.cadence_wander_s),
                first.tolist(),
                strict=True,
            )
        )
        self._last_nm = model.torque_nm
        self._shift_until_s = -1.0

    def place_saddle(self, setback_mm: float) -> None:
        """Loosen the saddle and put it there. ValueError if the rider cannot sit there."""
        self._visits.put(setback_mm, self.t_s, self.model.torque_nm)

    def ride(self, duration_s: float) -> list[Stroke]:
        """The next strokes, as many whole ones as come closest to duration_s, as the jig shows them."""
        return self._strokes(*self._ridden(duration_s))

    def pass_time(self, duration_s: float) -> None:
        """Ride on unobserved: the same as `ride`, without returning strokes."""
        self._ridden(duration_s)

    def _ridden(self, duration_s: float) -> tuple[Array, Array, Array, Bools, Array]:
        n = round(duration_s * self.model.cadence_rpm / 60.0)
        z = self._rng.standard_normal((n, len(self._wanders), 2))
        drawn = [wander.run(z[:, i]) for i, wander in enumerate(self._wanders)]
        cadence_rpm = np.maximum(self.model.cadence_rpm + drawn[_CADENCE], 1.0)
        ends_s = self.t_s + np.cumsum(60.0 / cadence_rpm)
        begins_s = np.concatenate([[self.t_s], ends_s[:-1]])[:n]
        torque_nm = crank_torque_nm(np.maximum(self.model.power_w + drawn[_POWER], 0.0), cadence_rpm)
        torque_nm = np.maximum(torque_nm - self._visits.torque_lost_nm, 0.0)
        mid_s = 0.5 * (begins_s + ends_s)
        more_n = drawn[_SWAY] + self.model.drift_n_per_min * mid_s / 60.0 + self._visits.more_n(mid_s)
        more_n = more_n + self.model.hand_shift_n * self._shifted(begins_s)
        held = supports(self._budget, self._visits.at, torque_nm, more_n)
        cells_n = self._cells(held, drawn[_SIDE] + 0.5 * self._visits.grip_n(mid_s))
        shown_n, saturated = self._shown(cells_n, mid_s)
        if n:
            self.t_s = float(ends_s[-1])
        return begins_s, ends_s, shown_n, saturated, self._told(torque_nm)

    def _cells(self, held: Supports, side_n: Array) -> Array:
        """(n, 4) forces on the cells, in the order of electronics.CELLS."""
        geometry = self.geometry
        to_right_n = np.clip(side_n, -0.5 * held.hands_n, 0.5 * held.hands_n)
        behind_mm = -1000.0 * held.saddle_x_m - self._visits.setback_mm
        apart_mm = geometry.rear_cell_behind_mm - geometry.nose_cell_behind_mm
        nose_n = held.saddle_n * (geometry.rear_cell_behind_mm - behind_mm) / apart_mm
        hands_n = 0.5 * held.hands_n
        return np.column_stack([hands_n - to_right_n, hands_n + to_right_n, nose_n, held.saddle_n - nose_n])

    def _shown(self, cells_n: Array, mid_s: Array) -> tuple[Array, Bools]:
        """(n, 4) the counts of these forces converted with the true calibration, and (n,) which were saturated."""
        per_count, zero = np.array(self._electronics.newtons_per_count), np.array(self._electronics.zero_counts[:-1])
        counts = zero + cells_n / per_count
        shown, saturated = self._faults.show(counts, self._visits.place, self._visits.since_s(mid_s))
        return (shown - zero) * per_count, saturated

    def _told(self, torque_nm: Array) -> Array:
        """(n,) torque as reported: that of this stroke and the previous one, since the sensor reports once per 1.5
        turns."""
        before = np.concatenate([[self._last_nm], torque_nm[:-1]])[: len(torque_nm)]
        if len(torque_nm):
            self._last_nm = float(torque_nm[-1])
        if not self.model.confounds.power_told:
            return np.full(len(torque_nm), NAN)
        return np.asarray(TOLD_NM * np.floor(0.5 * (torque_nm + before) / TOLD_NM + 0.5))

    def _shifted(self, begins_s: Array) -> Array:
        """1 for strokes with the hands somewhere else, else 0; shifts begin at random, at a rate per minute."""
        per_stroke = self.model.hand_shifts_per_min / self.model.cadence_rpm
        shifted = np.zeros(len(begins_s))
        if per_stroke <= 0.0:
            return shifted
        for i, begins in enumerate((self._rng.random(len(begins_s)) < per_stroke).tolist()):
            if begins:
                self._shift_until_s = float(begins_s[i]) + self.model.hand_shift_s
            shifted[i] = float(begins_s[i] < self._shift_until_s)
        return shifted

    def _strokes(
        self, begins_s: Array, ends_s: Array, shown_n: Array, saturated: Bools, told_nm: Array
    ) -> list[Stroke]:
        weight_n = self.model.body.mass_kg * STANDARD_G_M_S2
        columns = (begins_s, ends_s, shown_n, saturated, told_nm)
        return [
            Stroke(
                start_s=begin_s,
                end_s=end_s,
                hands_n=cells[0] + cells[1],
                saddle_n=cells[2] + cells[3],
                feet_n=weight_n - sum(cells),
                tilt_deg=0.0,
                crank_torque_nm=nm,
                power_w=2.0 * math.pi * nm / (end_s - begin_s),
                cells_n=tuple(cells),
                scans=SCANS,
                flags=_ENDED if ended else Status.CRANK_MARK,
            )
            for begin_s, end_s, cells, ended, nm in zip(*(column.tolist() for column in columns), strict=True)
        ]
