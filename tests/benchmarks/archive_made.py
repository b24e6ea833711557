"""The archive that `tests.benchmarks.archive` measures: a few simulated sweeps exported, and links to them."""

import os
import shutil
from pathlib import Path

import numpy as np

from daq.keep.again.derived import Derived
from daq.keep.package.export import export
from daq.keep.store import Store
from daq.values import NAN, Loads, Status, StepMean, Stroke
from tests.keep.jig import begin, second_of_session

SWEEPS = 4000
FEWER = 500
KINDS = 10
"""Different sweeps made; the others are links to them under their own names."""
STEPS = 11
STROKES = 45
SECONDS = 340


def derived(store: Store, sweep_id: int) -> Derived:
    """Strokes with scatter, one mean per step."""
    rng = np.random.default_rng(sweep_id)
    strokes, steps = [], []
    for step in range(STEPS):
        of_step = []
        for index in range(STROKES):
            start_s = (step * STROKES + index) * 0.667
            hands_n, saddle_n, torque_nm = rng.normal([80, 300, 21], [5, 8, 0.3])
            means = (hands_n, saddle_n, NAN, 2.6, torque_nm, 200.0, (hands_n,) * 4)
            of_step.append(Stroke(start_s, start_s + 0.667, *means, 67, Status(0)))
        strokes += of_step
        steps.append(StepMean(140 - 5 * step, 80, NAN, step / 2, 21, 300, 2.6, tuple(of_step[8:]), 8))
    n = SECONDS * 100
    hands_n, saddle_n = rng.normal(80, 5, (2, n))
    tilt_deg, status = np.full(n, 2.6), np.where(np.arange(n) % 67 == 0, 8, 0).astype(np.uint8)
    loads = Loads(np.arange(n) / 100, hands_n, saddle_n, tilt_deg, rng.normal(80, 5, (n, 4)), status)
    return Derived(loads=(loads,), strokes=tuple(strokes), steps=tuple(steps), cells=("a", "b", "c", "d"))


def make_archive(folder: Path) -> Path:
    """The archive: a few sweeps exported, and links to them; a smaller one beside it in `fewer`."""
    with Store.open(folder / "store.sqlite") as store:
        made = []
        for _ in range(KINDS):
            session_id = begin(store)
            store.put(session_id, [item for second in range(SECONDS) for item in second_of_session(second)])
            made.append(
                store.begin_sweep(session_id, from_us=0, plan={}, rider={}, gradient_pct=0.0, calibration={"a": 1})
            )
        originals = export(store, made, folder / "sweeps", derived, form="parquet")
    for original in originals:
        shutil.copytree(original, folder / "fewer" / original.name, copy_function=os.link)
    for number in range(KINDS, SWEEPS):
        original = originals[number % KINDS]
        for archive in ("sweeps", "fewer")[: 1 + (number < FEWER)]:
            copy = folder / archive / f"{original.name}-{number:04d}"
            shutil.copytree(original, copy, copy_function=os.link)
    return folder / "sweeps"
