"""Strokes fed to a sweep under way."""

from daq.sweep.plan import Plan
from daq.sweep.progress import SweepProgress
from daq.sweep.run import Trigger
from daq.values import Status, StepMean, Stroke

CLEAN = Status(0)
PLAN = Plan(positions_mm=(80.0, 60.0, 40.0, 50.0, 70.0), settle_s=6.0, dwell_s=20.0, power_w=200.0, cadence_rpm=90.0)
STROKE_S = 60.0 / 90.0


def stroke(start_s, hands_n=80.0, torque_nm=PLAN.torque_nm, flags=CLEAN, duration_s=STROKE_S):
    return Stroke(
        start_s=start_s,
        end_s=start_s + duration_s,
        hands_n=hands_n,
        saddle_n=430.0,
        feet_n=225.0,
        tilt_deg=0.0,
        crank_torque_nm=torque_nm,
        power_w=200.0,
        cells_n=(hands_n, 430.0),
        scans=67,
        flags=flags,
    )


def ride(progress, t_s, seconds, **how):
    """Steady strokes for some seconds; what came out, and the time it then is."""
    out = []
    for i in range(round(seconds / STROKE_S)):
        wobble = 1.0 if i % 2 else -1.0
        out += progress.feed(stroke(t_s, **{"hands_n": 80.0 + wobble, **how}))
        t_s += STROKE_S
    return out, t_s


def begun():
    progress = SweepProgress(PLAN)
    progress.take(Trigger.BEGIN, 0.0)
    return progress


def steps_of(out):
    return [item for item in out if isinstance(item, StepMean)]
