"""Which setback to ride next, why, what it is expected to bring, and when to stop. First comes a coarse pass over the
whole range: five positions, every second one coming forward, the others going back, so that drift bends both ways. From
then on the posterior is bracketed: its 7 % and 93 % points in turn, where a step is most informative about the bend
(stepping on its middle is worse than uniform). While no bend is in sight, the widest gap is halved instead. Before it
stops, the first position is ridden once more: nothing else shows as plainly what has drifted since, and how visits
scatter.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.sweep.bend import bend_of
from daq.sweep.evidence import StepEvidence, gathered
from daq.sweep.line import line_through
from daq.sweep.places import SAME_PLACE_MM, places
from daq.sweep.plan import FEWEST_POSITIONS, out_and_back
from daq.sweep.posterior import Posterior
from daq.sweep.verdict import SURE, interval_mm, verdict_of
from daq.values import StepMean, Verdict

BRACKET = (0.07, 0.93)
IN_SIGHT = 0.5
"""Probability of a bend from which on its posterior is bracketed."""
NO_GAIN = 0.985
"""A step that leaves more than this fraction of the interval's width brings nothing a fitter would notice."""
FEWEST_FOR_NO_GAIN = 11
FEWEST_FOR_SETTLED = 8
"""With five positions, a rider whose load rises little looks level; judgement."""
SETTLED = {
    Verdict.LIGHT: "the hands stay light over the whole range",
    Verdict.LOADED: "the hands carry more with every step forward, over the whole range",
}
"""Answers without an onset that no further step would change."""


@dataclass(frozen=True, slots=True)
class NextStep:
    """What to ride next, or why to stop. Exactly one of setback_mm and stop is set."""

    setback_mm: float | None
    why: str
    width_mm: float | None
    """Width of the 95 % interval now; None before there is one."""
    expected_width_mm: float | None
    """The same once this step is ridden."""
    stop: str | None


def next_step(
    steps: Sequence[StepMean],
    *,
    rear_mm: float,
    front_mm: float,
    resolution_mm: float = 1.0,
    target_width_mm: float = 10.0,
    minutes_left: float = math.inf,
    minutes_per_step: float = 0.75,
) -> NextStep:
    """The next setback between rear_mm and front_mm that the jig can set, a multiple of resolution_mm. ValueError if
    the limits leave no room for the coarse pass.
    """
    if narrow := too_narrow(rear_mm, front_mm, resolution_mm):
        raise ValueError(narrow)
    if minutes_left < minutes_per_step:
        return _stop(f"the rider's time is up: {minutes_left:.1f} minutes left, a step takes {minutes_per_step:.1f}")
    coarse = _coarse(steps, rear_mm, front_mm, resolution_mm)
    if coarse is not None:
        return coarse
    asked = _told_by_posterior(steps, rear_mm, front_mm, resolution_mm, target_width_mm)
    last = minutes_left < 2.0 * minutes_per_step
    if (asked.stop or last) and not _first_again(steps):
        first_mm = steps[0].setback_mm
        why = f"the first place again, {first_mm:g} mm: what has drifted since, and how visits to one place scatter"
        return NextStep(first_mm, why, asked.width_mm, asked.expected_width_mm, None)
    return asked


def too_narrow(rear_mm: float, front_mm: float, resolution_mm: float) -> str:
    """Why these limits leave no room for the coarse pass; empty if they do."""
    if resolution_mm > 0.0 and rear_mm - front_mm >= FEWEST_POSITIONS * resolution_mm:
        return ""
    return (
        f"positions_mm: an adaptive sweep needs {FEWEST_POSITIONS * resolution_mm:g} mm or more from end to end on "
        f"this jig, got {rear_mm:g} to {front_mm:g} mm"
    )


def _first_again(steps: Sequence[StepMean]) -> bool:
    """Whether the first step's position has been ridden again after another one."""
    there = [abs(step.setback_mm - steps[0].setback_mm) < SAME_PLACE_MM for step in steps]
    return any(there[there.index(False) :]) if False in there else False


def _told_by_posterior(
    steps: Sequence[StepMean], rear_mm: float, front_mm: float, resolution_mm: float, target_width_mm: float
) -> NextStep:
    """The choice from the posterior of the steps so far."""
    evidence = gathered(steps)
    found = bend_of(evidence)
    low_mm, high_mm = interval_mm(found)
    width_mm = high_mm - low_mm
    verdict = verdict_of(evidence, found)
    if verdict is Verdict.ONSET and width_mm <= target_width_mm:
        return _stop(f"narrow enough: the 95 % interval is {width_mm:.1f} mm wide", width_mm)
    if verdict in SETTLED and len(steps) >= FEWEST_FOR_SETTLED:
        return _stop(f"settled: {SETTLED[verdict]}", None)
    at_mm, why = _bracketing(evidence, found) if found.p_onset > IN_SIGHT else _widest_gap(evidence, rear_mm, front_mm)
    at_mm = _settable(at_mm, rear_mm, front_mm, resolution_mm)
    kept = _width_kept(evidence, found, at_mm)
    if found.p_onset > SURE and len(steps) >= FEWEST_FOR_NO_GAIN and kept > NO_GAIN:
        return _stop(f"no gain: another step would narrow the 95 % interval by {100 * (1 - kept):.1f} % only", width_mm)
    return NextStep(at_mm, why, width_mm, kept * width_mm, None)


def _stop(reason: str, width_mm: float | None = None) -> NextStep:
    return NextStep(None, reason, width_mm, None, reason)


def _settable(at_mm: float, rear_mm: float, front_mm: float, resolution_mm: float) -> float:
    """The nearest setback the jig can set within the limits."""
    low = math.ceil(front_mm / resolution_mm - 1e-9)
    high = math.floor(rear_mm / resolution_mm + 1e-9)
    return float(min(max(round(at_mm / resolution_mm), low), high) * resolution_mm)


def _coarse(steps: Sequence[StepMean], rear_mm: float, front_mm: float, resolution_mm: float) -> NextStep | None:
    """The next position of the coarse pass; None once it is done."""
    planned = [
        _settable(mm, rear_mm, front_mm, resolution_mm) for mm in out_and_back(rear_mm, front_mm, FEWEST_POSITIONS)
    ]
    near_mm = 0.25 * (rear_mm - front_mm) / (FEWEST_POSITIONS - 1)
    left = [mm for mm in planned if not any(abs(step.setback_mm - mm) <= near_mm for step in steps)]
    if not left and len(places(np.array([step.setback_mm for step in steps]))) >= FEWEST_POSITIONS:
        return None
    at_mm = left[0] if left else planned[len(steps) % FEWEST_POSITIONS]
    done = FEWEST_POSITIONS - len(left)
    return NextStep(at_mm, f"the whole range first: {done} of {FEWEST_POSITIONS} places ridden", None, None, None)


def _bracketing(evidence: StepEvidence, found: Posterior) -> tuple[float, str]:
    """The 7 % or the 93 % point of the posterior, whichever side the last step was not on."""
    forward, rearward = (-found.quantile(share) for share in reversed(BRACKET))
    ahead = evidence.setback_mm[-1] < -found.quantile(0.5)
    at_mm, side = (rearward, "behind") if ahead else (forward, "forward of")
    return at_mm, f"just {side} where the onset may be, {forward:.0f} to {rearward:.0f} mm"


def _widest_gap(evidence: StepEvidence, rear_mm: float, front_mm: float) -> tuple[float, str]:
    """The middle of the widest gap between ridden positions and the limits."""
    edges = np.unique(np.concatenate([evidence.setback_mm, [rear_mm, front_mm]]))
    widest = int(np.argmax(np.diff(edges)))
    low, high = float(edges[widest]), float(edges[widest + 1])
    return 0.5 * (low + high), f"no onset in sight yet: in the middle of the widest gap, {low:.0f} to {high:.0f} mm"


def _width_kept(evidence: StepEvidence, found: Posterior, at_mm: float) -> float:
    """The interval's width after a step at at_mm over its width now, from the information about the bend.

    Linearised at the posterior's middle: parameters level, slope behind, added slope, bend, covariates.
    """
    line = line_through(evidence, -found.mean)
    forward = np.append(evidence.forward_mm, -at_mm) - found.mean
    later = np.vstack([evidence.covariates, evidence.covariates.max(axis=0, initial=0.0)])
    design = np.column_stack(
        [
            np.ones(len(forward)),
            forward,
            np.maximum(forward, 0.0),
            -max(line.added_n_per_mm, 0.1) * (forward > 0.0),
            later,
        ]
    )
    error_n = np.ones(len(evidence.hands_n)) if evidence.se_n is None else evidence.se_n
    error_n = found.scale * np.append(error_n, np.median(error_n))
    held = np.concatenate([[1e-9, 1.0, 1.0, found.sd**-2.0 * 1e-3], evidence.covariate_sds**-2.0])
    rows = design / error_n[:, None]
    before = np.linalg.inv(rows[:-1].T @ rows[:-1] + np.diag(held))
    after = np.linalg.inv(rows.T @ rows + np.diag(held))
    return float(math.sqrt(after[3, 3] / before[3, 3]))
