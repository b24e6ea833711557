"""What each sensor a rig lacks costs: how much wider the interval gets, and what can pass for an onset unnoticed. The
widths are the estimator's own for one typical sweep, its steps without noise but with their errors: 11 positions over
50 mm, 25 s each, a rider with typical sway (daq.sweep.information), the onset in the middle. A median sweep, not a
guarantee. Pure; it takes a second, so the figures for one kind of rig are cached.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass, replace

import numpy as np

from daq.jig import display_of, levers_of
from daq.rig import Rig
from daq.sweep.bend import bend_of
from daq.sweep.evidence import PLACED_MM, TORQUE_N_PER_NM, StepEvidence, gathered
from daq.sweep.information import USUAL, Sway
from daq.sweep.plan import MOVING_S, out_and_back
from daq.sweep.pooled import SITS_AGAIN_N
from daq.sweep.typed.scatter import usual
from daq.sweep.verdict import interval_mm
from daq.sweep.witness import COVARIATE_FACTOR, Witness
from daq.values import NAN, StepMean

SLOPES_N_PER_MM = (0.5, 1.0)
DWELL_S, SETTLE_S = 25.0, 6.0
REAR_MM, ONSET_MM, FRONT_MM, PLACES = 80.0, 55.0, 30.0, 11
LEVEL_N = 80.0
TORQUE_SD_NM = 0.3
"""How far a held effort differs from step to step, inside a band of half a newton metre. Assumption."""
SADDLE_OWN_N = 1.5
"""Scatter of a step's saddle load that is not shared with the hands' sway. Assumption."""

UNSEEN = {
    "saddle": ("feet", "hips"),
    "two saddle cells": ("hips",),
    "tilt": ("tilt",),
    "power": ("torque",),
    "two hand cells": ("left and right hand",),
    "cell": ("cells", "drift"),
}
"""Tests of a sweep's validity that cannot be made without each."""
PASSES_UNSEEN = {
    "feet": "a wrong mass, zero or cell",
    "hips": "hips that slide on the saddle",
    "tilt": "a jig that sinks",
    "torque": "an effort that changes with the saddle, so that no onset is named at all, only a rise seen",
    "left and right hand": "one hand that moves",
    "cells": "a scale that sticks between its checks",
    "drift": "a posture that settles late",
}
"""What each of those tests detects."""


@dataclass(frozen=True, slots=True)
class Cost:
    """One sensor this rig lacks."""

    sensor: str
    widths_mm: tuple[float, ...]
    """Width of the 95 % interval without it, for each of SLOPES_N_PER_MM; empty if it does not change the width."""
    with_it_mm: tuple[float, ...]
    unseen: tuple[str, ...]
    """What can pass for an onset, or hide one, unnoticed."""

    @property
    def sentence(self) -> str:
        """All of it in one sentence."""
        said = f"no {self.sensor}: not seen: {'; '.join(self.unseen)}"
        if not self.widths_mm:
            return said
        each = zip(SLOPES_N_PER_MM, self.widths_mm, self.with_it_mm, strict=True)
        wide = " and ".join(f"{now:.0f} mm at {slope:g} N/mm ({then:.0f} with it)" for slope, now, then in each)
        return f"{said}; interval about {wide}"


def costs_of(rig: Rig, *, heard: bool = False, damping_s: float | None = None) -> tuple[Cost, ...]:
    """What each missing sensor costs this rig; nothing for a full jig. heard: power comes, whoever sends it. damping_s:
    of a display, as it was told; None: as in the rig file."""
    saddle = bool(rig.columns("saddle"))
    power = heard or rig.power is not None or (rig.typed is not None and rig.typed.effort == "typed")
    scatter = scatter_of(rig, damping_s)
    # The saddle's load narrows the interval only where it is read with every stroke: it is a witness to the sway.
    witness = saddle and rig.typed is None
    now = widths_mm(witness, power, scatter)
    found = []
    if not power:
        found.append(_cost("power", now, widths_mm(witness, True, scatter)))
    if rig.typed is not None:
        found.append(_cost("cell", now, widths_mm(False, power)))
    if not saddle:
        found.append(_cost("saddle") if rig.typed else _cost("saddle", now, widths_mm(True, power)))
    elif not levers_of(rig).tells:
        found.append(_cost("two saddle cells"))
    if not rig.columns("tilt"):
        found.append(_cost("tilt"))
    if rig.typed is None and len(rig.columns("hands")) != 2:
        found.append(_cost("two hand cells"))
    return tuple(found)


def scatter_of(rig: Rig, damping_s: float | None = None) -> Sway:
    """How the steps of a usual rider scatter on this rig. damping_s: of the display; None: as in the rig file."""
    if (display := display_of(rig)) is None:
        return USUAL
    return usual(display.readings, display.half_n, display.damping_s if damping_s is None else damping_s)


def _cost(sensor: str, now: tuple[float, ...] = (), with_it: tuple[float, ...] = ()) -> Cost:
    return Cost(sensor, now, with_it, tuple(PASSES_UNSEEN[test] for test in UNSEEN[sensor]))


@functools.lru_cache(maxsize=16)
def widths_mm(saddle: bool, power: bool, scatter: Sway = USUAL) -> tuple[float, ...]:
    """Width of the 95 % interval of the usual sweep for each of SLOPES_N_PER_MM. saddle: a witness to every stroke."""
    found = []
    for slope in SLOPES_N_PER_MM:
        low_mm, high_mm = interval_mm(bend_of(_usual(slope, scatter, saddle=saddle, power=power)))
        found.append(high_mm - low_mm)
    return tuple(found)


def _usual(slope: float, scatter: Sway, *, saddle: bool, power: bool) -> StepEvidence:
    """The usual sweep, its readings without noise."""
    places_mm = np.array(out_and_back(REAR_MM, FRONT_MM, PLACES))
    rise_n = slope * np.maximum(ONSET_MM - places_mm, 0.0)
    minutes = np.arange(PLACES) * (MOVING_S + SETTLE_S + DWELL_S) / 60.0
    more_nm = TORQUE_SD_NM * math.sqrt(2.0) * np.sin(2.4 * np.arange(PLACES))
    own_n = scatter.step_sd_n(DWELL_S)
    se_n = own_n if power else math.hypot(own_n, TORQUE_N_PER_NM * TORQUE_SD_NM)
    hands_n = LEVEL_N + rise_n + (TORQUE_N_PER_NM * more_nm if power else 0.0)
    torque_nm = 21.0 + more_nm if power else np.full(PLACES, NAN)
    columns = zip(places_mm.tolist(), hands_n.tolist(), minutes.tolist(), torque_nm.tolist(), strict=True)
    steps = [
        StepMean(at, load, se_n, minute, torque, NAN, NAN, u_setback_mm=PLACED_MM)
        for at, load, minute, torque in columns
    ]
    evidence = gathered(steps)
    if not saddle:
        return evidence
    own = np.full(PLACES, math.hypot(SADDLE_OWN_N, SITS_AGAIN_N))
    return replace(evidence, witness=Witness(400.0 - rise_n, own, COVARIATE_FACTOR * evidence.covariate_sds))
