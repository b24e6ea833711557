"""The answer of plain least squares with classical tests: a second opinion that uses no prior.

Hinge with time and torque as covariates, the exact profile-F interval, and an F test of the hinge against the straight
line. The breakpoint is sought over the whole sweep, so the F of the best one is larger than the F of a given one; it is
charged two parameters and the significance level is 0.2 %, which keeps false onsets under half a per cent
(tests/benchmarks). A test that does not reject shows nothing, so this method has two verdicts: onset and undecided.
"""

from __future__ import annotations

import math

from daq.sweep.evidence import StepEvidence
from daq.sweep.hinge import Hinge, least_squares
from daq.values import NAN, Onset, Verdict

FALSE_ALARM = 0.002


def by_least_squares(evidence: StepEvidence, *, step_off_mm: float, method: str) -> Onset:
    """The answer; probabilities are NaN, since this method has none."""
    weights = None if evidence.se_n is None else evidence.se_n**-2.0
    fit = least_squares(evidence.forward_mm, evidence.hands_n, weights=weights, covariates=evidence.covariates)
    onset_mm = -fit.breakpoint
    plain = least_squares(evidence.setback_mm, evidence.hands_n)
    verdict = _verdict(fit)
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
        reasons=(_why(named, fit), *evidence.notes),
        method=method,
    )


def _verdict(fit: Hinge) -> Verdict:
    bounded = all(map(math.isfinite, fit.interval))
    return Verdict.ONSET if _p_straight(fit) < FALSE_ALARM and fit.added > 0.0 and bounded else Verdict.UNDECIDED


def _p_straight(fit: Hinge) -> float:
    """Probability of so large a reduction of the residual sum of squares if the line is straight."""
    from scipy.special import fdtrc

    if fit.freedom <= 0:
        return 1.0
    if fit.rss <= 0.0:
        return 0.0 if fit.rss_straight > 0.0 else 1.0
    return float(fdtrc(2, fit.freedom, (fit.rss_straight - fit.rss) / 2.0 / (fit.rss / fit.freedom)))


def _why(named: bool, fit: Hinge) -> str:
    if named:
        return f"least squares: hand load gains {fit.added:.2f} N per mm forward of {-fit.breakpoint:.0f} mm"
    return "least squares: no bend is shown; that there is none is not shown either, this method cannot"
