"""What would settle an undecided sweep: which setbacks to ride, and how many more minutes."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from daq.sweep.evidence import StepEvidence
from daq.sweep.line import line_through
from daq.sweep.places import SAME_PLACE_MM
from daq.sweep.plan import interleaved
from daq.sweep.posterior import Posterior
from daq.values import NAN, Z_95, NextRide
from daq.words import counted, listed

WANTED_MM = 10.0
"""Width of the 95 % interval that a fitter can use."""
SD_OF_BEND = 4.5
"""sd(onset) is about 4.5 sigma / (d sqrt n): the Cramer-Rao limit of a broken line with the bend well inside."""
LONGEST_MIN = 60.0
SMALLEST_RISE = 0.1
"""N/mm. Smaller rises are not planned for."""
TO_SETTLE, AT_THIS_SCATTER = "to settle it: ", "at this scatter "
"""How reasons begin that ask for more riding."""


def what_settles(evidence: StepEvidence, found: Posterior, asked: NextRide) -> list[str]:
    """One or two sentences for a sweep without a verdict. Doubling the ride brings a verdict to 4 to 7 of 10 sweeps
    that most likely have a bend, and to 2 to 7 of 10 that most likely have none; for the latter, riding all positions
    again does twice as well as riding some; measured by simulation over slopes of 0.2 to 1.5 N/mm and scatter of 1 to 5
    N. asked: what `next_ride` asks for.
    """
    if beyond_mm := _more_beyond_mm(evidence, found):
        front = min(beyond_mm) < evidence.positions_mm[-1]
        return [f"{TO_SETTLE}{_beginning(found, front=front)}, so {in_words(asked)}"]
    if asked.whole:
        return [
            f"{TO_SETTLE}{in_words(asked)}; it settles up to half of such sweeps, and a longer way of the saddle tells "
            "more"
        ]
    said = [f"{TO_SETTLE}{in_words(asked)}; it settles about half of such sweeps"]
    if steps_more(evidence, found) * evidence.minutes / len(evidence.hands_n) > LONGEST_MIN:
        said.append(
            f"{AT_THIS_SCATTER}it would take more than {LONGEST_MIN:.0f} minutes to place it within {WANTED_MM:.0f} "
            "mm: hold the power closer and keep the hands still"
        )
    return said


def next_ride(evidence: StepEvidence, found: Posterior, also_mm: Sequence[float] = ()) -> NextRide:
    """What to ride as well, and how long it takes. also_mm: positions to ride again besides."""
    positions_mm = _more_beyond_mm(evidence, found) or worth_riding_mm(evidence, found)
    n = len(evidence.hands_n)
    there_mm = evidence.positions_mm
    ridden = [bool(np.min(np.abs(there_mm - mm)) < SAME_PLACE_MM) for mm in positions_mm]
    new_mm, again_mm = (
        tuple(mm for mm, was in zip(positions_mm, ridden, strict=True) if was is wanted) for wanted in (False, True)
    )
    whole = len(again_mm) == len(there_mm)
    steps = len(new_mm) if not again_mm else _so_many(steps_more(evidence, found), len(positions_mm), n)
    steps = n if whole else steps
    minutes = evidence.minutes * steps / n if evidence.minutes > 0.0 else NAN
    return with_these(NextRide(new_mm, again_mm, whole, steps, minutes), also_mm)


def with_these(asked: NextRide, also_mm: Sequence[float]) -> NextRide:
    """The same with more positions, all ridden before: one list instead of two."""
    known = (*asked.new_mm, *asked.again_mm)
    more = [mm for mm in dict.fromkeys(also_mm) if all(abs(mm - one) >= SAME_PLACE_MM for one in known)]
    if asked.whole or not more:
        return asked
    again_mm = tuple(sorted((*asked.again_mm, *more), reverse=True))
    steps = max(asked.steps, len(asked.new_mm) + len(again_mm))
    return NextRide(asked.new_mm, again_mm, whole=False, steps=steps, minutes=asked.minutes * steps / asked.steps)


def in_words(asked: NextRide) -> str:
    """What to ride and how long it takes, as a request."""
    how_long = (
        counted(asked.steps, "step")
        if math.isnan(asked.minutes)
        else f"about {counted(math.ceil(asked.minutes), 'minute')}"
    )
    if asked.whole:
        return f"ride all positions once more, out and back, {how_long}"
    new, again = (listed([f"{mm:.0f}" for mm in part]) for part in (asked.new_mm, asked.again_mm))
    if not again:
        return f"ride {new} mm as well"
    return f"ride {', and '.join(filter(None, [new and f'{new} mm', f'{again} mm again']))}, {how_long}"


def _beginning(found: Posterior, *, front: bool) -> str:
    """Where a rise begins that lies at an end: no more of a claim than the likeliest shape told beside it allows."""
    if front and found.p_light > found.p_onset:
        return "a rise, if there is one, begins at the foremost position or forward of it"
    if not front and found.p_loaded > found.p_onset:
        return "where the rise begins, if anywhere, is at the rearmost position or behind it"
    return f"the rise may begin at the {'foremost' if front else 'rearmost'} position"


def next_positions_mm(evidence: StepEvidence, found: Posterior, also_mm: Sequence[float] = ()) -> tuple[float, ...]:
    """The same as a plan's positions in their order: every other pass the other way."""
    asked = next_ride(evidence, found, also_mm)
    places_mm = sorted((*asked.new_mm, *asked.again_mm), reverse=True)
    if asked.whole or not asked.again_mm:
        return interleaved(places_mm)
    passes = [places_mm, places_mm[::-1]]
    ways = itertools.chain.from_iterable(itertools.cycle(passes))
    return tuple(itertools.islice(ways, asked.steps))


def _so_many(missing: float, positions: int, n: int) -> int:
    """Steps asked for: each position once at least, and never more than were ridden."""
    return min(max(math.ceil(missing), positions), n)


def steps_more(evidence: StepEvidence, found: Posterior) -> float:
    """Steps like the ones ridden that are missing for an interval of WANTED_MM, at the slope seen so far."""
    error_n = found.scale * (1.0 if evidence.se_n is None else float(np.median(evidence.se_n)))
    added = max(line_through(evidence, -found.mean).added_n_per_mm, SMALLEST_RISE)
    needed = (2.0 * Z_95 * SD_OF_BEND * error_n / (added * WANTED_MM)) ** 2
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
