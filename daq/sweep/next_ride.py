"""What would settle an undecided sweep: which setbacks to ride, and how many more minutes."""

from __future__ import annotations

import itertools
import math

import numpy as np

from daq.sweep.evidence import StepEvidence
from daq.sweep.line import line_through
from daq.sweep.places import SAME_PLACE_MM
from daq.sweep.plan import interleaved
from daq.sweep.posterior import Posterior

WANTED_MM = 10.0
"""Width of the 95 % interval that a fitter can use."""
SD_OF_BEND = 4.5
"""sd(onset) is about 4.5 sigma / (d sqrt n): the Cramer-Rao limit of a broken line with the bend well inside."""
LONGEST_MIN = 60.0
SMALLEST_RISE = 0.1
"""N/mm. Smaller rises are not planned for."""
TO_SETTLE, AT_THIS_SCATTER = "to settle it: ", "at this scatter "
"""How reasons begin that ask for more riding."""


def what_settles(evidence: StepEvidence, found: Posterior) -> list[str]:
    """One or two sentences for a sweep without a verdict. Doubling the ride brings a verdict to 4 to 7 of 10 sweeps
    that most likely have a bend, and to 2 to 7 of 10 that most likely have none; for the latter, riding all positions
    again does twice as well as riding some; measured by simulation over slopes of 0.2 to 1.5 N/mm and scatter of 1 to 5
    N.
    """
    if beyond_mm := _more_beyond_mm(evidence, found):
        near_mm, far_mm = beyond_mm
        return [
            f"{TO_SETTLE}{_beginning(found, front=near_mm < evidence.positions_mm[-1])}, so ride {near_mm:.0f} and "
            f"{far_mm:.0f} mm as well"
        ]
    n = len(evidence.hands_n)
    positions_mm = worth_riding_mm(evidence, found)
    if found.p_onset < max(found.p_light, found.p_loaded):
        return [
            f"{TO_SETTLE}ride all positions once more, out and back, {_how_long(evidence, n)}; it settles up to "
            "half of such sweeps, and a longer way of the saddle tells more"
        ]
    missing = steps_more(evidence, found)
    more = _so_many(missing, len(positions_mm), n)
    said = [
        f"{TO_SETTLE}ride {_new_and_again(evidence, positions_mm)}, {_how_long(evidence, more)}; it settles about "
        "half of such sweeps"
    ]
    if missing * evidence.minutes / n > LONGEST_MIN:
        said.append(
            f"{AT_THIS_SCATTER}it would take more than {LONGEST_MIN:.0f} minutes to place it within {WANTED_MM:.0f} "
            "mm: hold the power closer and keep the hands still"
        )
    return said


def _beginning(found: Posterior, *, front: bool) -> str:
    """Where a rise begins that lies at an end: no more of a claim than the likeliest shape told beside it allows."""
    if front and found.p_light > found.p_onset:
        return "a rise, if there is one, begins at the foremost position or forward of it"
    if not front and found.p_loaded > found.p_onset:
        return "where the rise begins, if anywhere, is at the rearmost position or behind it"
    return f"the rise may begin at the {'foremost' if front else 'rearmost'} position"


def next_positions_mm(evidence: StepEvidence, found: Posterior) -> tuple[float, ...]:
    """The same as a plan's positions in their order: every other pass the other way."""
    places_mm = worth_riding_mm(evidence, found)
    n = len(evidence.hands_n)
    most_likely_none = found.p_onset < max(found.p_light, found.p_loaded)
    if most_likely_none or _more_beyond_mm(evidence, found):
        return interleaved(places_mm)
    steps, passes = _so_many(steps_more(evidence, found), len(places_mm), n), [places_mm, places_mm[::-1]]
    return tuple(mm for _, way in zip(range(steps), itertools.cycle(passes), strict=False) for mm in way)[:steps]


def _so_many(missing: float, positions: int, n: int) -> int:
    """Steps asked for: each position once at least, and never more than were ridden."""
    return min(max(math.ceil(missing), positions), n)


def _new_and_again(evidence: StepEvidence, positions_mm: list[float]) -> str:
    """Says which of these were ridden already: "again" must not be said of a new position."""
    ridden = [bool(np.min(np.abs(evidence.positions_mm - mm)) < SAME_PLACE_MM) for mm in positions_mm]
    new, again = (
        " and ".join(f"{mm:.0f}" for mm, was in zip(positions_mm, ridden, strict=True) if was is wanted)
        for wanted in (False, True)
    )
    return ", and ".join(filter(None, [new and f"{new} mm", again and f"{again} mm again"]))


def _how_long(evidence: StepEvidence, steps: int) -> str:
    if evidence.minutes > 0.0:
        return f"about {math.ceil(evidence.minutes * steps / len(evidence.hands_n))} minutes"
    return f"{steps} steps"


def steps_more(evidence: StepEvidence, found: Posterior) -> float:
    """Steps like the ones ridden that are missing for an interval of WANTED_MM, at the slope seen so far."""
    error_n = found.scale * (1.0 if evidence.se_n is None else float(np.median(evidence.se_n)))
    added = max(line_through(evidence, -found.mean).added_n_per_mm, SMALLEST_RISE)
    needed = (2.0 * 1.96 * SD_OF_BEND * error_n / (added * WANTED_MM)) ** 2
    return max(needed - len(evidence.hands_n), 0.0)


def worth_riding_mm(evidence: StepEvidence, found: Posterior) -> list[float]:
    """What `what_settles` asks to ride, rearmost first: beyond an end; or all positions again where there most likely
    is no bend; or both sides of where the bend may be, and the two ends that fix the slopes."""
    if beyond := _more_beyond_mm(evidence, found):
        return sorted(beyond, reverse=True)
    if found.p_onset < max(found.p_light, found.p_loaded):
        return [float(mm) for mm in evidence.positions_mm]
    rear_mm, front_mm = float(evidence.positions_mm[0]), float(evidence.positions_mm[-1])
    near_mm = 0.5 * gap_mm(evidence)
    likely = [-found.quantile(share) for share in (0.07, 0.93)]
    inside = [mm for mm in likely if front_mm + near_mm < mm < rear_mm - near_mm]
    return sorted({float(round(mm)) for mm in (rear_mm, *inside, front_mm)}, reverse=True)


def gap_mm(evidence: StepEvidence) -> float:
    """The usual distance from one position to the next."""
    return float(np.median(-np.diff(evidence.positions_mm)))


def _more_beyond_mm(evidence: StepEvidence, found: Posterior) -> list[float]:
    """Two positions beyond an end when the bend is there or thereabouts; none when it is not."""
    positions = evidence.positions_mm
    gap = gap_mm(evidence)
    front, rear = found.quantile(0.975) > -positions[-2], found.quantile(0.025) < -positions[1]
    sure = found.p_onset + found.p_light * front + found.p_loaded * rear > 0.9
    if not sure or front == rear:
        return []
    end_mm, way = (positions[-1], -1.0) if front else (positions[0], 1.0)
    return [float(end_mm + way * gap * k) for k in (1, 2)]
