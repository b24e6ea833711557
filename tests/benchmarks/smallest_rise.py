"""Whether half of the sweeps find the rise that the best plan promises, and whether intervals are as wide as promised:
`python -m tests.benchmarks.smallest_rise [--sweeps N] [--from SEED] [--part 1/2]`.

A line is a range, minutes and a rider's scatter. Its best plan is ridden by riders made of what the promise is made of:
sway as an Ornstein-Uhlenbeck process, a scatter from visit to visit, a drift; besides 1 N from stroke to stroke. The
onset lies anywhere in the central 60 %. Right is a share of 0.4 to 0.6. All sizes are assumptions about riders.

The constants of daq/fit/expectation.py were fitted to sweeps of other seeds (daq/sweep/method.md).
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import statistics
from dataclasses import dataclass

import numpy as np

from daq.fit.best_plan import bound_n
from daq.fit.expectation import Width, widths
from daq.fit.outcome import Outcome, outcome
from daq.fit.sketch import Sketch
from daq.sweep.information import Sway
from daq.sweep.onset import onset
from daq.sweep.plan import MOVING_S
from daq.values import NAN, Onset, Status, StepMean, Stroke, Verdict

SCATTERS = {"low": Sway(3.0, 4.0, 0.5), "usual": Sway(), "high": Sway(8.0, 4.0, 2.0)}
RANGES_MM, MINUTES = (40.0, 50.0, 80.0, 120.0), (10.0, 20.0, 40.0, 60.0)
FRONT_MM, LEVEL_N, SETTLE_S, STROKE_S = 30.0, 90.0, 6.0, 2.0 / 3.0
DRIFT_N_PER_MIN, STROKE_N, TORQUE_NM = 0.4, 1.0, 21.2
SEED = 2026
WIDER = (1.5, 2.5)
"""Slopes at which intervals are measured, over the smallest one."""


@dataclass(frozen=True)
class Line:
    """One rider with so many minutes and a range of so many millimetres."""

    range_mm: float
    minutes: float
    scatter: str

    @property
    def sway(self) -> Sway:
        return SCATTERS[self.scatter]

    def planned(self) -> tuple[Sketch, Outcome]:
        """The best plan for it, and what is said of that."""
        rear_mm = FRONT_MM + self.range_mm
        sketch = Sketch(rear_mm=rear_mm, front_mm=FRONT_MM, apart_mm=5.0, minutes=self.minutes, settle_s=SETTLE_S)
        best = outcome(sketch, self.sway).best
        taken = {"apart_mm": best.apart_mm, "order": best.order, "dwell_s": best.dwell_s}
        sketch = sketch.model_copy(update=taken)
        return sketch, outcome(sketch, self.sway)


LINES = tuple(Line(mm, minutes, scatter) for mm in RANGES_MM for minutes in MINUTES for scatter in SCATTERS)


def wander(rng: np.random.Generator, n: int, sway: Sway) -> np.ndarray:
    """An Ornstein-Uhlenbeck process, one value a stroke."""
    keep = np.exp(-STROKE_S / sway.sway_s)
    kicks = sway.sway_n * rng.standard_normal(n) * np.where(np.arange(n), np.sqrt(1.0 - keep**2), 1.0)
    for i in range(1, n):
        kicks[i] += keep * kicks[i - 1]
    return kicks


def ridden(line: Line, sketch: Sketch, positions_mm: tuple[float, ...], slope: float, seed: int) -> list[StepMean]:
    """The steps of one rider's sweep."""
    rng = np.random.default_rng([round(line.range_mm), round(line.minutes), *line.scatter.encode(), seed])
    onset_mm = FRONT_MM + line.range_mm * rng.uniform(0.2, 0.8)
    drift, t_s, steps = rng.normal(0.0, DRIFT_N_PER_MIN), 0.0, []
    for setback_mm in positions_mm:
        moved_s = t_s + MOVING_S
        starts_s = moved_s + SETTLE_S + STROKE_S * np.arange(round(sketch.dwell_s / STROKE_S))
        visit_n = LEVEL_N + slope * max(onset_mm - setback_mm, 0.0) + line.sway.between_n * rng.standard_normal()
        scatter_n = STROKE_N * rng.standard_normal(len(starts_s))
        hands_n = visit_n + drift * starts_s / 60.0 + wander(rng, len(starts_s), line.sway) + scatter_n
        strokes = tuple(
            Stroke(at, at + STROKE_S, load, NAN, NAN, 0.0, TORQUE_NM, NAN, (), 67, Status(0))
            for at, load in zip(starts_s.tolist(), hands_n.tolist(), strict=True)
        )
        t_s = float(starts_s[-1])
        mean_n, minute = float(hands_n.mean()), float(starts_s.mean()) / 60.0
        steps.append(StepMean(setback_mm, mean_n, NAN, minute, TORQUE_NM, NAN, 0.0, strokes, moved_min=moved_s / 60.0))
    return steps


def answers(line: Line, slope: float, seeds: range) -> list[Onset]:
    """What the estimator says of the best plan's sweeps of riders with this rise."""
    sketch, said = line.planned()
    return [onset(ridden(line, sketch, said.positions_mm, slope, seed)) for seed in seeds]


def named(found: list[Onset]) -> float:
    """The share that names an onset."""
    return sum(one.verdict is Verdict.ONSET for one in found) / len(found)


def wide_mm(found: list[Onset]) -> float:
    """Median width of the intervals of the onsets named."""
    ends = [one.interval_95_mm for one in found if one.interval_95_mm is not None]
    return statistics.median(high - low for low, high in ends) if ends else NAN


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--sweeps", type=int, default=100)
    asked.add_argument("--from", dest="first", type=int, default=SEED)
    asked.add_argument("--part", default="1/1", help="2/3: every third line, from the second on")
    given = asked.parse_args()
    part, parts = (int(one) for one in given.part.split("/"))
    seeds, wider_seeds = (range(given.first, given.first + n) for n in (given.sweeps, given.sweeps // 4))
    print("| range, mm | minutes | scatter | steps | promised, N/mm | named | width at 1.5, 2.5 x: promised | median |")
    print("|---|---|---|---|---|---|---|---|")
    for line in LINES[part - 1 :: parts]:
        sketch, said = line.planned()
        smallest = said.smallest_n_per_mm
        steeper = tuple(by * smallest for by in WIDER)
        told = widths(bound_n(sketch, line.sway), line.range_mm, len(said.positions_mm), steeper)
        share = named(answers(line, smallest, seeds))
        median = [wide_mm(answers(line, slope, wider_seeds)) for slope in steeper]
        print(
            f"| {line.range_mm:g} | {line.minutes:g} | {line.scatter} | {len(said.positions_mm)} | {smallest:.2f} | "
            f"{share:.2f} | {_said(told)} | {', '.join(f'{mm:.0f}' for mm in median)} |",
            flush=True,
        )


def _said(told: tuple[Width, ...]) -> str:
    return ", ".join("-" if one.width_mm is None else f"{one.width_mm:.0f}" for one in told)


if __name__ == "__main__":
    main()
