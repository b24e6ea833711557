"""When a zero counts as moved: on an empty jig, never with weights that somebody hung on it."""

import asyncio
from types import SimpleNamespace

import numpy as np
import pytest

from daq.live.session.occupied import Occupied
from daq.live.session.zero_desk import ZeroDesk
from daq.measure.calibration import CalibratedChannel, Calibration
from daq.measure.calibration.doubts import Doubt

CALIBRATION = Calibration("c", "2025-03-04T10:11:12Z", (CalibratedChannel("hands", "force", (0.0, 0.01)),))
"""A hundred counts a newton."""


def kinds_of_doubt(load_n, taken_by):
    """Of a zero at 1000 counts, with this load on the cell, while somebody has the jig."""
    at = SimpleNamespace(
        clock=SimpleNamespace(now_us=lambda: 1_000_000),
        rig=SimpleNamespace(channels=()),
        act=lambda *_: None,
        pipeline=SimpleNamespace(
            calibration=CALIBRATION,
            zero_counts=np.array([1000.0]),
            recent_counts=lambda: np.full((400, 1), 1000.0 + 100.0 * load_n),
        ),
    )

    async def stored():
        pass

    at.stored = stored
    nobody_else = {name: lambda name=name: name == taken_by for name in ("sweep", "bench", "proof")}
    desk = ZeroDesk(at, Occupied(**nobody_else), compensate=lambda: None)
    asyncio.run(desk.restore([1000.0]))
    return [one.kind for one in desk.doubts() if one.kind in (Doubt.ZERO_MOVED, Doubt.ZERO_OLD)]


@pytest.mark.parametrize(
    ("load_n", "taken_by", "found"),
    [
        (10.0, None, [Doubt.ZERO_MOVED]),
        (10.0, "bench", []),
        (10.0, "proof", []),
        (1.0, None, []),
        (40.0, None, []),  # somebody leans on it
    ],
)
def test_a_load_that_was_hung_there_is_no_zero_that_has_moved(load_n, taken_by, found):
    assert kinds_of_doubt(load_n, taken_by) == found
