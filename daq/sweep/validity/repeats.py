"""Places ridden more than once: the first one again, a sham step, and how far visits to one place scatter."""

from __future__ import annotations

import bisect
import math

import numpy as np

from daq.sweep.evidence import TORQUE_N_PER_NM, TORQUE_SPREAD
from daq.sweep.places import SAME_PLACE_MM, places
from daq.sweep.validity.effects import SIZE, Effect, errors_of, steadied
from daq.sweep.validity.saying import Number, failed, not_made, passed, places_said
from daq.sweep.validity.seen import Seen
from daq.values import Validity
from daq.words import counted, listed

SITS_AGAIN_N = 1.0
"""Standard deviation of hand load when a rider sits down and takes hold anew. Judgement, no source."""
SCATTERS_N = 1.7
"""More than this is reported where there is no verdict to lose. Of ten riders whose visits do not scatter, nine are
estimated below it."""
CLAMPED = "clamp the saddle at the same mark"
AT_THE_MARK = "clamp the saddle at the same mark, mark where the hands and the seat rest, and ride the sweep again"
UNKNOWING = "keep the rider from knowing the setback"
AT_THE_MARK_UNKNOWING = (
    f"clamp the saddle at the same mark, mark where the hands and the seat rest, {UNKNOWING}, and ride the sweep again"
)
BALANCED = 0.5
"""Correlation of time with setback up to which a steady drift hardly touches the onset."""
TO_TELL = f"ride a sham step and repeated places, or {UNKNOWING}"
UNTOLD = f"{UNKNOWING}, and ride the sweep again with a sham step"
EXPECTED_SIZE = 0.05
"""Share of riders who ride what they expect and are none the less taken, by a sham step, for riders who do not."""
OWN_SCATTER_MODELLED_FROM = 3
"""From this version of hinge-posterior on the interval itself holds a scatter between visits."""


def first_again(sweep: Seen) -> Validity:
    """The first position once more, later."""
    name, later = "first position again", [i for i in range(2, len(sweep.steps)) if sweep.same_place(0, i)]
    if not sweep.timed or not later:
        return not_made(
            name, "first position not ridden again: a drift is judged from the passes alone", "plan it once more, last"
        )
    last = later[-1]
    found = _difference(sweep, 0, last)
    if found is None:
        return not_made(name, "first position not compared: the steps' errors are not known")
    numbers = Number(found.value, "N", found.interval_95)
    minutes = sweep.minutes[last] - sweep.minutes[0]
    said = (
        f"at {sweep.setback_mm[0]:g} mm hand load is {found.value:+z.1f} N against "
        f"{counted(round(minutes), 'minute')} before"
    )
    if not found.beyond(0.0):
        return passed(name, f"{said}, no more than sway does", numbers)
    balanced = abs(np.corrcoef(sweep.setback_mm, sweep.minutes)[0, 1]) <= BALANCED
    means = f"{said}, more than sway does: the rider tired, or hands, seat or cells have shifted"
    if balanced:
        means += "; a steady drift is taken out by going out and back"
    cure = "rest, take the zero, and ride the sweep again out and back"
    return failed(name, means, cure, numbers, forbids=not balanced)


def sham(sweep: Seen) -> Validity:
    """The saddle loosened, moved and put back. What changes there is no effect of setback."""
    pairs = [(i - 1, i) for i in range(1, len(sweep.steps)) if sweep.ordered and sweep.same_place(i - 1, i)]
    unblinded = sweep.unblinded
    if not pairs:
        means, cure = _without_sham(sweep, "sham not ridden")
        if unblinded and sweep.suspects and sweep.rise_suspected:
            return failed("sham", means, UNTOLD, forbids=False)
        return not_made("sham", means, cure)
    found = [(pair, _difference(sweep, *pair)) for pair in pairs]
    known = [(pair, effect) for pair, effect in found if effect is not None]
    if not known:
        means, _ = _without_sham(sweep, "sham not compared, the steps' errors are not known")
        return not_made("sham", means, "give se_n, or ride more positions")
    pair, worst = max(known, key=lambda one: abs(one[1].value) / one[1].se)
    numbers = Number(worst.value, "N", worst.interval_95)
    said = f"the sham step at {sweep.setback_mm[pair[0]]:g} mm changed hand load by {worst.value:+z.1f} N"
    if worst.beyond(0.0, SIZE / len(known)):
        return failed(
            "sham",
            f"{said} though the saddle did not move: the rider reacts to being moved, or sits differently each time",
            f"{UNKNOWING}, settle longer, and ride the sweep again",
            numbers,
        )
    if unblinded and sweep.rise_suspected and not any(_tells(sweep, one) for one, _ in known):
        return failed(
            "sham",
            f"{said}; a rider who expects the rise, and knew the setback, would have shown as much",
            f"{UNKNOWING} and ride the sweep again with a sham step forward of the onset",
            numbers,
            forbids=sweep.rise_seen,
        )
    return passed("sham", f"{said}, no more than sway does", numbers)


def _without_sham(sweep: Seen, why: str) -> tuple[str, str]:
    """What remains unknown without a sham step, and what would tell it."""
    if not sweep.may_expect:
        return f"{why}: what handling the saddle does is not known", "plan a sham step"
    knew = "the rider knew" if sweep.conditions.blinded is False else "if the rider knew"
    return f"{why}: a rise can also come from expectation ({knew} the setback) or from handling the saddle", TO_TELL


def _tells(sweep: Seen, pair: tuple[int, int]) -> bool:
    """Whether expectation alone is ruled out as the cause: a rider who believes that the saddle was moved once more
    like the last time, by no more than the usual distance, and whose hands show the load of that place. The test is
    stricter where there is no verdict to lose."""
    i, again = pair
    if i == 0:
        return False
    here = -sweep.setback_mm[i]
    last = here + sweep.setback_mm[i - 1]
    moves = np.abs(np.diff(sweep.setback_mm[: i + 1]))
    usual = float(np.median(moves[moves > 0.0])) if moves.any() else 0.0
    moved = math.copysign(min(abs(last), usual), last)
    lacks = _more_there(sweep, again, here + moved)
    size = SIZE if sweep.suspects else EXPECTED_SIZE
    from scipy.special import ndtri

    return lacks.value * math.copysign(1.0, moved) > float(ndtri(1.0 - size)) * lacks.se


def _more_there(sweep: Seen, again: int, believed_mm: float) -> Effect:
    """Hand load at the ridden place nearest to the believed one, so many mm forward, less that of the sham's second
    visit. An expected rise may level off, within the positions or beyond them: the curve, which does not, would ask too
    much of the sham."""
    known = errors_of(sweep.levels, sweep.curve)
    assert known is not None
    nearest = int(np.argmin(np.abs(-sweep.setback_mm - believed_mm)))
    there = np.abs(sweep.setback_mm - sweep.setback_mm[nearest]) < SAME_PLACE_MM
    level_n, variance = steadied(sweep.levels, sweep.curve), known[0] ** 2 + SITS_AGAIN_N**2
    weight = 1.0 / variance[there]
    mean_n = float(weight @ level_n[there] / weight.sum())
    return Effect(mean_n - float(level_n[again]), math.sqrt(1.0 / weight.sum() + variance[again]), known[1])


def visits(sweep: Seen) -> Validity:
    """How far visits to one place scatter, against the strokes' own errors."""
    name = "visits"
    if sweep.suspects and sweep.answer.between_n > SCATTERS_N:
        return failed(
            name,
            f"steps scatter about any curve by some {sweep.answer.between_n:.1f} N more than their strokes explain: "
            "something changes from visit to visit that no stroke shows"
            + (", be it what a rider who knew the setback expects" if sweep.unblinded else ""),
            AT_THE_MARK_UNKNOWING if sweep.unblinded else AT_THE_MARK,
            Number(sweep.answer.between_n, "N"),
            forbids=False,
        )
    if sweep.levels.se_n is None:
        return not_made(name, "visits not compared: the steps' own errors are not known", "give se_n")
    groups = _groups(sweep)
    if not groups:
        if _stands_on_single_visits(sweep, groups):
            return _once_each(sweep)
        return not_made(name, "visits not compared: no place was ridden twice", "plan repeated positions")
    known = errors_of(sweep.levels, sweep.curve)
    assert known is not None
    variance = known[0] ** 2 + SITS_AGAIN_N**2
    level_n = steadied(sweep.levels, sweep.curve)
    freedom, total, own_n2 = 0, 0.0, 0.0
    for group in groups:
        weight = 1.0 / variance[group]
        mean_n = float(weight @ level_n[group] / weight.sum())
        total += float(weight @ (level_n[group] - mean_n) ** 2)
        own_n2 += float(variance[group].mean()) * (len(group) - 1)
        freedom += len(group) - 1
    from scipy.special import chdtri

    own_n = math.sqrt(own_n2 / freedom)
    sd_n = own_n * math.sqrt(total / freedom)
    low_n, high_n = (sd_n * math.sqrt(freedom / float(chdtri(freedom, p))) for p in (0.025, 0.975))
    ratio = f"{sd_n:.1f} N where their strokes and the saddle's placing explain {own_n:.1f} N"
    numbers = Number(sd_n, "N", (low_n, high_n))
    said = f"visits to one place scatter by {ratio}"
    if total <= float(chdtri(freedom, SIZE)):
        return _once_each(sweep) if _stands_on_single_visits(sweep, groups) else passed(name, said, numbers)
    where = listed([f"{sweep.setback_mm[group[0]]:g}" for group in groups])
    return failed(
        name,
        f"{said}, at {where} mm: something changes from visit to visit that no stroke shows",
        AT_THE_MARK,
        numbers,
        forbids=not _holds_scatter(sweep.answer.method),
    )


def _beside_mm(sweep: Seen) -> list[float]:
    """The positions next to the bend, behind it and ahead of it."""
    apart_mm = places(sweep.setback_mm).tolist()
    at = min(max(bisect.bisect_left(apart_mm, sweep.bend_mm), 1), len(apart_mm) - 1)
    return [apart_mm[at], apart_mm[at - 1]]


def _stands_on_single_visits(sweep: Seen, groups: list[list[int]]) -> bool:
    """Whether there is no verdict to lose, a rise well may be, and neither position beside it was ridden again."""
    again_mm = [float(sweep.setback_mm[group[0]]) for group in groups]
    suspected = sweep.suspects and sweep.conditions.finished and sweep.rise_suspected
    return suspected and not any(abs(mm - again) < SAME_PLACE_MM for mm in _beside_mm(sweep) for again in again_mm)


def _once_each(sweep: Seen) -> Validity:
    both_mm = _beside_mm(sweep)
    return failed(
        "visits",
        f"{places_said(both_mm)} mm were ridden once each: a saddle or hands put back otherwise at one of them would "
        "not show, and might look like a rise between them",
        CLAMPED,
        forbids=False,
        ride_mm=both_mm,
    )


def _holds_scatter(method: str) -> bool:
    """Whether the estimator's interval already holds a scatter between visits."""
    name, _, version = method.partition("/")
    return name == "hinge-posterior" and version.isdecimal() and int(version) >= OWN_SCATTER_MODELLED_FROM


def _groups(sweep: Seen) -> list[list[int]]:
    """Steps at one place, two or more each; a sham's two are one place as well."""
    found: list[list[int]] = []
    for i in range(len(sweep.steps)):
        for group in found:
            if sweep.same_place(group[0], i):
                group.append(i)
                break
        else:
            found.append([i])
    return [group for group in found if len(group) > 1]


def _difference(sweep: Seen, i: int, j: int) -> Effect | None:
    """Hand load of step j less that of step i at the same torque, with what sway, placing and sitting again make of
    it."""
    known = errors_of(sweep.levels, sweep.curve)
    if known is None:
        return None
    errors, freedom = known
    torque_nm = sweep.levels.torque_nm
    more_nm = 0.0 if torque_nm is None else float(torque_nm[j] - torque_nm[i])
    se = math.hypot(errors[i], errors[j], SITS_AGAIN_N * math.sqrt(2.0), TORQUE_SPREAD * more_nm)
    changed_n = float(sweep.levels.hands_n[j] - sweep.levels.hands_n[i]) - TORQUE_N_PER_NM * more_nm
    return Effect(changed_n, se, freedom)
