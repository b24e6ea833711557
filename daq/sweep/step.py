"""One saddle position: when the rider is steady, which strokes count, and their mean."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from daq.values import MAD_TO_SD, NAN, Bools, LeftOut, Status, StepMean, Stroke

STEADY_WINDOW = 6
"""Strokes in each of the two neighbouring means that are compared, about 4 s at 90 rpm."""
STEADY_SPREADS = 2.5
STEADY_FLOOR_N = 3.0
"""Sway alone has a standard deviation of 3-8 N; a smaller change does not count as settling."""
BURST_MADS = 3.5
"""Iglewicz & Hoaglin 1993, How to Detect and Handle Outliers: modified z-scores above 3.5 are outliers."""
FAULTS = Status.SATURATED | Status.ADC_ERROR
BURST = "a burst: a cough, a reach, the hands moved"
OFF_EFFORT = "effort outside its band"
FAULTY = "a cell at the end of its scale, or not read"


def is_steady(strokes: Sequence[Stroke]) -> bool:
    """Whether the last strokes' hand load no longer moves more than its own scatter explains."""
    if len(strokes) < 2 * STEADY_WINDOW:
        return False
    hands_n = np.array([stroke.hands_n for stroke in strokes[-2 * STEADY_WINDOW :]])
    before, now = hands_n[:STEADY_WINDOW], hands_n[STEADY_WINDOW:]
    spread_n = math.sqrt(0.5 * (before.var(ddof=1) + now.var(ddof=1)))
    allowed_n = max(STEADY_FLOOR_N, STEADY_SPREADS * spread_n * math.sqrt(2.0 / STEADY_WINDOW))
    return bool(abs(now.mean() - before.mean()) <= allowed_n)


def bursts(hands_n: Sequence[float]) -> Bools:
    """Which strokes are bursts (a cough, a reach for the bottle): beyond 3.5 MAD from the median, and the
    neighbours of such a stroke, which hold its beginning and end. If that were all of them, the neighbours stay: at
    most half lie far from the median."""
    x = np.asarray(hands_n, dtype=float)
    if len(x) < 5:
        return np.zeros(len(x), dtype=bool)
    distance = np.abs(x - np.median(x))
    spread = MAD_TO_SD * np.median(distance)
    far = distance > BURST_MADS * spread if spread > 0 else np.zeros(len(x), dtype=bool)
    near = far.copy()
    near[1:] |= far[:-1]
    near[:-1] |= far[1:]
    return far if near.all() else near


def step_mean(setback_mm: float, strokes: Sequence[Stroke], *, left_out: Sequence[LeftOut] = ()) -> StepMean:
    """The mean over the strokes of one position, without bursts. ValueError if there are none. se_n is NaN: strokes are
    too correlated for a standard error of their own; it comes from the pooled model over all steps. left_out: strokes
    that were left out before.
    """
    if not strokes:
        raise ValueError(f"no stroke to average at {setback_mm:g} mm")
    burst = bursts([stroke.hands_n for stroke in strokes])
    kept = [stroke for stroke, out in zip(strokes, burst, strict=True) if not out]
    bursting = [LeftOut(stroke, BURST) for stroke, out in zip(strokes, burst, strict=True) if out]
    return mean_over(setback_mm, kept, left_out=[*left_out, *bursting])


def mean_over(setback_mm: float, kept: Sequence[Stroke], *, left_out: Sequence[LeftOut] = ()) -> StepMean:
    """The mean over exactly these strokes, at least one."""
    return StepMean(
        setback_mm=setback_mm,
        hand_load_n=_mean(kept, "hands_n"),
        se_n=NAN,
        t_min=0.5 * (kept[0].start_s + kept[-1].end_s) / 60.0,
        crank_torque_nm=_mean_of_known(kept, "crank_torque_nm"),
        saddle_load_n=_mean(kept, "saddle_n"),
        tilt_deg=_mean(kept, "tilt_deg"),
        strokes=tuple(kept),
        excluded=len(left_out),
        left_out=tuple(sorted(left_out, key=lambda one: one.stroke.start_s)),
    )


def _mean(strokes: Sequence[Stroke], field: str) -> float:
    return float(np.mean([getattr(stroke, field) for stroke in strokes]))


def _mean_of_known(strokes: Sequence[Stroke], field: str) -> float:
    """Mean over the strokes where it is known; NaN if that is less than half of them."""
    known = [value for stroke in strokes if not math.isnan(value := getattr(stroke, field))]
    return float(np.mean(known)) if 2 * len(known) >= len(strokes) else NAN
