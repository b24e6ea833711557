"""How fast the onset is: `python -m tests.benchmarks.onset_speed`. Exit code 1 when a goal is missed.

One answer with interval, classes and reasons against one fit of the general-purpose package piecewise-regression with
20 restarts, by turns in the same process; what a fitter waits for, the answer with all tests of validity; and a batch
of sweeps on two processes. Every turn has a sweep of its own: what was pooled of the strokes of the last ones is kept.
"""

import daq.cli  # noqa: F401, I001  before numpy: threads and memory as the command has them

import multiprocessing
import statistics
import time
import warnings

import numpy as np
import piecewise_regression

from daq.sweep.onset import onset
from tests.benchmarks.confound_judging import judged
from tests.benchmarks.confound_lines import LINES
from tests.benchmarks.confound_rides import ride
from tests.benchmarks.onset_rides import StepWorld, StrokeWorld, step_sweep, stroke_sweep

TURNS = 15
BATCH = 2000
TIMES_FASTER = 10.0
MOST_MS = 20.0
LEAST_PER_MINUTE = 10_000
WORLD = StepWorld("speed")


def took_s(function, *arguments, **options):
    begun = time.perf_counter()
    function(*arguments, **options)
    return time.perf_counter() - begun


def answer(number):
    return onset(step_sweep(WORLD, number)[1]).p_onset


def main():
    warnings.simplefilter("ignore")
    np.random.seed(1)  # noqa: NPY002
    (line,) = (one for one in LINES if one.name == "clean hinge 1.5")
    turns = []
    for number in range(TURNS + 1):
        steps, strokes = step_sweep(WORLD, number)[1], stroke_sweep(StrokeWorld("speed"), number)[1]
        ridden = ride(line, "out and back", number)
        x = np.array([-step.setback_mm for step in steps])
        y = np.array([step.hand_load_n for step in steps])
        turns.append(
            (
                took_s(onset, steps),
                took_s(onset, strokes),
                took_s(judged, ridden),
                took_s(piecewise_regression.Fit, x, y, n_breakpoints=1, n_boot=20),
            )
        )
    of_steps, of_strokes, of_all, theirs = (statistics.median(column) for column in zip(*turns[1:], strict=True))
    with multiprocessing.Pool(2) as pool:
        pool.map(answer, range(8))
        batch_s = took_s(pool.map, answer, range(BATCH), chunksize=50)
    per_minute = 60.0 * BATCH / batch_s
    print(f"one answer from 11 steps: {1000 * of_steps:.1f} ms, goal below {MOST_MS:.0f}")
    print(f"one answer from 11 steps of 38 strokes: {1000 * of_strokes:.1f} ms, goal below {MOST_MS:.0f}")
    print(f"the same with all tests of validity: {1000 * of_all:.1f} ms, goal below {MOST_MS:.0f}")
    print(f"piecewise-regression, 20 restarts: {1000 * theirs:.0f} ms, {theirs / of_steps:.0f} times as long, "
          f"goal {TIMES_FASTER:.0f}")  # fmt: skip
    print(f"batch on two processes: {per_minute:.0f} sweeps a minute, goal {LEAST_PER_MINUTE}")
    met = 1000 * max(of_steps, of_strokes, of_all) < MOST_MS
    return not (met and theirs / of_steps >= TIMES_FASTER and per_minute >= LEAST_PER_MINUTE)


if __name__ == "__main__":
    raise SystemExit(main())
