"""When a scale is to be read: at unpredictable moments, so that they do not keep step with the pedals.

Readings evenly spaced meet the pedalling at the same phase each time. The ripple at the hands is 20 to 40 N, twice a
turn, and a scale that is not damped then shows a level that is off by as much, with no scatter to betray it.
"""

from __future__ import annotations

import hashlib

CELL_S = 4.0
"""At least so long for one reading: to hear the call, to read and to type."""
WITHIN = 0.3
"""A moment lies so far from the middle of its cell at most, in parts of it: 2.4 s wide, 7 half turns at 90 rpm."""
SETTLES_IN = 5.0
"""Time constants after which a damped scale has settled within 1 %."""


def moments_s(seed: str, count: int, *, dwell_s: float, settle_s: float, damping_s: float = 0.0) -> tuple[float, ...]:
    """Seconds after the saddle was moved at which to read, rising.

    seed: any text; the same text gives the same moments. damping_s: time constant of the scale.
    """
    cell_s = max(dwell_s / count, CELL_S)
    from_s = max(settle_s, SETTLES_IN * damping_s)
    return tuple(from_s + (i + 0.5 + WITHIN * (2.0 * _fraction(f"{seed}:{i}") - 1.0)) * cell_s for i in range(count))


def _fraction(text: str) -> float:
    """A number from 0 to 1, even over all texts."""
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:7], "big") / float(1 << 56)
