"""What a bought transmitter says, as scans: loads in newtons instead of converter counts.

One count is 1 mN, whatever unit the maker chose, so such a device goes the same way as a board from here on.
A transmitter has no clock of its own that reaches the host: the receipt time stands for it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from daq.physics import POUND_KG, STANDARD_G_M_S2
from daq.values import Samples, Status

COUNT_N = 0.001
MOST = 2**31 - 1
PER_KG = ("kg", "g", "t")
NEWTONS = {
    "N": 1.0,
    "mN": 0.001,
    "daN": 10.0,
    "kN": 1000.0,
    "kgf": STANDARD_G_M_S2,
    "lbf": POUND_KG * STANDARD_G_M_S2,
    "lb": POUND_KG * STANDARD_G_M_S2,
    "kg": STANDARD_G_M_S2,
    "g": STANDARD_G_M_S2 / 1000.0,
    "t": STANDARD_G_M_S2 * 1000.0,
}
"""Newtons in one unit; NIST SP 811, appendix B.8. A transmitter that shows kg, g or t shows what weighs as much."""


def newtons_per(unit: str, *, g_m_s2: float = STANDARD_G_M_S2) -> float:
    """Newtons in one unit. ValueError, naming the known ones, for another.

    For masses (kg, g, t) give the local gravity when the device was adjusted with weights where it stands.
    """
    if unit not in NEWTONS:
        raise ValueError(f"unit {unit!r}: expected one of {', '.join(NEWTONS)}")
    return NEWTONS[unit] * (g_m_s2 / STANDARD_G_M_S2 if unit in PER_KG else 1.0)


def scan_of(
    loads_n: Sequence[float | None], *, source: str, received_us: int, sequence: int, status: int = 0
) -> Samples:
    """One scan of these loads. One that is None, or more than fits, is at the end of the scale and saturated."""
    counts = []
    for load_n in loads_n:
        count = MOST if load_n is None else round(load_n / COUNT_N)
        if load_n is None or abs(count) > MOST:
            status |= Status.SATURATED
            count = min(MOST, max(-MOST, count))
        counts.append(count)
    return Samples(
        source=source,
        received_us=np.array([received_us], dtype=np.int64),
        ticks_us=np.array([received_us % (1 << 32)], dtype=np.uint32),
        sequence=np.array([sequence % (1 << 16)], dtype=np.uint16),
        status=np.array([status], dtype=np.uint8),
        counts=np.array([counts], dtype=np.int32),
    )
