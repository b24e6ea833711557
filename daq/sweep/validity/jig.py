"""Tests of the jig: calibration, cells, the rider's feet as the remainder, tilt."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from daq.physics import weight_normal_n
from daq.sweep.validity.conditions import Fault
from daq.sweep.validity.saying import Number, failed, not_made, passed
from daq.sweep.validity.seen import Seen
from daq.values import FEET_SHARE, StepMean, Validity
from daq.words import listed

STILL_RIDDEN_S = 3.0
"""A fault seen so soon after a step is one of the move: the rider shifts his weight."""
TILT_SPREAD_DEG = 0.5
"""A tilt that differs more between steps moves the saddle 6 mm against gravity at 700 mm height."""


def computation(sweep: Seen) -> Validity:
    """Whether everything that the sensors sent was computed."""
    failure = sweep.conditions.failure
    if failure:
        return failed("computation", failure, "")
    return passed("computation", "all that was recorded was computed")


def calibration(sweep: Seen) -> Validity:
    """Whether the calibration may be trusted."""
    doubt = sweep.conditions.calibration_doubt
    if doubt:
        return failed("calibration", doubt, "calibrate, or check with a weight; the loads can be computed again")
    if not sweep.conditions.calibrated:
        return not_made("calibration", "calibration not stated: newtons are taken as they are")
    return passed("calibration", "the calibration held when the sweep was ridden")


def cells(sweep: Seen) -> Validity:
    """Every fault that was seen while a step that counts was ridden."""
    conditions = sweep.conditions
    found = [fault for fault in conditions.faults if fault.lasting or _touched(fault, sweep.steps)]
    if found:
        first = {fault.part: fault for fault in reversed(found)}
        said = _each(found)
        touched = {step.setback_mm: None for step in sweep.steps if any(_during(f, step) for f in found)}
        lasting = any(fault.lasting for fault in found) or not touched
        places = listed([f"{mm:g}" for mm in touched])
        cure = f"fix {_quoted(first)} and ride "
        cure += "the sweep again" if lasting else f"{places} mm again"
        if _stays_wrong(found, sweep.steps):
            cure = (
                f"this sweep can have no verdict (a position sensor was wrong at {places} mm): enter the "
                "setbacks from the jig's scale, mend the sensor, and ride the sweep again"
            )
        return failed("cells", f"a fault was seen during the sweep; {said}", cure, Number(len(first), "faults"))
    after = [fault for fault in conditions.faults if _after(fault, sweep.steps)]
    if after:
        return failed(
            "cells",
            f"a fault was seen at the position after the last one that counts; {_each(after)}",
            f"fix {_quoted(fault.part for fault in after)} and ride the positions that are missing",
            Number(float(len({fault.part for fault in after})), "faults"),
            forbids=False,
        )
    if not conditions.watched:
        return not_made("cells", "cells not watched: a cell that stuck or slipped would not be known")
    return passed("cells", "no faulty cell was seen", Number(0.0, "faults"))


def wrong_cells(sweep: Seen) -> bool:
    """Whether the loads themselves were wrong during a step that counts; a sensor of saddle or bar spoils none."""
    return any(not f.of_place and (f.lasting or _touched(f, sweep.steps)) for f in sweep.conditions.faults)


def _stays_wrong(found: Sequence[Fault], steps: tuple[StepMean, ...]) -> bool:
    """Whether a sensor of saddle or bar was wrong at more than one step. A clamp that slipped is mended by redoing its
    step; a sensor that jumped or sticks is wrong at the next ones too, whatever is entered there."""
    parts = {fault.part for fault in found if fault.of_place}
    at = [{fault.part for fault in found if fault.part in parts and _during(fault, step)} for step in steps]
    return any(sum(part in here for here in at) > 1 for part in parts)


def _each(found: Sequence[Fault]) -> str:
    """Part by part what was seen first."""
    first = {fault.part: fault for fault in reversed(found)}
    return "; ".join(f"{_named(part)}: {fault.sentence}" for part, fault in sorted(first.items()))


def _quoted(parts: Iterable[str]) -> str:
    return listed([f"'{_named(part)}'" for part in sorted(set(parts))])


def _named(part: str) -> str:
    """A cell of the rig file in words."""
    return part.replace("_", " ")


def _after(fault: Fault, steps: tuple[StepMean, ...]) -> bool:
    """Whether it was seen after the last finished step: a position that came to no end because of it."""
    return bool(steps) and bool(steps[-1].strokes) and fault.t_s > steps[-1].strokes[-1].end_s + STILL_RIDDEN_S


def _touched(fault: Fault, steps: tuple[StepMean, ...]) -> bool:
    return any(_during(fault, step) for step in steps)


def _during(fault: Fault, step: StepMean) -> bool:
    """Whether it was seen while this step's strokes were ridden; of a step without strokes it may have been."""
    if not step.strokes:
        return True
    return step.strokes[0].start_s <= fault.t_s <= step.strokes[-1].end_s


def feet(sweep: Seen) -> Validity:
    """What is left for the feet."""
    mass_kg = sweep.conditions.mass_kg
    loads = [step for step in sweep.steps if not math.isnan(step.saddle_load_n)]
    if not mass_kg or not loads:
        return not_made("feet", f"feet not known: the {'saddle was not read' if mass_kg else 'mass was not given'}")
    low, high = FEET_SHARE
    shares = [_share(step, mass_kg, sweep.conditions.g_m_s2) for step in loads]
    worst = max(range(len(loads)), key=lambda i: abs(shares[i] - 0.5 * (low + high)))
    said = f"at {loads[worst].setback_mm:g} mm the feet would carry {100 * shares[worst]:.0f} % of the weight"
    if low <= shares[worst] <= high:
        return passed("feet", f"the feet carry a possible share; {said}", Number(shares[worst]))
    return failed(
        "feet",
        f"{said}; expected {100 * low:.0f} to {100 * high:.0f} %",
        "check the rider's mass, the zero and the cells",
        Number(shares[worst]),
    )


def _share(step: StepMean, mass_kg: float, g_m_s2: float) -> float:
    return 1.0 - (step.hand_load_n + step.saddle_load_n) / weight_normal_n(mass_kg, step.tilt_deg, g_m_s2)


def tilt(sweep: Seen) -> Validity:
    """Whether the jig stood still."""
    tilts = [step.tilt_deg for step in sweep.steps if not math.isnan(step.tilt_deg)]
    if not tilts:
        return not_made("tilt", "tilt not measured: a jig that sank would not be known")
    spread = max(tilts) - min(tilts)
    said = f"the jig's tilt went from {min(tilts):z.1f} to {max(tilts):z.1f} degrees during the sweep"
    if spread <= TILT_SPREAD_DEG:
        return passed("tilt", f"{said}: it stood still", Number(spread, "deg"))
    return failed(
        "tilt",
        f"{said}; expected within {TILT_SPREAD_DEG:g}",
        "level it and ride the sweep again",
        Number(spread, "deg"),
    )
