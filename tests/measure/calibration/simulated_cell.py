"""Cells that are wrong in every known way, calibrated with weights that are a little wrong too.

All sizes are of a good workshop: a 500 N cell of class C3 quality, weights of class M2, half an hour of creep test.
Each cell, each series and each use draws its own errors, so that a stated uncertainty can be held against the truth.
"""

from dataclasses import dataclass

import numpy as np

from daq.measure.calibration import Calibration, Channel, Term, apply, expanded
from daq.measure.calibration.cell import Conditions, Readings, calibrated, with_assembly
from daq.measure.calibration.crosstalk import crosstalk
from daq.measure.calibration.weights import of_class

CAPACITY_N = 500.0
LEVELS_N = np.linspace(0.0, CAPACITY_N, 9)
SERIES = 3
G_M_S2, U_G_M_S2 = 9.81, 1e-3
CREEP_TAU_MIN = 8.0
LOADED_MIN = 0.5
"""How long a weight hangs before it is read."""
OTHER_N = 200.0
"""Typical load on the other cell in use."""


@dataclass(frozen=True)
class Cell:
    """One cell and its amplifier, as nature made them."""

    per_n: float
    zero: float
    square: float
    cube: float
    hysteresis: float
    creep_30: float
    """Over the load, after 30 min."""
    per_k: float
    series_sd: float
    noise_n: float
    zero_drift_n: float

    def shown_n(self, load_n, *, branch=0.0, minutes=LOADED_MIN, kelvin=0.0, sensitivity=0.0):
        """What it would show without noise; branch 0 rising, 1 falling."""
        x = load_n / CAPACITY_N
        bent = self.square * x * (1 - x) + self.cube * x * (1 - x) * (1 - 2 * x) * 4
        lag = self.hysteresis * 4 * x * (1 - x) * (branch - 0.5)
        crept = self.creep_30 * (1 - np.exp(-minutes / CREEP_TAU_MIN)) / (1 - np.exp(-30 / CREEP_TAU_MIN))
        return load_n * (1 + crept + self.per_k * kelvin + sensitivity) + CAPACITY_N * (bent + lag)


def drawn_cell(rng):
    return Cell(
        per_n=8554.0 * (1 + rng.normal(0, 0.01)),
        zero=rng.uniform(-1e5, 1e5),
        square=rng.normal(0, 3e-4),
        cube=rng.normal(0, 8e-5),
        hysteresis=rng.uniform(1e-4, 5e-4),
        creep_30=rng.uniform(-3e-4, 3e-4),
        per_k=2e-5 * rng.choice([-1, 1]),
        series_sd=6e-5,
        noise_n=0.02,
        zero_drift_n=rng.uniform(0.01, 0.08),
    )


def series_of(cell, rng):
    """SERIES loadings up and down: the loads the user believes in, and the mean counts read."""
    weight_error = rng.uniform(-1.6e-4, 1.6e-4) + rng.normal(0, U_G_M_S2 / G_M_S2) + rng.uniform(-1, 1) * 0.1 / 8000
    load, falling = np.concatenate([LEVELS_N, LEVELS_N[-2::-1]]), np.arange(17) > 8
    counts = []
    for _ in range(SERIES):
        pulled = load * (1 + weight_error)
        shown = cell.shown_n(pulled, branch=falling, sensitivity=rng.normal(0, cell.series_sd))
        shown = shown + cell.zero_drift_n * rng.choice([-1, 1]) * np.linspace(0, 1, 17)
        counts.append(np.round(cell.zero + cell.per_n * (shown + rng.normal(0, cell.noise_n, 17))))
    return Readings(
        load_n=np.tile(load, SERIES),
        counts=np.concatenate(counts),
        series=np.repeat(np.arange(SERIES), 17),
        falling=np.tile(falling, SERIES),
    )


def conditions():
    return Conditions(
        weights=of_class("M2"),
        u_gravity_m_s2=U_G_M_S2,
        g_m_s2=G_M_S2,
        temperature_half_range_k=5.0,
        sensitivity_per_k=2e-5,
    )


def creep_test(cell, rng):
    """Change over 30 min over the load, as read."""
    first, last = (cell.shown_n(CAPACITY_N, minutes=t) for t in (LOADED_MIN, 30.0))
    return (last - first + rng.normal(0, cell.noise_n * np.sqrt(2))) / CAPACITY_N


def one_use(rng, order=2):
    """One calibration and one load measured with it: (error in N, expanded uncertainty stated in N)."""
    cell = drawn_cell(rng)
    made = calibrated("bar", series_of(cell, rng), order, conditions(), creep_relative=creep_test(cell, rng))
    shows = np.array([[1.0, rng.normal(0, 0.01)], [0.0, 1.0]])
    placed = np.array([[200.0, 0.0], [0.0, 200.0]] * 3)
    matrix = crosstalk(["bar", "nose"], placed, placed @ shows.T + rng.normal(0, 0.05, placed.shape))
    left_n = float(matrix.left_over_n([0.0, OTHER_N])[0])
    channel = with_assembly(made.channel, [Term("cross-talk", absolute_n=left_n, dof=float(matrix.dof))])
    other = Channel("nose", "force", (0.0, 1e-4))
    calibration = Calibration("one", "2025-01-01T00:00:00Z", (channel, other), matrix.rows, simulated=True)

    true_n, other_n = rng.uniform(10.0, 450.0), rng.uniform(0.5, 1.5) * OTHER_N
    shown = cell.shown_n(
        true_n,
        branch=rng.uniform(),
        minutes=rng.uniform(0.0, 30.0),
        kelvin=rng.uniform(-5, 5),
        sensitivity=rng.normal(0, cell.series_sd),
    )
    shown += shows[0, 1] * other_n + cell.zero_drift_n * rng.uniform(-1, 1)
    zero, reading = cell.zero + 5e4 + cell.per_n * (np.array([0.0, shown]) + rng.normal(0, cell.noise_n, 2))
    value = apply(calibration, [[round(reading), round(1e4 * other_n)]], [round(zero), 0.0])[0, 0]
    return value - true_n, expanded(channel.uncertainty, true_n).expanded_n
