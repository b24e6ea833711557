"""Another simulated rider, made of other assumptions than daq.rider and the estimator share, so that validation is not
circular. It knows nothing of either.

    sway       two time scales at once, and a breath that comes and goes
    scatter    heavy-tailed from stroke to stroke, a cough now and then
    torque     wanders by 0.6 N m over 12 s, and its effect on the hands is not quite linear
    drift      a random walk, no line
    visits     evenly spread within 2 N, not normal
    settling   two time constants
    bend       a hyperbola's, not a corner
    saddle     takes a share of what the hands gain, and has a wander of its own

All sizes are judgement. The rider is ridden as daq.rider.strokes is: put the saddle, ride, read strokes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.values import Status, Stroke

CADENCE_RPM, POWER_W = 88.0, 195.4
"""195.4 W at 88 rpm: 21.2 N m."""
TURN_S = 60.0 / CADENCE_RPM
LIGHT_N, SADDLE_N = 76.0, 405.0
TORQUE_NM, TORQUE_SD_NM, TORQUE_S = 21.2, 0.6, 12.0
FAST_N, FAST_S, SLOW_N, SLOW_S = 4.0, 1.2, 2.5, 18.0
BREATH_N, BREATH_S = 1.5, 4.1
TAILS, SCATTER_N = 3.0, 1.0
"""Degrees of freedom of Student's t, and what its values are multiplied by: a standard deviation of 1.7 N."""
COUGHS_PER_MIN, COUGH_N = 0.3, 20.0
WALK_N_PER_ROOT_MIN = 0.6
VISIT_N = 2.0
BEND_MM = 4.0
SETTLES = ((8.0, 2.0), (3.0, 12.0))
"""Hand load too much after a move, N, and its time constant, s."""
BAR_M, BAR_AT_MM, CELLS_M = 0.54, 55.0, (0.06, 0.24)
"""Hands in front of the BB with the saddle at BAR_AT_MM, moving with it; saddle cells behind its reference."""
LINE_MM, LINE_SLOPE, LINE_SD_MM = 8.0, 0.82, 1.5
"""The weight line with the saddle at BAR_AT_MM, how far it comes forward per mm of saddle, and its sway."""
MASS_KG, G_M_S2 = 74.0, 9.80665


@dataclass
class OtherRider:
    """onset_mm None: level at all setbacks, or straight with a slope."""

    rng: np.random.Generator
    onset_mm: float | None = 52.0
    slope_n_per_mm: float = 1.5
    t_s: float = 0.0

    def __post_init__(self) -> None:
        self._per_nm, self._bends_nm = self.rng.uniform(-2.6, -1.2), self.rng.uniform(-0.4, 0.4)
        self._shares = self.rng.uniform(-1.1, -0.4)
        self._fast, self._slow, self._torque, self._side, self._line, self._seat = self.rng.standard_normal(6)
        self._breath, self._walk_n, self._cough_left = self.rng.uniform(0.0, 2.0 * math.pi), 0.0, 0
        self._at_mm, self._moved_s, self._visit_n = BAR_AT_MM, -1e3, 0.0

    def level_n(self, setback_mm: float) -> float:
        """Hand load there, without anything that wanders."""
        if self.onset_mm is None:
            return LIGHT_N + self.slope_n_per_mm * (BAR_AT_MM - setback_mm)
        z = self.onset_mm - setback_mm
        return LIGHT_N + self.slope_n_per_mm * 0.5 * (z + math.hypot(z, BEND_MM))

    def place_saddle(self, setback_mm: float) -> None:
        self._at_mm, self._moved_s = setback_mm, self.t_s
        self._visit_n = self.rng.uniform(-VISIT_N, VISIT_N)

    def pass_time(self, duration_s: float) -> None:
        self.ride(duration_s)

    def ride(self, duration_s: float) -> list[Stroke]:
        return [self._turn() for _ in range(round(duration_s / TURN_S))]

    def _turn(self) -> Stroke:
        z = self.rng.standard_normal(8)
        turn_s = TURN_S * (1.0 + 0.012 * z[7])
        self._fast, self._slow = _on(self._fast, z[0], FAST_S), _on(self._slow, z[1], SLOW_S)
        self._torque, self._side = _on(self._torque, z[2], TORQUE_S), _on(self._side, z[3], 5.0)
        self._line, self._seat = _on(self._line, z[4], 6.0), _on(self._seat, z[5], 9.0)
        self._walk_n += WALK_N_PER_ROOT_MIN * math.sqrt(turn_s / 60.0) * z[6]
        torque_nm = TORQUE_NM + TORQUE_SD_NM * self._torque
        more_nm, since_s = torque_nm - TORQUE_NM, self.t_s - self._moved_s
        sway_n = FAST_N * self._fast + SLOW_N * self._slow + self._breathing() + self._coughing()
        sway_n += SCATTER_N * self.rng.standard_t(TAILS) + self._walk_n + self._visit_n
        sway_n += sum(size_n * math.exp(-since_s / tau_s) for size_n, tau_s in SETTLES)
        gained_n = self.level_n(self._at_mm) - LIGHT_N
        hands_n = LIGHT_N + gained_n + sway_n + self._per_nm * more_nm + self._bends_nm * more_nm**2
        saddle_n = SADDLE_N + self._shares * (gained_n + sway_n) - 1.1 * more_nm + 2.5 * self._seat
        begins_s, self.t_s = self.t_s, self.t_s + turn_s
        return Stroke(
            start_s=begins_s,
            end_s=self.t_s,
            hands_n=hands_n,
            saddle_n=saddle_n,
            feet_n=MASS_KG * G_M_S2 - hands_n - saddle_n,
            tilt_deg=0.0,
            crank_torque_nm=torque_nm,
            power_w=2.0 * math.pi * torque_nm / turn_s,
            cells_n=self._cells(hands_n, saddle_n, torque_nm),
            scans=68,
            flags=Status(0),
        )

    def _breathing(self) -> float:
        self._breath += 2.0 * math.pi * TURN_S / BREATH_S * (1.0 + 0.1 * self.rng.standard_normal())
        return BREATH_N * math.sin(self._breath)

    def _coughing(self) -> float:
        if self.rng.random() < COUGHS_PER_MIN * TURN_S / 60.0:
            self._cough_left = 2
        self._cough_left = max(self._cough_left - 1, 0)
        return COUGH_N if self._cough_left else 0.0

    def _cells(self, hands_n: float, saddle_n: float, torque_nm: float) -> tuple[float, ...]:
        """Left, right, nose, rear: the saddle's load lies where the moment about the BB asks for it."""
        line_m = (LINE_MM + LINE_SLOPE * (BAR_AT_MM - self._at_mm) + LINE_SD_MM * self._line) / 1000.0
        bar_m = BAR_M + (BAR_AT_MM - self._at_mm) / 1000.0
        saddle_m = (line_m * MASS_KG * G_M_S2 - bar_m * hands_n - torque_nm) / saddle_n
        behind_m = -saddle_m - self._at_mm / 1000.0
        nose_n = saddle_n * (CELLS_M[1] - behind_m) / (CELLS_M[1] - CELLS_M[0])
        left_n = (0.48 + 0.02 * self._side) * hands_n
        return left_n, hands_n - left_n, nose_n, saddle_n - nose_n


def _on(x: float, z: float, tau_s: float) -> float:
    """One turn on, of a standard process that forgets over tau_s."""
    keep = math.exp(-TURN_S / tau_s)
    return keep * x + math.sqrt(1.0 - keep**2) * z
