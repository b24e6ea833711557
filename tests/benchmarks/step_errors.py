"""Whether step errors are stated right: `python -m tests.benchmarks.step_errors [--sweeps 200] [--cells PATTERN]`.

Stated over actual error of the steps' means, rms, on riders made independently of the model (`sways`): four kinds of
sway, three correlation times, four dwells; a third of the sweeps flat, a third with a rise of 0.4 N/mm, a third of 1.
Beside what is stated, what the strokes alone say. A cell is one of the 48; sweep number i of a cell is seeded by i and
the cell. Sums are kept in step_errors.json where it is run, so that cells can be ridden in pieces: `--from 100 --sweeps
100` goes on where another piece ended. Exit code 1 when a cell with 200 sweeps or more misses 0.95 to 1.10.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import json
import re
from pathlib import Path

import numpy as np

from daq.sweep.evidence import stroke_errors
from daq.sweep.pooled import pooled
from daq.sweep.step_errors import standard_errors
from tests.benchmarks.sways import KINDS, Sway, level_sweep

DWELLS_S, TAUS_S = (15.0, 25.0, 45.0, 90.0), (2.0, 5.0, 10.0)
GOAL = (0.95, 1.10)
FEWEST = 200
KEPT = Path("step_errors.json")
CELLS = {f"{kind}, {tau_s:g} s, dwell {dwell_s:g} s": (Sway(kind, tau_s=tau_s), dwell_s)
         for kind in KINDS for tau_s in TAUS_S for dwell_s in DWELLS_S}  # fmt: skip


def sums(sway, dwell_s, numbers):
    """Sums of squares of these sweeps' errors: stated, by the strokes alone, actual; and how many sweeps they were."""
    found = np.zeros(3)
    for number in numbers:
        steps, true_n = level_sweep(sway, dwell_s, number)
        actual = pooled(steps).hands.load_n - true_n
        found += [np.sum(each**2) for each in (standard_errors(steps), stroke_errors(steps), actual)]
    return [*found.tolist(), len(numbers)]


def table(kept):
    """The ratios as lines of a table, the strokes' alone in brackets, and those that miss the goal."""
    lines = ["| sway | " + " | ".join(f"{dwell_s:g} s" for dwell_s in DWELLS_S) + " |", "|---" * 5 + "|"]
    ratios, missed = {}, []
    for name, (stated, strokes, actual, sweeps) in kept.items():
        ratios[name] = np.sqrt([stated / actual, strokes / actual])
        if sweeps >= FEWEST and not GOAL[0] <= ratios[name][0] <= GOAL[1]:
            missed.append(f"{name}: {ratios[name][0]:.3f} over {sweeps} sweeps, goal {GOAL[0]:g} to {GOAL[1]:g}")
    for kind in KINDS:
        for tau_s in TAUS_S:
            row = [ratios.get(f"{kind}, {tau_s:g} s, dwell {dwell_s:g} s") for dwell_s in DWELLS_S]
            lines.append(f"| {kind}, {tau_s:g} s | " + " | ".join("" if r is None else told(r) for r in row) + " |")
    means = []
    for dwell_s in DWELLS_S:
        logs = [np.log(ratio) for name, ratio in ratios.items() if name.endswith(f"dwell {dwell_s:g} s")]
        means.append(told(np.exp(np.mean(logs, axis=0))) if logs else "")
    return [*lines, "| mean over all | " + " | ".join(means) + " |"], missed


def told(ratios):
    return f"{ratios[0]:.2f} ({ratios[1]:.2f})"


def main():
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--sweeps", type=int, default=FEWEST)
    words.add_argument("--from", type=int, default=0, dest="first", help="number of the first sweep of each cell")
    words.add_argument("--cells", default="", help="only cells whose name has this pattern in it")
    asked = words.parse_args()
    kept = json.loads(KEPT.read_text()) if KEPT.exists() else {}
    for name, (sway, dwell_s) in CELLS.items():
        if not re.search(asked.cells, name):
            continue
        found = sums(sway, dwell_s, range(asked.first, asked.first + asked.sweeps))
        before = kept.get(name, [0.0] * 4) if asked.first else [0.0] * 4
        kept[name] = [a + b for a, b in zip(before, found, strict=True)]
        KEPT.write_text(json.dumps(kept))
        print(f"{name}: {np.sqrt(kept[name][0] / kept[name][2]):.3f} over {kept[name][3]} sweeps", flush=True)
    lines, missed = table(kept)
    print("\n".join([*lines, *missed]))
    return bool(missed)


if __name__ == "__main__":
    raise SystemExit(main())
