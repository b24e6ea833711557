"""What calibrating loads costs: `python -m tests.benchmarks.calibration`. Exit code 1 when a goal is missed.

A board of 8 channels, everything on: parabolas, cross-talk among 7 cells, tilt tare. Blocks of 20 scans, as a board at
1 kHz is read. Counts to newtons is set against the same algebra by matrix product and library sines, which does not
promise the same bits for other block lengths; a fit against numpy's.
"""

import sys
import time
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np

from daq.measure.calibration import CalibratedChannel, Calibration, TiltTare, apply
from daq.measure.calibration.fit import fit_polynomial
from daq.values import Array

SCANS = 20
ROUNDS = 400
MOST_OF_PLAIN = 2.0
MOST_OF_POLYFIT = 8.0


def cost_of(work: Callable[[], object]) -> float:
    """Seconds of the fastest of many rounds, each of several calls."""
    times = []
    for _ in range(ROUNDS):
        begun = time.perf_counter()
        for _ in range(5):
            work()
        times.append((time.perf_counter() - begun) / 5)
    return min(times)


def calibration() -> Calibration:
    cells = tuple(
        CalibratedChannel(f"cell_{i}", "force", (0.1, 1e-4, 1e-13), tare=TiltTare(0.1, 8.0, 18.0, (0.0, 8.0)))
        for i in range(7)
    )
    matrix = tuple(tuple(1.0 if i == j else 0.003 for j in range(7)) for i in range(7))
    return Calibration(
        "bench", "2025-01-01T00:00:00Z", (*cells, CalibratedChannel("tilt", "tilt", (0.0, 1e-3))), matrix
    )


def plain_algebra(jig: Calibration, counts: Array, zero: Array) -> Array:
    """The same loads the short way; its look-ups are not counted either."""
    powers, matrix, cosine, sine = _look_up(jig)
    values = np.polynomial.polynomial.polyval(counts.astype(float), powers, tensor=False)
    base = np.polynomial.polynomial.polyval(zero, powers, tensor=False)
    tilt = np.radians(np.clip(values[:, 7:], 0.0, 8.0))
    forces = (values - base)[:, :7] @ matrix.T - cosine * (np.cos(tilt) - 1.0) - sine * np.sin(tilt)
    return np.hstack([forces, values[:, 7:]])


@cache
def _look_up(jig: Calibration) -> tuple[Array, Array, Array, Array]:
    powers = np.zeros((3, 8))
    for j, channel in enumerate(jig.channels):
        powers[: len(channel.coefficients), j] = channel.coefficients
    tares = [channel.tare for channel in jig.forces]
    return powers, np.array(jig.crosstalk), np.full(7, tares[0].cosine_n), np.full(7, tares[0].sine_n)


def main() -> int:
    jig, rng = calibration(), np.random.default_rng(1)
    counts = rng.integers(0, 8000, (SCANS, 8)).astype(np.int32)
    zero = np.zeros(8)
    used, plain = cost_of(lambda: apply(jig, counts, zero)), cost_of(lambda: plain_algebra(jig, counts, zero))
    first = cost_of(lambda: apply(replace(jig), counts, zero + rng.normal()))
    x = np.linspace(0.0, 3e6, 40)
    y = 1e-4 * x + rng.normal(size=40)
    fit, polyfit = cost_of(lambda: fit_polynomial(x, y, 2)), cost_of(lambda: np.polyfit(x, y, 2))
    goals = [
        ("counts to newtons over plain algebra", used / plain, MOST_OF_PLAIN),
        ("a sound fit over a plain one", fit / polyfit, MOST_OF_POLYFIT),
    ]
    for name, ratio, most in goals:
        print(f"{name}: {ratio:.2f} (goal: at most {most:g}){'' if ratio <= most else '  MISSED'}")
    print(f"with a new zero for every block: {first / used:.1f} times as much")
    return int(any(ratio > most for _, ratio, most in goals))


if __name__ == "__main__":
    sys.exit(main())
