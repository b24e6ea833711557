"""Whether an onset is true, not only precise: every confound in every order: `python -m tests.benchmarks.confounds`.

500 sweeps a line and order by default, six times as many where few are named, hours of one core; `--sweeps 20 --only
lag` shortens it, and with `--keep FILE --minutes 8` it is ridden in pieces. Each sweep is seeded by its line and
number, fixed beforehand. Prints a table; exit code 1 when a goal is missed.

named, light, loaded, undecided: shares of all sweeps. covers, rmse, width (median): of the onsets named on riders who
have one. cured: of the sweeps without a verdict, the share that is told the right cure anywhere; cured first: as what
to do first, which is all that Run says. All riders are simulated.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import math
import multiprocessing
import re
import sys
import time
from collections.abc import Iterable
from pathlib import Path

import numpy as np

from daq.sweep.onset import METHODS
from daq.values import NAN, Onset, Verdict
from tests.benchmarks.confound_goals import Found, figures
from tests.benchmarks.confound_judging import before, judged, plain
from tests.benchmarks.confound_kept import Kept, Tried, add, missing, read
from tests.benchmarks.confound_lines import CLEAN, LINES
from tests.benchmarks.confound_rides import ORDERS, Line, Ridden, ride
from tests.benchmarks.goals import print_figures

TOO_FEW = "too few positions for an answer"


def tried(sweep: Ridden, answering) -> Tried:
    """An answer in numbers; a sweep that ended with too few positions is undecided."""
    truth_mm = NAN if sweep.onset_mm is None else sweep.onset_mm
    begun_s = time.process_time()
    try:
        answer: Onset = answering(sweep)
    except ValueError:
        return Tried(Verdict.UNDECIDED, NAN, truth_mm, NAN, NAN, TOO_FEW, TOO_FEW, NAN)
    took_s = time.process_time() - begun_s
    low_mm, high_mm = answer.interval_95_mm or (NAN, NAN)
    told = " | ".join([*answer.reasons, *(test.cure for test in answer.validity if test.forbids)])
    first = answer.cures[0] if answer.cures else ""
    at_mm = NAN if answer.onset_mm is None else answer.onset_mm
    return Tried(answer.verdict, at_mm, truth_mm, low_mm, high_mm, told, first, took_s)


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
    cured, first = (
        (
            [bool(re.search(line.cure, told)) or told == TOO_FEW for told in each]
            for each in zip(*((each.told, each.first) for each in undecided), strict=True)
        )
        if undecided
        else ([], [])
    )
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
        "cured first": float(np.mean(first)) if line.cure and first else NAN,
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


COLUMNS = ("named", "light", "loaded", "undecided", "covers", "rmse", "bias", "width", "cured", "cured first")


def row(name: str, found: dict[str, float]) -> str:
    cells = ["" if np.isnan(found[each]) else f"{found[each]:.3g}" for each in COLUMNS]
    return "| " + " | ".join([name, f"{found['n']:.0f}", *cells]) + " |"


def ridden(kept: Kept, todo: list[tuple[str, str, int]], processes: int, file: Path | None, until_s: float) -> None:
    """Rides these sweeps, adds each to what is kept, and ends early when the time is over."""
    by_name = {line.name: line for line in LINES}
    tasks = [(by_name[line], order, number) for line, order, number in todo]
    with multiprocessing.Pool(processes) as pool:
        for (line, order, number), ways in zip(todo, pool.imap(one, tasks), strict=True):
            kept.setdefault((line, order), {})[number] = ways
            if file is not None:
                add(file, line, order, number, ways)
            if time.monotonic() > until_s:
                return


def told(kept: Kept, wanted: Iterable[tuple[str, str]]) -> tuple[list[str], Found]:
    """The table of what is kept, and its figures."""
    by_name = {line.name: line for line in LINES}
    table = ["| line, order | sweeps | " + " | ".join(COLUMNS) + " |", "|---" * (len(COLUMNS) + 2) + "|"]
    found: Found = {}
    for name, order in wanted:
        sweeps = list(kept.get((name, order), {}).values())
        for way in sweeps[0] if sweeps else ():
            found[name, order, way] = summary(by_name[name], [each[way] for each in sweeps])
            table.append(row(f"{name}, {order}" + ("" if way == "judged" else f": {way}"), found[name, order, way]))
        if sweeps and by_name[name] in CLEAN:
            found[name, order, "plain"] |= of_both(sweeps)
    return table, found


def main() -> int:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--sweeps", type=int, default=500)
    words.add_argument("--only", default="", help="lines whose name has this pattern in it")
    words.add_argument("--orders", default="", help=f"of {', '.join(ORDERS)}; separated by commas")
    words.add_argument("--processes", type=int, default=2)
    words.add_argument("--keep", type=Path, help="file the sweeps are kept in; what it holds is not ridden again")
    words.add_argument("--minutes", type=float, default=math.inf, help="end after so many; with --keep")
    asked = words.parse_args()
    orders = asked.orders.split(",") if asked.orders else ORDERS
    if asked.keep is None and asked.minutes < math.inf:
        words.error("--minutes needs --keep: what is ridden would be thrown away")
    lines = [line for line in LINES if re.search(asked.only, line.name)]
    wanted = {(line.name, order): asked.sweeps * line.times for line in lines for order in orders}
    kept = {} if asked.keep is None else read(asked.keep)
    until_s = time.monotonic() + 60.0 * asked.minutes
    ridden(kept, missing(kept, wanted), asked.processes, asked.keep, until_s)
    table, found = told(kept, wanted)
    print("\n".join([f"{', '.join(METHODS)}.", "", *table]))
    if left := missing(kept, wanted):
        print(f"{len(left)} sweeps are left to ride; no goal is judged")
        return 1
    return print_figures(lambda _: figures(found, lines))


if __name__ == "__main__":
    sys.exit(main())
