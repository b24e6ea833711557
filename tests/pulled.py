"""The rider of tests.ridden on a jig whose cells measure the forces along it too, by a board of six channels."""

from dataclasses import replace

import numpy as np

from daq.items import SWEEP_BEGUN, Event, Hello
from daq.jig import beginning
from daq.measure.calibration import CalibratedChannel, Calibration
from daq.values import Samples
from tests.ridden import PLAN, ridden

PULL_N, SEAT_N = -60.0, 25.0
"""What hands and saddle do to the rider along the jig."""
BAR, SADDLE_Y_M = (0.57, 0.76), 0.70
"""The bar 6 cm above the saddle."""
NAMES = ("seat", "tilt", "pull", "hands", "nose", "rear")
"""As the board and the rig file order them: the forces along the jig before those along its normal."""
ROLES = {
    "seat": "saddle tangential", "tilt": "tilt", "pull": "hands tangential",
    "hands": "hands", "nose": "saddle", "rear": "saddle",
}  # fmt: skip
CALIBRATION = Calibration(
    "along", "2026-01-01T00:00:00+00:00",
    tuple(
        CalibratedChannel(name, "tilt" if name == "tilt" else "force", (0.0, 0.001 if name == "tilt" else 0.01))
        for name in NAMES
    ),
)  # fmt: skip
BOARD = {
    "board_id": "00000000000000a1",
    "channels": [
        {"name": name, "kind": 2 if name == "tilt" else 1, "bits": 24, "gain": 128, "units_per_count": None}
        for name in NAMES
    ],
}


def pulled(samples):
    """The scans of tests.ridden as this board would send them, in hundredths of a newton, with a converter's noise."""
    tilt, hands, saddle = samples.counts.T.astype(float)
    hands_n, saddle_n = (hands - 100.0) / 1000.0, saddle / 500.0
    rng = np.random.default_rng(int(samples.ticks_us[0]))
    loads_n = np.column_stack([
        np.full(len(samples), SEAT_N), tilt / 100.0, np.full(len(samples), PULL_N), hands_n, 0.6 * saddle_n,
        0.4 * saddle_n,
    ])  # fmt: skip
    counts = 100.0 * loads_n + rng.normal(0.0, 3.0, loads_n.shape) * (np.array(NAMES) != "tilt")
    return replace(samples, counts=np.rint(counts).astype(np.int32))


def items():
    found = [pulled(item) if isinstance(item, Samples) else item for item in ridden(100)]
    begun = beginning(PLAN, mass_kg=75.0, channels=NAMES, zero_counts=None, board=BOARD)
    found[0], found[1] = Hello(0, "board", BOARD), Event(1, SWEEP_BEGUN, begun)
    return found
