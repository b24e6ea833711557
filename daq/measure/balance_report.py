"""One mean state of a rider in, its balance out: the contract of `foreaft balance`. Both are plain dictionaries, so
that the command only reads and prints them.
"""

from __future__ import annotations

import math
import reprlib
import sys
from collections.abc import Mapping
from typing import Any

from daq.measure.balance import Contact, UnseenHands, WeightLine, hands_off_deficit_nm, learned, weight_line
from daq.measure.bicycle import Bicycle, front_share, front_share_per_10mm, weight_line_at
from daq.measure.geometry import tilt_deg_of
from daq.measure.mechanics import Shares, shares
from daq.measure.sum_check import riding_check
from daq.physics import STANDARD_G_M_S2, crank_torque_nm

_REQUIRED = {
    "mass_kg": (20.0, 250.0),
    "gradient_pct": (-30.0, 30.0),
    "hand_load_n": (-500.0, 3000.0),
    "saddle_load_n": (-500.0, 3000.0),
    "bar_x_m": (-0.5, 2.0),
    "bar_y_m": (-0.5, 2.0),
    "saddle_x_m": (-1.0, 0.05),
    "saddle_y_m": (0.0, 1.5),
    "power_w": (0.0, 2500.0),
    "cadence_rpm": (0.0, 250.0),
}
_OPTIONAL = {
    "hand_tangential_n": (-2000.0, 2000.0),
    "saddle_tangential_n": (-2000.0, 2000.0),
    "g": (9.7, 9.9),
    "com_height_m": (-0.5, 2.0),
    "hand_tangential_assumed_n": (-200.0, 200.0),
    "hand_tangential_assumed_u_n": (0.1, 200.0),
}
_ON_BICYCLE = (
    "front_share",
    "front_share_estimate",
    "u_front_share",
    "front_share_flat_estimate",
    "front_share_per_10mm_back",
)
_BICYCLE = ("wheelbase_m", "chainstay_m", "bb_drop_m", "wheel_radius_m", "mass_kg", "com_x_m", "com_y_m")

LEAST_GRADIENT_PCT = 0.3
"""A smaller one is more likely a fraction; a jig that is level to 0.2 degrees cannot be set to it either."""


class BadState(ValueError):
    """The state is invalid; the text has one line per problem."""


def balance_report(state: Mapping[str, Any]) -> dict[str, Any]:
    """Shares, torque, weight line and, with a bicycle, front-wheel share of one mean state; BadState when it is wrong.

    Refused if hands and saddle carry more than the weight. None where something cannot be computed, with the reason in
    `notes`. `weight_line_x_mm` is as measured; `weight_line_estimate_mm` has the estimated bias of single-axis cells
    subtracted and is then an estimate. Front shares come in both forms too.
    """
    numbers, bicycle = _checked(state)
    tilt = tilt_deg_of(numbers["gradient_pct"])
    mass, g = numbers["mass_kg"], numbers.get("g", STANDARD_G_M_S2)
    found = shares(numbers["hand_load_n"], numbers["saddle_load_n"], mass_kg=mass, tilt_deg=tilt, g_m_s2=g)
    if found.feet < -2.0 * found.u_feet:
        together = numbers["hand_load_n"] + numbers["saddle_load_n"]
        raise BadState(
            f"hand_load_n, saddle_load_n: together {together:.0f} N, more than the rider's weight along the jig, "
            f"{found.weight_normal_n:.0f} N: a cell, its zero or mass_kg is wrong"
        )
    torque = crank_torque_nm(numbers["power_w"], numbers["cadence_rpm"])
    hands = _contact(numbers, "bar", "hand")
    saddle = _contact(numbers, "saddle", "saddle")
    unseen = _unseen(numbers)
    line = weight_line(
        hands, saddle, torque_nm=torque, weight_normal_n=found.weight_normal_n, tilt_deg=tilt, unseen=unseen
    )
    return {
        "tilt_deg": tilt,
        "weight_normal_n": found.weight_normal_n,
        "foot_load_n": found.feet_n,
        "shares": {"hands": found.hands, "saddle": found.saddle, "feet": found.feet},
        "u_shares": {"hands": found.u_hands, "saddle": found.u_saddle, "feet": found.u_feet},
        "crank_torque_nm": _or_none(torque),
        "weight_line_x_mm": _or_none(1000.0 * line.x_m),
        "u_weight_line_mm": _or_none(1000.0 * line.u_m),
        "single_axis": line.single_axis,
        "single_axis_bias_mm": 1000.0 * line.bias_m,
        "weight_line_estimate_mm": _or_none(1000.0 * line.estimate_m),
        "hands_off_deficit_nm": hands_off_deficit_nm(hands, saddle, unseen),
        **_on_bicycle(bicycle, line, mass, tilt, numbers.get("com_height_m")),
        "notes": _notes(found, numbers, torque, line, unseen),
    }


def learned_report(states: Any) -> dict[str, Any]:
    """What single-axis rigs may assume about the hands' force along the jig, from several states of rigs that measure
    it.

    The keys are those of the table [unseen] in a rig file. BadState for states that are wrong or too few.
    """
    if not isinstance(states, list):
        raise BadState(f"expected a list of states, got {type(states).__name__}")
    numbers = [_checked(state)[0] for state in states]
    try:
        found = learned([one["hand_tangential_n"] for one in numbers if "hand_tangential_n" in one])
    except ValueError as error:
        raise BadState(f"hand_tangential_n: {error}") from error
    return unseen_table(found)


def unseen_table(found: UnseenHands) -> dict[str, Any]:
    """What was learned, with the keys of the table [unseen] in a rig file."""
    return {
        "hands_tangential_n": round(found.hands_n, 1),
        "hands_tangential_u_n": round(found.hands_u_n, 1),
        "source": found.source,
    }


def _unseen(numbers: Mapping[str, float]) -> UnseenHands:
    if "hand_tangential_assumed_n" not in numbers and "hand_tangential_assumed_u_n" not in numbers:
        return UnseenHands()
    told = (numbers.get("hand_tangential_assumed_n", 0.0), numbers.get("hand_tangential_assumed_u_n"))
    return UnseenHands(told[0], UnseenHands().hands_u_n if told[1] is None else told[1], "as given with the state")


def _checked(state: Mapping[str, Any]) -> tuple[dict[str, float], Bicycle | None]:
    if not isinstance(state, Mapping):
        raise BadState(f"state: expected an object with {', '.join(_REQUIRED)}, got {type(state).__name__}")
    known = {**_REQUIRED, **_OPTIONAL}
    problems = [f"{key}: missing" for key in _REQUIRED if key not in state]
    problems += [
        f"{key}: no such key; known: {', '.join([*known, 'bicycle'])}"
        for key in state
        if key not in {*known, "bicycle"}
    ]
    numbers = {}
    for key, (low, high) in known.items():
        if key in state and not (key in _OPTIONAL and state[key] is None):
            problem = _problem(key, state[key], low, high)
            problems += [problem] if problem else []
            if not problem:
                numbers[key] = float(state[key])
    if ("hand_tangential_n" in numbers) != ("saddle_tangential_n" in numbers):
        problems.append("hand_tangential_n, saddle_tangential_n: expected both or neither; one alone misleads")
    bicycle = None
    if state.get("bicycle") is not None:
        try:
            bicycle = _bicycle(state["bicycle"])
        except ValueError as error:
            problems.append(str(error))
    if problems:
        raise BadState("\n".join(problems))
    return numbers, bicycle


def _problem(key: str, value: Any, low: float, high: float) -> str:
    if isinstance(value, bool) or not isinstance(value, int | float) or value != value:
        return f"{key}: expected a number, got {reprlib.repr(value)}"
    if low <= value <= high:
        return ""
    got = f"{value:g}" if abs(value) < sys.float_info.max else "a number beyond all bounds"
    hint = "; x is negative behind the BB" if key == "saddle_x_m" and value > high else ""
    return f"{key}: expected {low:g} to {high:g}, got {got}{hint}"


def _bicycle(given: Any) -> Bicycle:
    if not isinstance(given, Mapping):
        raise BadState(f"bicycle: expected an object with {', '.join(_BICYCLE)}, got {reprlib.repr(given)}")
    problems = [f"bicycle.{key}: missing" for key in _BICYCLE if key not in given]
    problems += [f"bicycle.{key}: no such key; known: {', '.join(_BICYCLE)}" for key in given if key not in _BICYCLE]
    problems += [
        problem for key in _BICYCLE if key in given and (problem := _problem(f"bicycle.{key}", given[key], -1e3, 1e3))
    ]
    if problems:
        raise BadState("\n".join(problems))
    return Bicycle(**{key: float(given[key]) for key in _BICYCLE})


def _contact(numbers: Mapping[str, float], place: str, load: str) -> Contact:
    return Contact(
        numbers[f"{place}_x_m"],
        numbers[f"{place}_y_m"],
        numbers[f"{load}_load_n"],
        numbers.get(f"{load}_tangential_n"),
    )


def _on_bicycle(
    bicycle: Bicycle | None, line: WeightLine, mass_kg: float, tilt_deg: float, com_height_m: float | None
) -> dict[str, Any]:
    if bicycle is None or math.isnan(line.x_m):
        return dict.fromkeys(_ON_BICYCLE)
    here = front_share(bicycle, mass_kg=mass_kg, weight_line_m=line.x_m, tilt_deg=tilt_deg)
    estimate = front_share(
        bicycle, mass_kg=mass_kg, weight_line_m=line.estimate_m, u_weight_line_m=line.u_m, tilt_deg=tilt_deg
    )
    flat = None
    if com_height_m is not None:
        level = weight_line_at(line.estimate_m, com_height_m, from_tilt_deg=tilt_deg, to_tilt_deg=0.0)
        flat = front_share(bicycle, mass_kg=mass_kg, weight_line_m=level).fraction
    per_10mm = front_share_per_10mm(bicycle, mass_kg=mass_kg)
    return dict(zip(_ON_BICYCLE, (here.fraction, estimate.fraction, estimate.u_fraction, flat, per_10mm), strict=True))


def _notes(
    found: Shares, numbers: Mapping[str, float], torque_nm: float, line: WeightLine, unseen: UnseenHands
) -> list[str]:
    notes = ["the feet are the remainder of the weight: a difference, not a measurement"]
    check = riding_check(found, (numbers["hand_load_n"], numbers["saddle_load_n"]), ("the hands", "the saddle"))
    if not check.passed:
        notes.append(check.text)
    if 0.0 < abs(numbers["gradient_pct"]) < LEAST_GRADIENT_PCT:
        notes.append(f"a gradient of {numbers['gradient_pct']:g} %: write 5 for 5 %, not 0.05")
    if math.isnan(torque_nm):
        notes.append("the crank torque is unknown at 0 rpm, so there is no weight line")
    if line.single_axis:
        notes.append(
            f"forces along the jig are not measured: the weight line is about {abs(1000 * line.bias_m):.0f} mm too far "
            f"{'back' if line.bias_m < 0.0 else 'forward'} by estimate; weight_line_estimate_mm has that taken off"
        )
        notes.append(unseen.said)
    return notes


def _or_none(value: float) -> float | None:
    return value if math.isfinite(value) else None
