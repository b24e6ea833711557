"""Which positions of the saddle count as different."""

from __future__ import annotations

import numpy as np

from daq.values import Array

SAME_PLACE_MM = 1.0
"""A saddle is rarely put back more precisely than this, so positions closer together count as one."""


def places(x: Array) -> Array:
    """The positions at least SAME_PLACE_MM from each other, ascending; the lowest of each cluster."""
    kept: list[float] = []
    for at in np.unique(x).tolist():
        if not kept or at - kept[-1] >= SAME_PLACE_MM:
            kept.append(at)
    return np.array(kept)
