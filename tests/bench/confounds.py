"""Whether an onset is true, not only precise: every confound in every order: `python -m tests.bench.confounds`.

500 sweeps a line and order by default, four hours of one core; `--sweeps 20 --only lag` shortens it. Each sweep is
seeded by its line and number, fixed beforehand. Prints a table; exit code 1 when a goal is missed.

named, light, loaded, undecided: shares of all sweeps. covers, rmse, width (median): of the onsets named on riders who
have one. cured: of the sweeps without a verdict, the share that is told the right cure. All riders are simulated.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import multiprocessing
import re
import sys
import time
from dataclasses import dataclass

import numpy as np

from daq.sweep.onset import METHODS
from daq.values import NAN, Onset, Verdict
from tests.bench.confound_goals import figures
from tests.bench.confound_judging import before, judged, plain
from tests.bench.confound_lines import CLEAN, LINES
from tests.bench.confound_rides import ORDERS, Line, Ridden, ride
from tests.bench.goals import print_figures

TOO_FEW = "too few positions for an answer"


@dataclass(frozen=True)
class Tried:
    """What one answer said of one sweep."""

    verdict: Verdict
    onset_mm: float
    truth_mm: float
    low_mm: float
    high_mm: float
    told: str
    took_s: float

    @property
    def named(self) -> bool:
        return self.verdict is Verdict.ONSET

    @property
    def covers(self) -> bool:
        return self.low_mm <= self.truth_mm <= self.high_mm


def tried(sweep: Ridden, answering) -> Tried:
    """An answer in numbers; a sweep that ended with too few positions is undecided."""
    truth_mm = NAN if sweep.onset_mm is None else sweep.onset_mm
    begun_s = time.process_time()
    try:
        answer: Onset = answering(sweep)
    except ValueError:
        return Tried(Verdict.UNDECIDED, NAN, truth_mm, NAN, NAN, TOO_FEW, NAN)
    took_s = time.process_time() - begun_s
    low_mm, high_mm = answer.interval_95_mm or (NAN, NAN)
    told = " | ".join([*answer.reasons, *(test.cure for test in answer.validity if test.forbids)])
    at_mm = NAN if answer.onset_mm is None else answer.onset_mm
    return Tried(answer.verdict, at_mm, truth_mm, low_mm, high_mm, told, took_s)


def one(task: tuple[Line, str, int]) -> dict[str, Tried]:
    """One sweep, judged; a clean one also by the statistics alone and by the answer there was before."""
    sweep = ride(*task)
    ways = {"judged": judged}
    if task[0] in CLEAN:
        ways |= {"plain": plain, "before": before}
    return {name: tried(sweep, way) for name, way in ways.items()}


def summary(line: Line, found: list[Tried]) -> dict[str, float]:
    """The figures of one line and order."""
    named = [each for each in found if each.named]
    undecided = [each for each in found if each.verdict is Verdict.UNDECIDED]
    true = [each for each in named if not np.isnan(each.truth_mm)]
    error = np.array([each.onset_mm - each.truth_mm for each in true])
    cured = [bool(re.search(line.cure, each.told)) or each.told == TOO_FEW for each in undecided]
    share = {verdict: float(np.mean([each.verdict is verdict for each in found])) for verdict in Verdict}
    return {
        "named": share[Verdict.ONSET],
        "light": share[Verdict.LIGHT],
        "loaded": share[Verdict.LOADED],
        "undecided": share[Verdict.UNDECIDED],
        "covers": float(np.mean([each.covers for each in true])) if true else NAN,
        "rmse": float(np.sqrt(np.mean(error**2))) if true else NAN,
        "bias": float(error.mean()) if true else NAN,
        "width": float(np.median([each.high_mm - each.low_mm for each in true])) if true else NAN,
        "cured": float(np.mean(cured)) if line.cure and cured else NAN,
        "n": float(len(found)),
        "ms": 1000.0 * float(np.nanmedian([each.took_s for each in found] or [NAN])),
    }


def of_both(sweeps: list[dict[str, Tried]]) -> dict[str, float]:
    """Error of the place on the very sweeps that the statistics and the answer before them both name.

    The errors of what each names by itself compare different sweeps: one that names weaker rises as well errs more on
    those, and on the others no more.
    """
    both = [each for each in sweeps if each["plain"].named and each["before"].named]
    if not both or np.isnan(both[0]["plain"].truth_mm):
        return {}
    error = {way: np.array([each[way].onset_mm - each[way].truth_mm for each in both]) for way in ("plain", "before")}
    rmse = {way: float(np.sqrt(np.mean(each**2))) for way, each in error.items()}
    return {"both": float(len(both)), "rmse_over_before": rmse["plain"] / rmse["before"]}


COLUMNS = ("named", "light", "loaded", "undecided", "covers", "rmse", "bias", "width", "cured")


def row(name: str, found: dict[str, float]) -> str:
    return f"| {name} | " + " | ".join("" if np.isnan(found[k]) else f"{found[k]:.3g}" for k in COLUMNS) + " |"


def main() -> int:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--sweeps", type=int, default=500)
    words.add_argument("--only", default="", help="lines whose name has this pattern in it")
    words.add_argument("--orders", default="", help=f"of {', '.join(ORDERS)}; separated by commas")
    words.add_argument("--processes", type=int, default=2)
    asked = words.parse_args()
    lines = [line for line in LINES if re.search(asked.only, line.name)]
    orders = asked.orders.split(",") if asked.orders else ORDERS
    table = ["| line, order | " + " | ".join(COLUMNS) + " |", "|---" * (len(COLUMNS) + 1) + "|"]
    print("\n".join(table))
    found: dict[tuple[str, str, str], dict[str, float]] = {}
    with multiprocessing.Pool(asked.processes) as pool:
        for line in lines:
            for order in orders:
                sweeps = pool.map(one, [(line, order, i) for i in range(asked.sweeps)], chunksize=5)
                for way in sweeps[0]:
                    found[line.name, order, way] = summary(line, [each[way] for each in sweeps])
                    name = f"{line.name}, {order}" + ("" if way == "judged" else f": {way}")
                    table.append(row(name, found[line.name, order, way]))
                    print(table[-1], flush=True)
                if line in CLEAN:
                    found[line.name, order, "plain"] |= of_both(sweeps)
    print("\n".join([f"{asked.sweeps} sweeps a line; {', '.join(METHODS)}.", "", *table]))
    return print_figures(lambda _: figures(found, lines))


if __name__ == "__main__":
    sys.exit(main())
