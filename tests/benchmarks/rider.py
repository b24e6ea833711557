"""What the simulated rider costs, as ratios: `python -m tests.benchmarks.rider`. Exit code 1 when a goal is missed.

Simulated seconds per second of computing, for a board of 100 scans a second asked every 10 ms of session time at pace
1, and in pieces of 0.6 s as at pace 60: how many times faster than needed.
"""

import sys
import time

import numpy as np

from daq.rider.jig import SimulatedJig
from daq.rider.model import DEMO

GOALS = {"pace 1, every 10 ms": (0.01, 1.0, 10.0), "pace 60, every 10 ms": (0.6, 60.0, 10.0)}
"""Piece in session seconds, pace, and how many times faster than needed it has to be."""
SECONDS = 60.0


def times_faster(piece_s: float, pace: float) -> float:
    """Best of three rides."""
    best = 0.0
    for seed in range(3):
        jig = SimulatedJig(DEMO, rng=np.random.default_rng(seed))
        begun = time.perf_counter()
        for _ in range(round(SECONDS / piece_s)):
            jig.advance(piece_s)
        best = max(best, SECONDS / (time.perf_counter() - begun) / pace)
    return best


def main() -> int:
    missed = 0
    for name, (piece_s, pace, goal) in GOALS.items():
        found = times_faster(piece_s, pace)
        missed += found < goal
        print(f"{name}: {found:.0f} times faster than needed, goal {goal:.0f}")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
