"""Tables of calibration points whose loads are a little wrong in a known way."""

import numpy as np

from daq.measure.calibration.point_fit import point_fit
from daq.measure.calibration.points import parse_points

TOP_N, PER_N, CONSTANT = 500.0, 8554.0, 1200.0
LEVELS_N = np.linspace(0.0, TOP_N, 9)


def table(rng, *, weights="shared", u=0.0, series=1, both_ways=True, noise_n=0.005, hysteresis=0.0, mounting=0.0,
          columns=("u_load_n", "series", "direction"), loads=9, falling=0.5):  # fmt: skip
    """u: standard uncertainty of a load over the load, drawn once for all, for each load, or for each point.
    hysteresis: how open the loop is in the middle, over the highest load; falling: how much of that the falling branch
    is off, the rising one by the rest. mounting: spread of the series' slopes. loads: how many, evenly from 0 to
    the highest."""
    levels = np.linspace(0.0, TOP_N, loads)
    load = np.concatenate([levels, levels[-2::-1]]) if both_ways else levels
    shared, of_load = rng.normal(), dict(zip(levels, rng.normal(size=loads), strict=True))
    rows = [",".join(["load_n", "reading", *columns])]
    for one in range(series):
        slope = PER_N * (1.0 + rng.normal(0.0, mounting))
        for i, load_n in enumerate(load):
            error = {"shared": shared, "per-load": of_load[load_n], "independent": rng.normal()}[weights]
            down = i >= loads
            x = load_n / TOP_N
            loop_n = TOP_N * hysteresis * 4.0 * x * (1.0 - x) * (falling if down else falling - 1.0)
            reading = CONSTANT + slope * (load_n * (1.0 + u * error) + loop_n + rng.normal(0.0, noise_n))
            told = {"u_load_n": f"{u * load_n:.9g}", "series": f"{one}", "direction": "down" if down else "up"}
            rows.append(",".join([f"{load_n:g}", f"{reading:.6f}", *(told[column] for column in columns)]))
    return "\n".join(rows)


def held(number, order=1, *, weights="shared", seed=(), **how):
    """(2,) share of tables whose stated 95 % intervals of zero and slope hold them; the seed is fixed."""
    rng, truth = np.random.default_rng([20250304, *weights.encode(), *seed]), np.array([CONSTANT, PER_N])
    found = [fitted(table(rng, weights=weights, **how), order, weights=weights) for _ in range(number)]
    off = [np.abs(one.coefficients[:2] - truth) for one in found]
    return np.mean(np.array(off) <= [one.expanded[:2] for one in found], axis=0)


def fitted(text, order=1, *, weights="shared"):
    """The curve that the report of a table states, without what the report judges of its points."""
    return point_fit(parse_points(text), order, weights)
