"""Weights hung on the bar and laid on the saddle: gain, cross-talk and a stop that takes load past the cells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from daq.values import Array

LIGHT = 0.6
"""Weights up to this fraction of the heaviest determine gain and cross-talk; heavier ones are compared with them."""
FEWEST_LIGHT = 3


@dataclass(frozen=True, eq=False, slots=True)
class Hung:
    """From one proof or many: arrays (...,), each with its standard uncertainty from the scatter."""

    gain_error: Array
    u_gain: Array
    crosstalk: Array
    """Fraction of the load that the other cells show."""
    u_crosstalk: Array
    lost: Array
    """Fraction of the load beyond the light weights that the loaded cells do not show."""
    u_lost: Array
    dof: int
    """Degrees of freedom of gain_error and lost."""
    crosstalk_dof: int


def hung(load_n: npt.ArrayLike, shown_n: npt.ArrayLike, others_n: npt.ArrayLike) -> Hung:
    """Loads (m,), zero included, what the loaded cells show (..., m) and what the others show (..., m).

    ValueError for fewer than three weights in the lower part or fewer than two above.
    """
    load, shown, others = np.asarray(load_n, float), np.asarray(shown_n, float), np.asarray(others_n, float)
    light = load <= LIGHT * load.max()
    if np.count_nonzero(light) < FEWEST_LIGHT or np.count_nonzero(~light) < 2:
        raise ValueError("expected three loads, zero included, up to 60 % of the heaviest, and two above it")
    line, whole = (np.column_stack([np.ones(np.count_nonzero(one)), load[one]]) for one in (light, load >= 0.0))
    beyond = load[~light] - load[light].max()
    fitted, across = shown[..., light] @ np.linalg.pinv(line).T, others @ np.linalg.pinv(whole).T
    scatter = _scatter(shown[..., light], fitted, line)
    heavy = beyond / (beyond @ beyond)
    expected = heavy @ whole[~light]
    lost = fitted @ expected - shown[..., ~light] @ heavy
    u_lost = np.sqrt(heavy @ heavy + expected @ np.linalg.inv(line.T @ line) @ expected)
    gain = fitted[..., 1]
    return Hung(
        gain_error=gain - 1.0,
        u_gain=scatter * _u_slope(line),
        crosstalk=across[..., 1],
        u_crosstalk=_scatter(others, across, whole) * _u_slope(whole),
        lost=lost / gain,
        u_lost=scatter * u_lost / np.abs(gain),
        dof=int(np.count_nonzero(light)) - 2,
        crosstalk_dof=len(load) - 2,
    )


def _scatter(values: Array, fitted: Array, design: Array) -> Array:
    off = values - fitted @ design.T
    return np.asarray(np.sqrt(np.sum(off**2, axis=-1) / (len(design) - 2)))


def _u_slope(design: Array) -> float:
    return float(np.sqrt(np.linalg.inv(design.T @ design)[1, 1]))
