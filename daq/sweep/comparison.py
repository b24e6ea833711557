"""Two sweeps side by side: how far the onset of B lies from the onset of A, with its interval.

Level against a climb, before against after, saddle A against saddle B. The difference has the posterior of two
independent sweeps: every pair of positions, weighted by both probabilities, and widened by how far two sweeps of an
unchanged rider scatter. No difference is stated if one of the sweeps names no onset.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.sweep.another_day import DETECTABLE
from daq.sweep.bend import bend_of
from daq.sweep.evidence import StepEvidence, gathered, torque_effect
from daq.sweep.line import line_through
from daq.sweep.pooled import pooled
from daq.sweep.posterior import GRID_MM, Posterior
from daq.sweep.spreads import JUDGED, Spreads
from daq.sweep.verdict import verdict_of
from daq.values import Z_95, Array, StepMean, Verdict

SURE = 0.975
"""One side of the 95 % interval: a direction is stated where the interval leaves out no difference."""
LEAST_ADDED_N_PER_MM = 0.05
"""A smaller rise could produce a shift of any length."""
SAME_TORQUE_NM = 0.05
"""A smaller difference, at 7 to 14 mm of setback per newton metre, moves no onset by a whole millimetre."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """The onset of B minus the onset of A, as setbacks: positive when B's lies further back."""

    difference_mm: float | None
    interval_95_mm: tuple[float, float] | None
    p_further_back: float | None
    """Probability that B's onset lies further back."""
    detectable_mm: float | None
    """Two such sweeps of an unchanged rider differ by less 19 times in 20: the minimal detectable change."""
    torque_difference_nm: float | None
    """Mean crank torque of B minus that of A."""
    torque_alone_mm: float | None
    """What that torque difference alone would have done to the onset; the rest of the shift has another cause."""
    torque_alone_95_mm: tuple[float, float] | None
    """The same over the uncertainty of the torque's effect, extended to 0: torque that changes hand load equally on
    both sides of the onset does not move it at all. The slope forward of the onset is taken as fitted."""
    reasons: tuple[str, ...]


def compare(
    a: Sequence[StepMean],
    b: Sequence[StepMean],
    *,
    same_session: bool = True,
    names: tuple[str, str] = ("A", "B"),
    scatter: Spreads = JUDGED,
) -> Comparison:
    """B compared with A. ValueError if one of them cannot be answered (too few positions, invalid numbers)."""
    evidence = [gathered(steps) for steps in (a, b)]
    found = [bend_of(each) for each in evidence]
    cautions = [] if same_session else [
        "the sweeps are from different sessions: the scatter between days is in the interval; another saddle, other "
        "shoes, hand position or mounting are not"
    ]  # fmt: skip
    torque_nm = _torque_difference(a, b)
    without = [
        name
        for name, each, bend in zip(names, evidence, found, strict=True)
        if verdict_of(each, bend) is not Verdict.ONSET
    ]
    if without:
        reason = f"no difference can be given: {' and '.join(without)} has no onset within its positions"
        return Comparison(None, None, None, None, torque_nm, None, None, (reason, *cautions))
    apart_mm2 = scatter.of_difference_mm2(same_day=same_session)
    shift, p = _scattered(*_difference(*found), math.sqrt(apart_mm2))
    detectable_mm = DETECTABLE * math.sqrt(float(p @ (shift - shift @ p) ** 2))
    low, high = np.interp([0.025, 0.975], np.cumsum(p), shift).tolist()
    further = float(p[shift > 0.0].sum() + 0.5 * p[np.abs(shift) < 0.5 * GRID_MM].sum())
    reasons = [_sentence(names, float(shift @ p), low, high, further)]
    if torque_nm is None:
        alone_mm, alone_95_mm = None, None
        reasons.append("crank torque is not known in both sweeps: what it did to the onset cannot be said")
    else:
        alone_mm, alone_95_mm = _torque_alone(torque_nm, evidence, found, (a, b))
        reasons.append(_torque_sentence(names, torque_nm, alone_mm, alone_95_mm))
    reasons += [_detectable_sentence(detectable_mm, same_session), *cautions]
    shift_mm = float(shift @ p)
    return Comparison(shift_mm, (low, high), further, detectable_mm, torque_nm, alone_mm, alone_95_mm, tuple(reasons))


def _difference(a: Posterior, b: Posterior) -> tuple[Array, Array]:
    """Setback of B's bend minus A's on a grid of GRID_MM, mm, and the probability of each."""
    (start_a, p_a), (start_b, p_b) = (_on_grid(each) for each in (a, b))
    p = np.convolve(p_b[::-1], p_a)
    first = -(start_b + len(p_b) - 1) + start_a
    return np.asarray(GRID_MM * (first + np.arange(len(p)))), np.asarray(p / p.sum())


def _scattered(shift: Array, p: Array, sd_mm: float) -> tuple[Array, Array]:
    """The same after a normal error with this sd, on a grid wide enough for it."""
    if sd_mm == 0.0:
        return shift, p
    reach = math.ceil(6.0 * sd_mm / GRID_MM)
    error = np.exp(-0.5 * (np.arange(-reach, reach + 1) * GRID_MM / sd_mm) ** 2)
    wide = np.convolve(p, error / error.sum())
    return np.asarray(shift[0] + GRID_MM * (np.arange(len(wide)) - reach)), np.asarray(wide)


def _on_grid(found: Posterior) -> tuple[int, Array]:
    """The probability of cells of a common grid, and the number of the first one."""
    first, last = (round(edge / GRID_MM) for edge in (found.c[0], found.c[-1]))
    cells = GRID_MM * np.arange(first, last + 1)
    edges = np.interp(np.append(cells - 0.5 * GRID_MM, cells[-1] + 0.5 * GRID_MM), found.c, found.cumulative)
    return first, np.diff(edges)


def _torque_difference(a: Sequence[StepMean], b: Sequence[StepMean]) -> float | None:
    means = [np.mean([step.crank_torque_nm for step in steps]) for steps in (a, b)]
    return float(means[1] - means[0]) if np.isfinite(means).all() else None


def _torque_alone(
    torque_nm: float,
    evidence: Sequence[StepEvidence],
    found: Sequence[Posterior],
    sweeps: Sequence[Sequence[StepMean]],
) -> tuple[float, tuple[float, float]]:
    """Shift of the onset as setback by so much torque, mm: hand load per torque over hand load per millimetre.

    More torque at the pedals carries more of the trunk, so the onset comes further forward: negative. The 95 % interval
    is that of the torque's effect in the less certain of the two sweeps; it extends to 0, since torque may lighten the
    hands on both sides of the onset without moving it.
    """
    added = np.mean([line_through(e, -f.mean).added_n_per_mm for e, f in zip(evidence, found, strict=True)])
    effects, sds = zip(*(torque_effect(pooled(steps)) for steps in sweeps), strict=True)
    effect, sd = float(np.mean(effects)), max(sds)
    per_n = torque_nm / max(float(added), LEAST_ADDED_N_PER_MM)
    ends = per_n * (effect - Z_95 * sd), per_n * (effect + Z_95 * sd), 0.0
    return per_n * effect, (min(ends), max(ends))


def _sentence(names: tuple[str, str], shift: float, low: float, high: float, further: float) -> str:
    span = f"{shift:+z.1f} mm, 95 % interval {low:+z.1f} to {high:+z.1f} mm"
    if further > SURE:
        return f"the onset of {names[1]} lies further back than that of {names[0]}: {span}"
    if further < 1.0 - SURE:
        return f"the onset of {names[1]} lies further forward than that of {names[0]}: {span}"
    return f"no difference between the onsets of {names[0]} and {names[1]} is shown: {span}"


def _detectable_sentence(detectable_mm: float, same_session: bool) -> str:
    when = "of one day" if same_session else "on two days"
    return f"two such sweeps {when} of an unchanged rider differ by up to {detectable_mm:.1f} mm"


def _torque_sentence(
    names: tuple[str, str], torque_nm: float, alone_mm: float, alone_95_mm: tuple[float, float]
) -> str:
    if abs(torque_nm) < SAME_TORQUE_NM:
        return f"crank torque was the same in both sweeps, within {SAME_TORQUE_NM:g} N m"
    least, most = (f"{round(mm) + 0:+d}" for mm in alone_95_mm)
    more = f"{abs(torque_nm):.1f} N m {'higher' if torque_nm > 0.0 else 'lower'}"
    if least == most:
        return f"crank torque was {more} in {names[1]}; that alone moves an onset by less than a millimetre"
    return (
        f"crank torque was {more} in {names[1]}; that alone would have moved the onset by {round(alone_mm) + 0:+d} mm, "
        f"anything from {least} to {most} (positive: further back)"
    )
