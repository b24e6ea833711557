"""What may be claimed of a sweep, from the posterior, and why: one plain sentence for each reason.

An onset is named only when a bend inside the ridden positions is more than 90 % probable and its whole 95 % interval
lies between the second positions from either end: beyond them one odd step would make the same bend. The other two
verdicts need 90 % as well. All else is undecided, and then the reasons say what would settle it.
"""

from __future__ import annotations

import numpy as np

from daq.sweep.evidence import Evidence
from daq.sweep.hinge import least_squares
from daq.sweep.line import Line, line_through
from daq.sweep.posterior import Posterior
from daq.sweep.settling import what_settles
from daq.values import NAN, Onset, Verdict

SURE = 0.9
GRADUAL = 0.75
WIDE_MM = 12.0
LEVEL = 0.15
"""A slope behind the onset below this fraction of what is added forward of it is called level."""


def by_posterior(evidence: Evidence, found: Posterior, *, step_off_mm: float, method: str) -> Onset:
    """The answer of the posterior."""
    low_mm, high_mm = interval_mm(found)
    rear_mm = float(evidence.positions_mm[0])
    verdict = verdict_of(evidence, found)
    plain = least_squares(evidence.setback_mm, evidence.hands_n)
    onset_mm = -found.mean if verdict is Verdict.ONSET else None
    line = line_through(evidence, onset_mm)
    gradual = verdict is Verdict.ONSET and found.p_gradual > GRADUAL
    reasons = _reasons(verdict, evidence, found, line, gradual)
    level = verdict in (Verdict.ONSET, Verdict.LIGHT)
    return Onset(
        verdict=verdict,
        gradual=gradual,
        onset_mm=onset_mm,
        interval_95_mm=(low_mm, high_mm) if onset_mm is not None else None,
        p_onset=found.p_onset,
        p_light=found.p_light,
        p_loaded=found.p_loaded,
        least_squares_mm=plain.breakpoint,
        rss=plain.rss,
        suggested_setback_mm=min(onset_mm + step_off_mm, rear_mm) if onset_mm is not None else None,
        light_load_n=line.load_n if level else NAN,
        slope_n_per_mm=line.added_n_per_mm if onset_mm is not None else NAN,
        reasons=(*reasons, *evidence.notes),
        method=method,
    )


def interval_mm(found: Posterior) -> tuple[float, float]:
    """The central 95 % interval as setbacks, lower first."""
    rear, front = found.interval()
    return -front, -rear


def verdict_of(evidence: Evidence, found: Posterior) -> Verdict:
    """The claim the posterior bears."""
    low_mm, high_mm = interval_mm(found)
    inner_mm = evidence.positions_mm[1:-1]
    if found.p_onset > SURE and len(inner_mm) > 1 and inner_mm[-1] < low_mm and high_mm < inner_mm[0]:
        return Verdict.ONSET
    if found.p_light > SURE:
        return Verdict.LIGHT
    if found.p_loaded > SURE:
        return Verdict.LOADED
    return Verdict.UNDECIDED


def _reasons(verdict: Verdict, evidence: Evidence, found: Posterior, line: Line, gradual: bool) -> list[str]:
    if verdict is Verdict.ONSET:
        return _why_onset(evidence, found, line, gradual)
    if verdict is Verdict.LIGHT:
        return [f"the hands stay light as far forward as {evidence.positions_mm[-1]:g} mm: hand load does not rise"]
    if verdict is Verdict.LOADED:
        return ["the hands carry weight even at the rearmost position: sweep further back or check reach"]
    return [_why_undecided(found), *what_settles(evidence, found)]


def _why_onset(evidence: Evidence, found: Posterior, line: Line, gradual: bool) -> list[str]:
    behind, forward = line.slope_n_per_mm, line.slope_n_per_mm + line.added_n_per_mm
    before = "is level" if abs(behind) < LEVEL * line.added_n_per_mm else f"changes by {behind:.2f} N per mm forward"
    reasons = [f"hand load {before} behind {line.bend_mm:.0f} mm and rises by {forward:.2f} N per mm forward of it"]
    low_mm, high_mm = interval_mm(found)
    if high_mm - low_mm > WIDE_MM:
        reasons.append(
            f"its place is known only within {high_mm - low_mm:.0f} mm: a limit on coming forward, not a point"
        )
    if gradual:
        reasons.append("the rise is gradual: the onset named is the middle of the bend, it starts further back")
    doubtful = int(np.argmax(found.p_shifted))
    if found.p_shifted[doubtful] > 0.5:
        reasons.append(
            f"step {doubtful + 1} at {evidence.setback_mm[doubtful]:g} mm does not fit the others and hardly counts; "
            "ride it again"
        )
    return reasons


def _why_undecided(found: Posterior) -> str:
    if found.p_onset > SURE:
        return "hand load rises, but where the rise begins cannot be placed within the ridden positions"
    likely = max(("a rise that begins inside", found.p_onset), ("level all along", found.p_light),
                 ("a rise all along", found.p_loaded), key=lambda pair: pair[1])  # fmt: skip
    return f"the steps do not tell a rise from a straight line: most likely {likely[0]}, at {100 * likely[1]:.0f} %"
