"""The repeat of a sweep on another day: the same places, effort, gradient and bar, by the protocol of repeats."""

from __future__ import annotations

import dataclasses
import itertools
from typing import Any

import numpy as np

from daq.fit.expectation import duration_s
from daq.sweep.order import ordered, with_repeats
from daq.sweep.plan import Plan
from daq.words import counted

_KEPT = ("gradient_pct", "power_w", "cadence_rpm", "settle_s", "dwell_s")
_POLICIES = ("protocol", "height_policy", "bar_height_policy")


def repeat_of(plan: Plan, seed: int) -> Plan:
    """Shuffled with this seed, one sham step, middle and first position again, the rider blinded. Where the saddle
    starts is that day's own. BadPlan if the sweep was none that looks for an onset."""
    apart = sorted(set(plan.positions_mm), reverse=True)
    shuffled = ordered(apart, "shuffled", np.random.default_rng(seed), sham=True)
    return dataclasses.replace(
        plan,
        positions_mm=with_repeats(shuffled),
        order="shuffled",
        seed=seed,
        blinded=True,
        label="repeat",
        purpose="onset",
        start_setback_mm=None,
        start_height_mm=None,
    )


def as_body(plan: Plan) -> dict[str, Any]:
    """What POST /api/v1/sweeps takes to set it up."""
    return {name: value for name, value in dataclasses.asdict(plan).items() if value is not None}


def as_wish(plan: Plan) -> dict[str, Any]:
    """What the page's plan form is filled with: range and spacing instead of positions, and what is kept."""
    apart = sorted(set(plan.positions_mm), reverse=True)
    gap_mm = min((a - b for a, b in itertools.pairwise(apart)), default=0.0)
    kept = {name: getattr(plan, name) for name in (*_KEPT, *_POLICIES)}
    return {"rear_mm": apart[0], "front_mm": apart[-1], "apart_mm": gap_mm, "seed": plan.seed, **kept}


def repeat_said(plan: Plan) -> list[str]:
    """The same for a terminal."""
    places = ", ".join(f"{mm:g}" for mm in plan.positions_mm)
    minutes = duration_s(len(plan.positions_mm), plan.settle_s, plan.dwell_s) / 60.0
    return [
        f"ride, in this order: {places} mm behind the BB; twice the same in a row is the sham: loosen, move, put back",
        f"at {plan.power_w:g} W, {plan.cadence_rpm:g} rpm, on {plan.gradient_pct:g} %; bar: {plan.protocol}, "
        f"{plan.bar_height_policy}; height: {plan.height_policy}",
        f"{plan.settle_s:g} s to settle, {plan.dwell_s:g} s recorded at each, about "
        f"{counted(round(minutes), 'minute')}; the rider sees neither loads nor setback; shuffled with seed "
        f"{plan.seed}",
        "before anything on the bicycle is changed: same jig, shoes and time of day",
    ]
