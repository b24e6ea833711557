"""What would settle an undecided sweep: which setbacks to ride, and how many minutes more."""

from __future__ import annotations

import math

import numpy as np

from daq.sweep.evidence import Evidence
from daq.sweep.line import line_through
from daq.sweep.posterior import Posterior

WANTED_MM = 10.0
"""Width of the 95 % interval that a fitter can use."""
SD_OF_BEND = 4.5
"""sd(onset) is about 4.5 sigma / (d sqrt n): the Cramer-Rao limit of a broken line with the bend well inside."""
LONGEST_MIN = 60.0
SMALLEST_RISE = 0.1
"""N/mm. A smaller rise is not looked for."""


def what_settles(evidence: Evidence, found: Posterior) -> list[str]:
    """One or two sentences for a sweep without a verdict."""
    beyond = _beyond_the_ends(evidence, found)
    if beyond:
        return [beyond]
    positions_mm = _worth_riding_mm(evidence, found)
    where = ", ".join(f"{mm:.0f}" for mm in positions_mm)
    more = max(steps_more(evidence, found), len(positions_mm))
    share = more / len(evidence.hands_n)
    if evidence.minutes > 0.0:
        minutes = share * evidence.minutes
        if minutes > LONGEST_MIN:
            return [
                f"at this scatter it would take more than {LONGEST_MIN:.0f} minutes more of the same: hold the power "
                "closer, keep the hands still, sweep a longer way, or leave it undecided"
            ]
        return [f"to settle it: ride {where} mm again, about {math.ceil(minutes)} minutes more"]
    return [f"to settle it: ride {where} mm again, about {math.ceil(more)} steps more"]


def steps_more(evidence: Evidence, found: Posterior) -> float:
    """Steps like the ones ridden that are missing for an interval of WANTED_MM, at the slope seen so far."""
    error_n = found.scale * (1.0 if evidence.se_n is None else float(np.median(evidence.se_n)))
    added = max(line_through(evidence, -found.mean).added_n_per_mm, SMALLEST_RISE)
    needed = (2.0 * 1.96 * SD_OF_BEND * error_n / (added * WANTED_MM)) ** 2
    return max(needed - len(evidence.hands_n), 0.0)


def _worth_riding_mm(evidence: Evidence, found: Posterior) -> list[float]:
    """Both sides of where the bend may be, and the two ends that fix the slopes; rearmost first."""
    likely = [-found.quantile(share) for share in (0.07, 0.93)]
    ends = [float(evidence.positions_mm[0]), float(evidence.positions_mm[-1])]
    return sorted({float(round(mm)) for mm in likely + ends}, reverse=True)


def _beyond_the_ends(evidence: Evidence, found: Posterior) -> str:
    """Asks for positions beyond an end when the bend is there or thereabouts; empty when it is not."""
    positions = evidence.positions_mm
    gap_mm = float(np.median(-np.diff(positions)))
    front, rear = found.quantile(0.975) > -positions[-2], found.quantile(0.025) < -positions[1]
    sure = found.p_onset + found.p_light * front + found.p_loaded * rear > 0.9
    if not sure or front == rear:
        return ""
    end_mm, way = (positions[-1], -1.0) if front else (positions[0], 1.0)
    more = [end_mm + way * gap_mm * k for k in (1, 2)]
    side = "foremost" if front else "rearmost"
    return (
        f"to settle it: the rise may begin at the {side} position, so ride {more[0]:.0f} and {more[1]:.0f} mm as well"
    )
