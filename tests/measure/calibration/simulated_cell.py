"""Cells that are wrong in every known way, calibrated with weights that are a little wrong too.

All sizes are of a good workshop: a 500 N cell of class C3 quality, weights of class M2, half an hour of creep test.
Each cell, each series and each use draws its own errors, so that a stated uncertainty can be held against the truth.
"""

from dataclasses import dataclass, replace

import numpy as np

from daq.measure.calibration import CalibratedChannel, Calibration, Term, apply, expanded
from daq.measure.calibration.budget import BenchConditions
from daq.measure.calibration.cell import calibrated, with_assembly
from daq.measure.calibration.crosstalk import crosstalk
from daq.measure.calibration.series import CellReadings, Creep
from daq.measure.calibration.weights import Weights, of_class

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


def drawn_weights(rng, *, off=1.6e-4, u_gravity_m_s2=U_G_M_S2):
    """Error of all weights of class M2 at once, gravity and air, over the load."""
    return rng.uniform(-off, off) + rng.normal(0, u_gravity_m_s2 / G_M_S2) + rng.uniform(-1, 1) * 0.1 / 8000


def series_of(cell, rng, *, series=SERIES, weight_error=None):
    """Loadings up and down: the loads the user believes in, and the mean counts read."""
    weight_error = drawn_weights(rng) if weight_error is None else weight_error
    load, falling = np.concatenate([LEVELS_N, LEVELS_N[-2::-1]]), np.arange(17) > 8
    counts = []
    for _ in range(series):
        pulled = load * (1 + weight_error)
        shown = cell.shown_n(pulled, branch=falling, sensitivity=rng.normal(0, cell.series_sd))
        shown = shown + cell.zero_drift_n * rng.choice([-1, 1]) * np.linspace(0, 1, 17)
        counts.append(np.round(cell.zero + cell.per_n * (shown + rng.normal(0, cell.noise_n, 17))))
    return CellReadings(
        load_n=np.tile(load, series),
        counts=np.concatenate(counts),
        series=np.repeat(np.arange(series), 17),
        falling=np.tile(falling, series),
    )


def conditions():
    return BenchConditions(
        weights=of_class("M2"),
        u_gravity_m_s2=U_G_M_S2,
        g_m_s2=G_M_S2,
        temperature_half_range_k=5.0,
        sensitivity_per_k=2e-5,
    )


def creep_test(cell, rng):
    """Change over 30 min over the load, as read."""
    first, last = (cell.shown_n(CAPACITY_N, minutes=t) for t in (LOADED_MIN, 30.0))
    return Creep((last - first + rng.normal(0, cell.noise_n * np.sqrt(2))) / CAPACITY_N)


OF = {
    "noise": ("noise_n",),
    "mounting": ("series_sd",),
    "hysteresis": ("hysteresis",),
    "zero": ("zero_drift_n",),
    "creep": ("creep_30",),
    "temperature": ("per_k",),
    "bend": ("square", "cube"),
    "weights": (),
    "gravity": (),
}
"""Each error alone: what of a cell makes it; those of weights and gravity are not the cell's."""
USED_N = (10.0, 31.0, 62.5, 100.0, 156.0, 200.0, 250.0, 300.0, 375.0, 450.0, 490.0)
"""Loads in use: at the levels of the calibration, between them, and below the first."""


def uses(rng, alone, series, *, order=2, harder=1.0):
    """One calibration of a cell with one kind of error, or "all", and a use at each of USED_N: errors and stated
    expanded uncertainties (11,), N. What is stated of the other errors is 0 as well.

    harder: times the scatter of mounting of `drawn_cell`; other than 1, what is stated of weights, gravity and
    temperature stays although they make no error.
    """
    cell, told = drawn_cell(rng), conditions()
    if alone != "all":
        cell = replace(cell, **{field: 0.0 for fields in OF.values() for field in fields if field not in OF[alone]})
        cell = replace(cell, series_sd=harder * cell.series_sd)
    has = {error: alone in (error, "all") for error in OF}
    if harder == 1.0:
        told = BenchConditions(
            weights=told.weights if has["weights"] else Weights(0.0, "exact"),
            u_gravity_m_s2=U_G_M_S2 if has["gravity"] else 0.0,
            g_m_s2=G_M_S2,
            by_weights=has["weights"] or has["gravity"],
            temperature_half_range_k=5.0,
            sensitivity_per_k=abs(cell.per_k),
        )
    wrong = drawn_weights(
        rng, off=1.6e-4 if has["weights"] else 0.0, u_gravity_m_s2=U_G_M_S2 if has["gravity"] else 0.0
    )
    creep = creep_test(cell, rng) if has["creep"] else Creep(0.0)
    readings = series_of(cell, rng, series=series, weight_error=wrong if told.by_weights else 0.0)
    channel = calibrated("bar", readings, order, told, creep).channel
    n = len(USED_N)
    shown = cell.shown_n(
        np.array(USED_N),
        branch=rng.uniform(size=n),
        minutes=rng.uniform(0.0, 30.0, n) if has["creep"] else LOADED_MIN,
        kelvin=rng.uniform(-5, 5, n),
        sensitivity=rng.normal(0, cell.series_sd, n),
    )
    shown = shown + cell.zero_drift_n * rng.uniform(-1, 1, n)
    zero, read = (
        np.round(cell.zero + cell.per_n * (load + rng.normal(0, cell.noise_n, n))) for load in (np.zeros(n), shown)
    )
    value = np.polyval(channel.coefficients[::-1], read) - np.polyval(channel.coefficients[::-1], zero)
    stated = np.array([expanded(channel.uncertainty, load_n).expanded_n for load_n in USED_N])
    return value - USED_N, stated


def covered(alone, series, number, **how):
    """Share of `number` calibrations whose stated interval holds the truth, at each of USED_N; the seed is fixed."""
    rng = np.random.default_rng([20250304, series, *alone.encode()])
    errors, stated = np.swapaxes([uses(rng, alone, series, **how) for _ in range(number)], 0, 1)
    return np.mean(np.abs(errors) <= stated + 1e-12, axis=0)


def one_use(rng, order=2, series=SERIES):
    """One calibration and one load measured with it: (error in N, expanded uncertainty stated in N)."""
    cell = drawn_cell(rng)
    made = calibrated("bar", series_of(cell, rng, series=series), order, conditions(), creep_test(cell, rng))
    shows = np.array([[1.0, rng.normal(0, 0.01)], [0.0, 1.0]])
    placed = np.array([[200.0, 0.0], [0.0, 200.0]] * 3)
    matrix = crosstalk(["bar", "nose"], placed, placed @ shows.T + rng.normal(0, 0.05, placed.shape))
    left_n = float(matrix.left_over_n([0.0, OTHER_N])[0])
    channel = with_assembly(made.channel, [Term("cross-talk", absolute_n=left_n, dof=float(matrix.dof))])
    other = CalibratedChannel("nose", "force", (0.0, 1e-4))
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
