"""An engineer who works through a guided calibration on a simulated jig, and now and then slips."""

import numpy as np

from daq.measure.calibration import CalibratedChannel
from daq.measure.calibration.bench_plan import BenchPlan, OffAxisPlace, Stage
from daq.measure.calibration.procedure import Bench, Taken, take
from daq.measure.calibration.steadiness import settled

CHANNELS = ("tilt", "nose", "rear", "bar")
TILT = CalibratedChannel("tilt", "tilt", (0.0, 0.001))
PER_N = {"bar": 8554.0, "nose": 4277.0, "rear": -4290.0}
ZERO = {"bar": 41_211.0, "nose": -90_331.0, "rear": 12_007.0}
SHOWN = {"bar": {"nose": 0.01}, "nose": {"rear": 0.02}, "rear": {}}
"""Fraction of a load on the first cell that shows on the second."""
TARE_SINE_N = {"bar": 1.0, "nose": 18.0, "rear": -18.0}
LOADS_N = (50.0, 100.0, 200.0, 300.0, 400.0)
NOISE_N = 0.05
CREEP = 2e-4


def plan(**changes):
    return BenchPlan(
        **{
            "channels": CHANNELS,
            "loads_n": tuple((cell, LOADS_N) for cell in ("bar", "nose", "rear")),
            "series": 2,
            "creep_return": True,
            "places": (
                OffAxisPlace("the saddle's left edge", ("nose", "rear"), 200.0),
                OffAxisPlace("the saddle's right edge", ("nose", "rear"), 200.0),
            ),
            "crosstalk_n": 200.0,
            "crosstalk_repeats": 2,
            "tilts_deg": (0.0, 1.5, 3.0, 1.5, 0.0),
            **changes,
        }
    )


def loads_for(task):
    """What hangs on each cell when the task is done as asked."""
    if task.place:
        share = 0.6 if "left" in task.place else 0.4
        return {"nose": share * task.load_n, "rear": (1 - share) * task.load_n}
    return {task.cell: task.load_n} if task.cell and task.load_n else {}


def scans(loads_n, *, tilt_deg=0.0, seconds=5.0, drift_n=0.0, zero_n=0.0, seed=0, crept=0.0):
    """(t_s, counts) of all channels under these loads."""
    rng = np.random.default_rng(seed)
    t_s = np.arange(round(100 * seconds)) / 100.0
    columns = [np.full(len(t_s), 1000.0 * tilt_deg)]
    for name in CHANNELS[1:]:
        shown = loads_n.get(name, 0.0) * (1.0 + crept) + zero_n
        shown += sum(SHOWN[cell].get(name, 0.0) * load for cell, load in loads_n.items())
        shown += TARE_SINE_N[name] * np.sin(np.radians(tilt_deg))
        shown = shown + drift_n * t_s / seconds + rng.normal(0.0, NOISE_N, len(t_s))
        columns.append(ZERO[name] + PER_N[name] * shown)
    return t_s, np.clip(np.round(np.column_stack(columns)), -(1 << 23), (1 << 23) - 1).astype(np.int32)


def settled_scans(loads_n, **how):
    return settled(*scans(loads_n, **how))


def done(task, seed=0):
    """The reading of a task as a careful engineer takes it."""
    seconds = 90.0 if task.stage is Stage.WARM_UP else 5.0
    reading = settled_scans(loads_for(task), tilt_deg=task.tilt_deg or 0.0, seconds=seconds, seed=seed)
    trace = ()
    if task.id.endswith("creep/load"):
        column = CHANNELS.index(task.cell)
        minutes = np.arange(0.0, 31.0, 5.0)
        crept = CREEP * minutes / 30.0
        trace = tuple(
            (60.0 * m, settled_scans(loads_for(task), seed=seed, crept=c).mean[column])
            for m, c in zip(minutes, crept, strict=True)
        )
    return reading, Taken(task.id, "2025-03-04T10:00:00Z", reading.mean, reading.sd, reading.seconds, trace)


def worked_until(stop_at=None, bench=None):
    """The bench when the task of this id is due, or when everything is done."""
    bench = bench or Bench(plan())
    while bench.task is not None and bench.task.id != stop_at:
        bench = take(bench, done(bench.task, seed=len(bench.taken))[1])
    return bench
