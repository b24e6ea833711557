"""The answer of plain least squares with classical tests: a second opinion that uses no prior.

Hinge with time and torque as covariates, the exact profile-F interval, and an F test of the hinge against the straight
line. The breakpoint is sought over the whole sweep, so the F of the best one is larger than the F of a given one; two
parameters are charged for it and the bar is at 0.2 %, which keeps false onsets under half a per cent (tests/bench).
"""

from __future__ import annotations

import math

import numpy as np

from daq.sweep.evidence import Evidence
from daq.sweep.hinge import Hinge, least_squares
from daq.values import NAN, Array, Onset, Verdict

FALSE_ALARM = 0.002
STRAIGHT = 0.05
"""Level of the test for a slope of the straight line."""


def by_least_squares(evidence: Evidence, *, step_off_mm: float, method: str) -> Onset:
    """The answer; probabilities are NaN, for there are none in this method."""
    weights = None if evidence.se_n is None else evidence.se_n**-2.0
    fit = least_squares(evidence.forward_mm, evidence.hands_n, weights=weights, covariates=evidence.covariates)
    onset_mm = -fit.breakpoint
    plain = least_squares(evidence.setback_mm, evidence.hands_n)
    verdict = _verdict(evidence, fit)
    named = verdict is Verdict.ONSET
    rear_mm = float(evidence.positions_mm[0])
    return Onset(
        verdict=verdict,
        gradual=False,
        onset_mm=onset_mm if named else None,
        interval_95_mm=(-fit.interval[1], -fit.interval[0]) if named else None,
        p_onset=NAN,
        p_light=NAN,
        p_loaded=NAN,
        least_squares_mm=plain.breakpoint,
        rss=plain.rss,
        suggested_setback_mm=min(onset_mm + step_off_mm, rear_mm) if named else None,
        light_load_n=fit.level if named else NAN,
        slope_n_per_mm=fit.added if named else NAN,
        reasons=(_why(verdict, fit), *evidence.notes),
        method=method,
    )


def _verdict(evidence: Evidence, fit: Hinge) -> Verdict:
    if _p_straight(fit) < FALSE_ALARM and fit.added > 0.0:
        return Verdict.ONSET if all(map(math.isfinite, fit.interval)) else Verdict.UNDECIDED
    if _p_straight(fit) < STRAIGHT:
        return Verdict.UNDECIDED
    slope, p_level = _straight(evidence)
    if p_level < STRAIGHT and slope < 0.0:
        return Verdict.LOADED
    return Verdict.UNDECIDED if p_level < STRAIGHT else Verdict.LIGHT


def _p_straight(fit: Hinge) -> float:
    """Chance of so large a fall of the residual sum of squares when the line is straight."""
    from scipy.special import fdtrc

    if fit.freedom <= 0 or fit.rss <= 0.0:
        return 1.0
    return float(fdtrc(2, fit.freedom, (fit.rss_straight - fit.rss) / 2.0 / (fit.rss / fit.freedom)))


def _straight(evidence: Evidence) -> tuple[float, float]:
    """Slope over setback of the straight line, N/mm, and the chance of so steep a one when there is none."""
    from scipy.special import fdtrc

    root = np.ones(len(evidence.hands_n)) if evidence.se_n is None else 1.0 / evidence.se_n
    ones = np.ones(len(evidence.hands_n))
    without = root[:, None] * np.column_stack([ones, evidence.covariates])
    design = np.column_stack([without, root * evidence.setback_mm])
    target = root * evidence.hands_n
    slope = float(np.linalg.lstsq(design, target, rcond=None)[0][-1])
    rss, more = (
        float(np.sum((target - d @ np.linalg.lstsq(d, target, rcond=None)[0]) ** 2)) for d in (design, without)
    )
    freedom = len(target) - design.shape[1]
    return slope, float(fdtrc(1, freedom, (more - rss) / (rss / freedom))) if freedom > 0 and rss > 0.0 else 1.0


def _rss(design: Array, target: Array) -> float:
    return float(np.sum((target - design @ np.linalg.lstsq(design, target, rcond=None)[0]) ** 2))


def _why(verdict: Verdict, fit: Hinge) -> str:
    if verdict is Verdict.ONSET:
        return f"least squares: hand load gains {fit.added:.2f} N per mm forward of {-fit.breakpoint:.0f} mm"
    if verdict is Verdict.LIGHT:
        return "least squares: no slope of hand load over setback is seen; that none is there is not shown"
    if verdict is Verdict.LOADED:
        return "least squares: hand load rises forward in a straight line: sweep further back or check reach"
    return "least squares: the steps bear no claim"
