"""What may be claimed of a sweep, from the posterior, and why: one plain sentence for each reason.

An onset is named only when a bend inside the ridden positions is more than 90 % probable and its whole 95 % interval
lies between the second positions from either end: beyond them one odd step would make the same bend. Forward of it hand
load has to rise; a fall that levels off bends the same way. The other two verdicts need 90 % as well. All else is
undecided, and then the reasons say what would settle it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from daq.sweep.belief import WidePriors
from daq.sweep.chances import class_chances, curve, foremost_mm, likelihood
from daq.sweep.evidence import StepEvidence
from daq.sweep.hinge import least_squares
from daq.sweep.line import FittedLine, line_through
from daq.sweep.next_ride import TO_SETTLE, gap_mm, next_ride, what_settles
from daq.sweep.posterior import Posterior
from daq.values import NAN, NextRide, Onset, Verdict

SURE = 0.9
GRADUAL = 0.75
WIDE_MM = 12.0
DOUBTFUL = 0.5
LIKELY = 0.5
LEVEL = 0.15
"""A slope behind the onset below this fraction of what is added forward of it is called level."""


def by_posterior(
    evidence: StepEvidence, found: Posterior, *, step_off_mm: float, method: str, has_to_rise: bool = True
) -> Onset:
    """The answer of the posterior. has_to_rise: False calls a fall that levels off an onset too, as version 1 did."""
    low_mm, high_mm = interval_mm(found)
    rear_mm = float(evidence.positions_mm[0])
    bent = _bent(evidence, found)
    verdict = _verdict(found, bent, has_to_rise=has_to_rise)
    plain = least_squares(evidence.setback_mm, evidence.hands_n)
    onset_mm = -found.mean if verdict is Verdict.ONSET else None
    line = line_through(evidence, None) if bent is None or onset_mm is None else bent
    gradual = verdict is Verdict.ONSET and found.p_gradual > GRADUAL
    unplaced = verdict is Verdict.UNDECIDED and bent is None
    asked = next_ride(evidence, found, _odd_mm(evidence, found)) if unplaced else None
    reasons = _reasons(verdict, evidence, found, bent, gradual, asked)
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
        next_ride=asked,
    )


def with_chances(answer: Onset, found: Posterior, priors: WidePriors, loaded_chance: float) -> Onset:
    """The answer with its curve of chances and its likelihood, and the setback suggested by them.

    answer.suggested_setback_mm as it comes, the onset and the step-off, is a lower bound: an interval of a millimetre
    says how well today's onset is known, not how well the saddle is put back there, nor the rider on it.
    """
    if found.classes is None:
        raise ValueError("found: expected the posterior of hinge-posterior/3 or later; earlier ones keep no likelihood")
    suggested_mm, reasons = answer.suggested_setback_mm, answer.reasons
    if suggested_mm is not None:
        foremost = foremost_mm(found, found.classes, priors, loaded_chance)
        if foremost is None:
            _, _, p_loaded = class_chances(found.classes, priors)
            reasons = (*reasons, _nowhere_light(-float(found.c[0]), p_loaded, loaded_chance))
        suggested_mm = None if foremost is None else max(foremost, suggested_mm)
    return replace(
        answer,
        suggested_setback_mm=suggested_mm,
        reasons=reasons,
        p_loaded_at=curve(found, found.classes, priors),
        likelihood=likelihood(found, found.classes),
        p_lag=_p_lag(found, priors),
        between_n=found.between_n,
    )


def _p_lag(found: Posterior, priors: WidePriors) -> tuple[tuple[float, float], ...]:
    """Each time constant with its probability; empty where only a rider who has arrived was looked at."""
    times_s = (0.0, *(lag_s for lag_s in priors.lags_s if lag_s > 0.0))
    return tuple(zip(times_s, found.p_lag, strict=True)) if len(found.p_lag) == len(times_s) else ()


def _nowhere_light(rear_mm: float, p_loaded: float, loaded_chance: float) -> str:
    return (
        f"no setback is suggested: even at {rear_mm:g} mm the chance that the hands already carry more is "
        f"{100 * p_loaded:.0f} %, more than {100 * loaded_chance:g} %; ride further back as well"
    )


def interval_mm(found: Posterior) -> tuple[float, float]:
    """The central 95 % interval as setbacks, lower first."""
    rear, front = found.interval()
    return -front, -rear


def verdict_of(evidence: StepEvidence, found: Posterior) -> Verdict:
    """The claim the posterior bears."""
    return _verdict(found, _bent(evidence, found))


def _verdict(found: Posterior, bent: FittedLine | None, *, has_to_rise: bool = True) -> Verdict:
    if bent is not None:
        return Verdict.ONSET if not has_to_rise or _rises(bent) else Verdict.UNDECIDED
    if found.p_light > SURE:
        return Verdict.LIGHT
    if found.p_loaded > SURE:
        return Verdict.LOADED
    return Verdict.UNDECIDED


def _placed(evidence: StepEvidence, found: Posterior) -> bool:
    """Whether the interval lies between the second positions from either end."""
    low_mm, high_mm = interval_mm(found)
    inner_mm = evidence.positions_mm[1:-1]
    return len(inner_mm) > 1 and bool(inner_mm[-1] < low_mm and high_mm < inner_mm[0])


def _bent(evidence: StepEvidence, found: Posterior) -> FittedLine | None:
    """The line with its bend at the posterior's mean; None without a bend that is certain and in its place."""
    certain = found.p_onset > SURE and _placed(evidence, found)
    return line_through(evidence, -found.mean) if certain else None


def _rises(line: FittedLine) -> bool:
    """Whether hand load rises forward of the bend by more than could be called level."""
    return line.forward_n_per_mm > LEVEL * line.added_n_per_mm


def _reasons(
    verdict: Verdict,
    evidence: StepEvidence,
    found: Posterior,
    bent: FittedLine | None,
    gradual: bool,
    asked: NextRide | None,
) -> list[str]:
    if verdict is Verdict.LIGHT:
        return [f"the hands stay light as far forward as {evidence.positions_mm[-1]:g} mm: hand load does not rise"]
    if verdict is Verdict.LOADED:
        return ["the hands carry weight even at the rearmost position: sweep further back or check reach"]
    if bent is None:
        assert asked is not None
        return _why_undecided(evidence, found, asked)
    return _why_onset(evidence, found, bent, gradual) if verdict is Verdict.ONSET else _why_no_onset(bent)


def _why_onset(evidence: StepEvidence, found: Posterior, line: FittedLine, gradual: bool) -> list[str]:
    rises = f"rises by {line.forward_n_per_mm:.2f} N per mm forward of it"
    reasons = [f"hand load {_behind(line)} behind {line.bend_mm:.0f} mm and {rises}"]
    low_mm, high_mm = interval_mm(found)
    if high_mm - low_mm > WIDE_MM:
        reasons.append(
            f"its place is known only within {high_mm - low_mm:.0f} mm: a limit on coming forward, not a point"
        )
    if gradual:
        reasons.append("the rise is gradual: the onset named is the middle of the bend, it starts further back")
    return [*reasons, *_doubtful(evidence, found, gradual)]


def _behind(line: FittedLine) -> str:
    """What hand load does behind the bend, coming forward."""
    slope = line.slope_n_per_mm
    if abs(slope) < LEVEL * line.added_n_per_mm:
        return "is level"
    return f"{'rises' if slope > 0.0 else 'falls'} by {abs(slope):.2f} N per mm coming forward"


def _doubtful(evidence: StepEvidence, found: Posterior, gradual: bool = False) -> list[str]:
    """The step that does not fit a bend, if there is one; of a gradual rise not the one at the corner it has not."""
    odd_mm = _odd_mm(evidence, found)
    if not odd_mm or (gradual and abs(odd_mm[0] + found.mean) < gap_mm(evidence)):
        return []
    worst = int(np.argmax(found.p_shifted))
    return [f"step {worst + 1} at {odd_mm[0]:g} mm does not fit the others and hardly counts; ride it again"]


def _odd_mm(evidence: StepEvidence, found: Posterior) -> tuple[float, ...]:
    """Where the step lies that does not fit a bend; empty if all fit."""
    worst = int(np.argmax(found.p_shifted))
    return (float(evidence.setback_mm[worst]),) if found.p_shifted[worst] > DOUBTFUL else ()


def _why_no_onset(bent: FittedLine) -> list[str]:
    return [
        f"hand load {_behind(bent)} as far as {bent.bend_mm:.0f} mm and does not rise from there on: a bend, but "
        "no onset",
        f"{TO_SETTLE}see that reach and hands stayed as they were, and ride further forward",
    ]


def _why_undecided(evidence: StepEvidence, found: Posterior, asked: NextRide) -> list[str]:
    if found.p_onset > SURE:
        why = "hand load begins to rise, but where cannot be placed within the ridden positions"
    else:
        why = _told_apart(found)
    odd = [one.partition(";")[0] for one in _doubtful(evidence, found)]
    return [why, *odd, *what_settles(evidence, found, asked)]


def _told_apart(found: Posterior) -> str:
    shapes = (
        ("begins to rise within the sweep", found.p_onset),
        ("does not rise at all", found.p_light),
        ("rises all along", found.p_loaded),
    )
    likely, p = max(shapes, key=lambda shape: shape[1])
    if p > LIKELY:
        return f"most likely hand load {likely}, at {100 * p:.0f} %; a verdict needs more than {100 * SURE:.0f} %"
    first, second, third = (f"{shape} ({100 * share:.0f} %)" for shape, share in shapes)
    return f"the steps do not tell whether hand load {first}, {second} or {third}"
