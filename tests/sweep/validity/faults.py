"""Sweeps with one fault each that one test catches."""

from dataclasses import replace

from daq.sweep.validity.conditions import Fault
from daq.sweep.validity.judged import judged
from daq.values import NAN, Result
from tests.sweep.validity.sweeps import ON_THE_JIG, ONE_WAY, OUT_AND_BACK, answer, ride, sliding, with_bar, with_tilt

SHAM = (*OUT_AND_BACK[:4], *OUT_AND_BACK[3:])
TWICE = (*OUT_AND_BACK, *OUT_AND_BACK)
STUCK = Fault("bar", "has not changed by one count for 3 s", 100.0)


def without_torque(steps):
    return [
        replace(
            s,
            crank_torque_nm=NAN,
            weight_line_mm=NAN,
            strokes=tuple(replace(k, crank_torque_nm=NAN) for k in s.strokes),
        )
        for s in steps
    ]


ALONE = {
    "calibration": (ride(), replace(ON_THE_JIG, calibration_doubt="it is older than 12 months")),
    "cells": (ride(), replace(ON_THE_JIG, faults=(STUCK,))),
    "feet": ([replace(s, saddle_load_n=640.0) for s in ride()], ON_THE_JIG),
    "tilt": ([replace(s, tilt_deg=0.2 * i) for i, s in enumerate(ride())], ON_THE_JIG),
    "torque": (without_torque(ride()), ON_THE_JIG),
    "direction": (ride(order=ONE_WAY), ON_THE_JIG),
    "hips": (ride(weight_line=sliding), ON_THE_JIG),
    "hands": (ride(more=lambda _, i: 30.0 * (i >= 4)), ON_THE_JIG),
    "left and right hand": (ride(left=lambda i: 15.0 * (i >= 4)), ON_THE_JIG),
    "reach": (with_bar(ride(), lambda s: 540.0 - s + 9.0 * (s == 50.0)), ON_THE_JIG),
    "saddle tilt": (with_tilt(ride(), lambda s: -1.0 - 1.5 * (s == 50.0)), ON_THE_JIG),
    "passes": (ride(lag_s=60.0, sway_n=1.5), ON_THE_JIG),
    "first position again": (ride(order=(*ONE_WAY, 80.0), more=lambda u, _: 40.0 * u**2), ON_THE_JIG),
    "sham": (ride(order=SHAM, more=lambda _, i: 25.0 * (i == 4)), ON_THE_JIG),
    "visits": (ride(order=TWICE, between_n=8.0), ON_THE_JIG),
}
"""A sweep that this test catches, whatever others say of it."""


def failing(steps, conditions=ON_THE_JIG, **of_answer):
    """Which tests fail, and what is left of the answer."""
    found = judged(answer(**of_answer), steps, conditions)
    return {one.test for one in found.validity if one.result is Result.FAILED}, found
