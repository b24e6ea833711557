"""What a panel says of another day, and of its spreads, on simulated riders: `python -m tests.benchmarks.panel`.

Covered: share of held-out days within the 95 % interval foretold, for panels of 3 to 50 riders, balanced and not,
onsets scattering by 0 to 10 mm between days. Calibration of the standard deviations: a truth drawn from the prior has
an even rank in what is believed of it (Talts et al. 2018, arXiv 1804.06788, from memory), told as chi-square over 10
bins; and how often the 95 % interval holds it. Speed of 100 riders x 3 days x 2 sweeps. Panel number i of a case is
seeded by i and the case. `--foretold 100 --panels 100` makes it short. Exit code 1 when a goal is missed.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import time

import numpy as np

from daq.sweep.another_day import another_day
from daq.sweep.panel import panel
from daq.sweep.spreads import DAY_SDS_MM, SWEEP_SDS_MM, judged_priors
from daq.sweep.workshop import interval_mm
from tests.benchmarks.goals import Figure, print_figures
from tests.sweep.panels import riders, shown

COUNTS, DAY_SDS, SWEEP_SD = (3, 10, 50), (0.0, 2.0, 5.0, 10.0), 2.0
UNBALANCED = (1, 3, 2, 1, 4, 1, 1, 2, 1, 3)
DESIGNS = {"balanced, 2 days of 2 sweeps": (2, 2), "unbalanced, 1 to 4 days of 1 sweep": (UNBALANCED, 1)}
MOST_OF_ONE = 30
"""Riders foretold of one panel: those of one panel share what is believed of the spreads."""
LEAST, MOST = 0.93, 0.97
KNOWN_FROM_MM, KNOWN_FROM = 2.0, 10
"""From this spread and so many riders on the interval should not be too wide either."""
CHI2_9 = 27.9
"""Chi-square with 9 degrees of freedom: exceeded once in a thousand times."""
FASTEST_S = 2.0
RANKED = 4
SECOND_DAYS = 2 * RANKED
"""Riders of each panel that ranks a truth, three days each: the prior that they are weighed with depends on it."""


def foretold(count: int, day_sd: float, days, sweeps: int, wanted: int) -> float:
    """Share of held-out days within the interval for another day."""
    held, number = [], 0
    while len(held) < wanted:
        rng = np.random.default_rng([number, count, round(10.0 * day_sd), sweeps])
        at = np.resize(np.atleast_1d(days), count)
        tests, own = riders(rng, count=count, days=at, sweeps=sweeps, day_sd=day_sd, sweep_sd=SWEEP_SD)
        found = panel(tests)
        for rider in list(own)[:MOST_OF_ONE]:
            front, rear = another_day([one for one in tests if one.rider == rider], found).interval_mm
            at_mm = shown(rng, own[rider], day_sd=day_sd, sweep_sd=SWEEP_SD)
            held.append((front is None or front <= at_mm) and (rear is None or at_mm <= rear))
        number += 1
    return float(np.mean(held))


def coverage(wanted: int) -> list[Figure]:
    figures: list[Figure] = []
    for name, (days, sweeps) in DESIGNS.items():
        for count in COUNTS:
            for day_sd in DAY_SDS:
                share = foretold(count, day_sd, days, sweeps, wanted)
                case = f"covered: {count} riders, {day_sd:g} mm, {name}"
                print(f"{case}: {share:.3f}", flush=True)
                figures.append((case, share, "at least", LEAST))
                if day_sd >= KNOWN_FROM_MM and count >= KNOWN_FROM:
                    figures.append((case, share, "at most", MOST))
    return figures


def ranks(panels: int) -> tuple[np.ndarray, np.ndarray]:
    """(panels, 2) rank of the true standard deviations, between days and between sweeps, and (panels, 2) whether their
    95 % intervals hold them."""
    priors, found, held = judged_priors(SECOND_DAYS), [], []
    for number in range(panels):
        rng = np.random.default_rng([number, 77])
        day, sweep = rng.choice(len(DAY_SDS_MM), p=priors.day), rng.choice(len(SWEEP_SDS_MM), p=priors.sweep)
        tests, _ = riders(rng, count=RANKED, days=3, sweeps=2, day_sd=DAY_SDS_MM[day], sweep_sd=SWEEP_SDS_MM[sweep])
        weight = panel(tests).weight
        of = [(DAY_SDS_MM, weight.sum(axis=1), day), (SWEEP_SDS_MM, weight.sum(axis=0), sweep)]
        found.append([believed[:k].sum() + rng.uniform() * believed[k] for _, believed, k in of])
        held.append([low <= grid[k] <= high for grid, b, k in of for low, high in [interval_mm(grid, b)]])
    return np.array(found), np.array(held)


def chi_square(ranks: np.ndarray, bins: int = 10) -> float:
    counts, even = np.histogram(ranks, bins=bins, range=(0.0, 1.0))[0], len(ranks) / bins
    return float(np.sum((counts - even) ** 2 / even))


def calibration(panels: int) -> list[Figure]:
    at, held = ranks(panels)
    figures: list[Figure] = []
    for k, what in enumerate(("days", "sweeps")):
        figures.append((f"ranks of the sd between {what}, chi-square of 9", chi_square(at[:, k]), "at most", CHI2_9))
        figures.append((f"sd between {what} within its 95 % interval", float(held[:, k].mean()), "at least", LEAST))
    return figures


def speed() -> list[Figure]:
    tests, _ = riders(np.random.default_rng(1), count=100, days=3, sweeps=2, day_sd=5.0, sweep_sd=2.0)
    begun_s = time.process_time()
    panel(tests)
    return [("100 riders x 3 days x 2 sweeps, s of processor", time.process_time() - begun_s, "at most", FASTEST_S)]


def main() -> int:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--foretold", type=int, default=1000)
    words.add_argument("--panels", type=int, default=1000)
    asked = words.parse_args()
    return print_figures(lambda _: [*coverage(asked.foretold), *calibration(asked.panels), *speed()])


if __name__ == "__main__":
    raise SystemExit(main())
