"""What the onset estimator reaches on made-up sweeps: `python -m tests.benchmarks.onset [sweeps per condition]`.

Prints and writes onset.md beside where it is run; exit code 1 when a goal is missed. 1000 sweeps by default take about
half an hour on two cores; every sweep is seeded by its condition and number. RMSE, bias, coverage and width are over
the sweeps for which an onset was named; "all" is the posterior's mean whatever the verdict. `least squares` is the
plain global hinge on the same steps.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import multiprocessing
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from daq.sweep.bend import bend_of
from daq.sweep.design import next_step
from daq.sweep.evidence import gathered
from daq.sweep.hinge import least_squares
from daq.sweep.onset import LEAST_SQUARES, onset
from daq.sweep.verdict import interval_mm, verdict_of
from daq.values import NAN, Verdict
from tests.benchmarks.onset_rides import (
    CENTRAL_MM,
    FRONT_MM,
    MINUTES_PER_STEP,
    REAR_MM,
    StepWorld,
    StrokeWorld,
    SwayingRider,
    hand_load,
    step_of,
    step_sweep,
    stroke_sweep,
)

STEP_WORLDS = (
    StepWorld("sigma 2"),
    StepWorld("sigma 2, errors given", errors_given=True),
    StepWorld("sigma 1", sigma=1.0),
    StepWorld("n 15", n=15),
    StepWorld("one 12 N outlier", outlier=12.0),
    StepWorld("drift 1 N/min", drift=1.0),
    StepWorld("10 mm bend", bend_mm=10.0),
    StepWorld("slope behind 0.3", behind=0.3),
    StepWorld("added 0.5", added=0.5),
    StepWorld("flat", added=0.0),
    StepWorld("flat, errors given", added=0.0, errors_given=True),
    StepWorld("straight 0.5", added=0.0, behind=0.5),
    StepWorld("straight 1.5", added=0.0, behind=1.5),
    StepWorld("flat, outlier", added=0.0, outlier=12.0),
    StepWorld("straight 1.5, outlier", added=0.0, behind=1.5, outlier=12.0),
)
ADAPTIVE = StepWorld("adaptive, sigma 2")
GOALS = {
    "sigma 2": {"rmse": (0, 1.95), "bias": (-0.2, 0.2), "covers": (0.94, 0.985), "width": (0, 8.5)},
    "sigma 1": {"rmse": (0, 1.0)},
    "one 12 N outlier": {"rmse": (0, 2.9), "covers": (0.93, 1)},
    "drift 1 N/min": {"rmse": (0, 2.0)},
    "10 mm bend": {"rmse": (0, 2.3)},
    "flat": {"named": (0, 0.005)},
    "flat, errors given": {"named": (0, 0.005)},
    "straight 0.5": {"named": (0, 0.005)},
    "straight 1.5": {"named": (0, 0.005)},
    "flat, outlier": {"named": (0, 0.025)},
    "straight 1.5, outlier": {"named": (0, 0.025)},
    ADAPTIVE.name: {"rmse": (0, 1.5)},
}
STROKE_WORLDS = tuple(
    StrokeWorld(f"{kind}, {dwell_s:.0f} s a step", dwell_s=float(dwell_s), saddle_follows=follows, added=added)
    for dwell_s in (25, 60, 120, 240)
    for kind, follows, added in (
        ("saddle falls as in sway", -1.0, (0.2, 0.5)),
        ("saddle falls by half", -0.5, (0.2, 0.5)),
        ("saddle rises", 1.0, (0.2, 0.5)),
        ("no onset", -1.0, (0.0, 0.0)),
    )
)
ADAPTIVE_STROKES = tuple(
    StrokeWorld(f"{kind}, 22 steps of 120 s where asked", dwell_s=120.0, n=22, saddle_follows=follows)
    for kind, follows in (("saddle falls as in sway", -1.0), ("saddle rises", 1.0))
)
"""As long a ride as 11 steps of 240 s."""


@dataclass(frozen=True)
class Tried:
    """One estimate on one sweep."""

    truth_mm: float
    verdict: Verdict
    mean_mm: float
    low_mm: float
    high_mm: float
    plain_mm: float = NAN


def estimate(truth_mm, steps):
    answer = onset(steps)
    if answer.interval_95_mm is None:
        found = bend_of(gathered(steps))
        return Tried(truth_mm, answer.verdict, -found.mean, *interval_mm(found), answer.least_squares_mm)
    return Tried(truth_mm, answer.verdict, answer.onset_mm, *answer.interval_95_mm, answer.least_squares_mm)


def of_steps(task):
    world, number = task
    return estimate(*step_sweep(world, number))


def of_steps_plainly(task):
    """The same sweep answered by least-squares/1."""
    truth_mm, steps = step_sweep(*task)
    answer = onset(steps, method=LEAST_SQUARES)
    low_mm, high_mm = answer.interval_95_mm or (-np.inf, np.inf)
    at_mm = answer.least_squares_mm if answer.onset_mm is None else answer.onset_mm
    return Tried(truth_mm, answer.verdict, at_mm, low_mm, high_mm, answer.least_squares_mm)


def adaptively(task):
    """A sweep of 11 steps, each at the setback asked for."""
    world, number = task
    rng = np.random.default_rng([number, *world.name.encode()])
    truth_mm = rng.uniform(*CENTRAL_MM)
    steps = []
    for i in range(world.n):
        asked = next_step(steps, rear_mm=REAR_MM, front_mm=FRONT_MM, target_width_mm=0.1)
        if asked.setback_mm is None:
            break
        load = hand_load(world, truth_mm, asked.setback_mm, i * MINUTES_PER_STEP, rng)
        steps.append(step_of(asked.setback_mm, load, i * MINUTES_PER_STEP))
    return estimate(truth_mm, steps)


STROKE_METHODS = ("step means, no torque", "step means", "strokes", "strokes and saddle")


def of_strokes(task):
    """The same sweep seen by four methods, from the least to all that is there."""
    world, number = task
    truth_mm, steps = stroke_sweep(world, number)
    bare = [replace(step, strokes=()) for step in steps]
    blind = [replace(step, crank_torque_nm=NAN) for step in bare]
    evidence = gathered(steps)
    seen = (gathered(blind), gathered(bare), replace(evidence, witness=None), evidence)
    return [_tried(truth_mm, each) for each in seen]


def _tried(truth_mm, evidence):

    found = bend_of(evidence)
    plain = least_squares(evidence.setback_mm, evidence.hands_n).breakpoint
    return Tried(truth_mm, verdict_of(evidence, found), -found.mean, *interval_mm(found), plain)


def adaptively_of_strokes(task):
    """A sweep whose steps are each at the setback asked for, with strokes."""
    world, number = task
    rider, steps = SwayingRider(world, number), []
    for i in range(world.n):
        asked = next_step(steps, rear_mm=REAR_MM, front_mm=FRONT_MM, target_width_mm=0.1)
        if asked.setback_mm is None:
            break
        steps.append(rider.step(i, asked.setback_mm))
    return _tried(rider.onset_mm, gathered(steps))


COLUMNS = ("named", "light", "loaded", "undecided", "rmse", "bias", "covers", "width", "rmse all", "covers all",
           "width all", "least squares")  # fmt: skip


def summary(tried):
    """The figures of one condition."""
    truth, mean, low, high, plain = np.array(
        [(t.truth_mm, t.mean_mm, t.low_mm, t.high_mm, t.plain_mm) for t in tried]
    ).T
    named = np.array([t.verdict is Verdict.ONSET for t in tried])
    error, covers, width = mean - truth, (low <= truth) & (truth <= high), high - low
    share = {verdict: float(np.mean([t.verdict is verdict for t in tried])) for verdict in Verdict}

    def over(values, function):
        return float(function(values)) if len(values) else NAN

    return {
        "named": share[Verdict.ONSET],
        "light": share[Verdict.LIGHT],
        "loaded": share[Verdict.LOADED],
        "undecided": share[Verdict.UNDECIDED],
        "rmse": over(error[named], rms),
        "bias": over(error[named], np.mean),
        "covers": over(covers[named], np.mean),
        "width": over(width[named], np.median),
        "rmse all": rms(error),
        "covers all": float(covers.mean()),
        "width all": float(np.median(width)),
        "least squares": rms(plain - truth),
    }


def rms(errors):
    return float(np.sqrt(np.mean(np.square(errors))))


def row(name, figures):
    return f"| {name} | " + " | ".join(f"{figures[key]:.3f}" for key in COLUMNS) + " |"


def missed(name, figures):
    """Sentences for each goal of this condition that was missed."""
    goals = GOALS.get(name, {}).items()
    return [f"{name}: {k} {figures[k]:.3f}, goal {a} to {b}" for k, (a, b) in goals if not a <= figures[k] <= b]


def main(sweeps):
    head = ["| condition | " + " | ".join(COLUMNS) + " |", "|---" * (len(COLUMNS) + 1) + "|"]
    lines, failures = [f"{sweeps} sweeps per condition; lengths in mm, the rest are shares.", "", *head], []
    with multiprocessing.Pool(2) as pool:
        for world, method in [*((w, of_steps) for w in STEP_WORLDS), (ADAPTIVE, adaptively)]:
            figures = summary(pool.map(method, [(world, i) for i in range(sweeps)], chunksize=20))
            lines.append(row(world.name, figures))
            failures += missed(world.name, figures)
            print(lines[-1], flush=True)
        lines += ["", "The same sweeps answered by least-squares/1.", "", *head]
        for world in STEP_WORLDS:
            figures = summary(pool.map(of_steps_plainly, [(world, i) for i in range(sweeps)], chunksize=20))
            lines.append(row(world.name, figures))
            print(lines[-1], flush=True)
        lines += ["", "Stroke series: added slope 0.2-0.5 N/mm, sway 5 N, torque wandering by 1 N m.", "", *head]
        for world in STROKE_WORLDS:
            fewer = max(round(sweeps * min(1.0, 60.0 / world.dwell_s)), 1)
            tried = pool.map(of_strokes, [(world, i) for i in range(fewer)], chunksize=10)
            for method, each in zip(STROKE_METHODS, zip(*tried, strict=True), strict=True):
                lines.append(row(f"{world.name}: {method}", summary(each)))
                print(lines[-1], flush=True)
        for world in ADAPTIVE_STROKES:
            tried = pool.map(adaptively_of_strokes, [(world, i) for i in range(max(sweeps // 5, 1))], chunksize=2)
            lines.append(row(world.name, summary(tried)))
            print(lines[-1], flush=True)
    Path("onset.md").write_text("\n".join([*lines, "", *failures]) + "\n")
    print("\n".join(failures) or "all goals met")
    return bool(failures)


if __name__ == "__main__":
    raise SystemExit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000))
