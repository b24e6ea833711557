"""Order: whether the saddle went both ways, and whether both ways tell the same.

A rider who adapts slowly carries a part of the last place's level over to the next, so that coming forward hand load
lags behind and going back it leads. A rider who tires, or who sits differently on the way back, differs at every place.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from daq.sweep.validity.conditions import Way
from daq.sweep.validity.effects import SIZE, Effect, effect_of
from daq.sweep.validity.saying import Number, failed, not_made, passed
from daq.sweep.validity.seen import Seen
from daq.sweep.validity.slow import SETTLE
from daq.values import Array, Validity

LEAST_N = 3.0
"""A smaller difference between the passes is not looked at: lag of 20 s makes 1.4 N, and out and back covers 40 s with
5 N (measured by simulation)."""
CHANGES_N = 1.0
"""Curves whose level changes by less from place to place say nothing about lag."""
TELLS_THE_SAME = 0.05
"""Size of the test by which passes are called the same. A sweep that fails it alone keeps its verdict: one clean sweep
in twenty does."""
LEADS = 9.0
"""Of two explanations the better one by so much in chi-square is told alone: three standard deviations."""
SURELY_SLOW = 0.9
BOTH_WAYS = "ride out and back: every second position coming forward, the others going back"


def direction(sweep: Seen) -> Validity:
    """Whether the saddle was moved both ways."""
    if not sweep.ordered:
        return not_made("direction", "order not stated: a drift cannot be told from an effect of setback", "give t_min")
    share = sweep.share_back
    if not sweep.one_way:
        return passed("direction", "the saddle was moved both ways", Number(share))
    if _goes_back_later(sweep):
        return not_made(
            "direction", "so far one way: the plan has the saddle go the other way too, and until then", forbids=True
        )
    if sweep.conditions.order not in ("", "one way") and "back" not in sweep.moves:
        return failed(
            "direction",
            "the sweep ended before the saddle went back, and until then a drift over time looks like an effect of "
            "setback",
            "go on with the sweep until the saddle has gone back as well",
            Number(share),
        )
    return failed(
        "direction",
        f"the saddle was moved one way only{_but_for(sweep.moves)}, so a drift over time or a hand that moved "
        "looks like an effect of setback",
        f"{BOTH_WAYS}, and mark where the hands rest",
        Number(share),
    )


def _goes_back_later(sweep: Seen) -> bool:
    """Whether the plan has the saddle go the other way too, and has not come to its end."""
    return not sweep.conditions.finished and sweep.conditions.order != "one way"


def _but_for(moves: Sequence[Way]) -> str:
    few = min(moves.count("forward"), moves.count("back"))
    return f" but for {few} of {len(moves)} moves" if few else ""


def passes(sweep: Seen) -> Validity:
    """Hand load going back less hand load coming forward, at the same place and time."""
    if not sweep.ordered or len({way for way in sweep.ways if way}) < 2:
        if _goes_back_later(sweep):
            return not_made("passes", "passes not compared yet: the saddle goes the other way later in this plan")
        return not_made("passes", "passes not compared: the saddle was not moved both ways", BOTH_WAYS)
    back = ways_as_numbers(sweep)
    level = effect_of(sweep.levels, sweep.curve, back)
    lag = _lag(sweep, back)
    found = [effect for effect in (level, lag) if effect is not None]
    if not found:
        return not_made("passes", "passes not compared: too few steps", "ride more positions")
    worst = max(found, key=lambda effect: abs(effect.value) / effect.se)
    numbers = Number(worst.value, "N", worst.interval_95)
    said = f"hand load going back is {worst.value:+z.1f} N against coming forward, at the same places"
    if not any(effect.beyond(LEAST_N, sweep.size / len(found)) for effect in found):
        if worst.beyond(LEAST_N, TELLS_THE_SAME):
            return passed("passes", f"{said}, which the steps' own scatter still explains", numbers)
        return passed("passes", f"both passes tell the same: {said}", numbers)
    why, cure = _why(level, lag, sum(p for tau_s, p in sweep.answer.p_lag if tau_s > 0.0))
    forbids = any(effect.beyond(LEAST_N, SIZE / len(found)) for effect in found)
    return failed("passes", f"the passes disagree: {said}; {why}", cure, numbers, forbids=forbids)


SLOW = "the rider carries a part of the last position's load over to the next, as one does who adapts slowly"
OTHERWISE = "the rider has tired, or sat or held the bar otherwise on the way back"
AS_BEFORE = (
    "rest, see that the seat and where the hands rest are as before, settle {settle}, and ride both passes again"
)


def _why(level: Effect | None, lag: Effect | None, p_slow: float) -> tuple[str, str]:
    """What makes the passes differ, and what cures it; both where neither explanation leads by enough. Lag has a
    sign. p_slow: the posterior's probability of a rider who follows slowly, which also knows the trends, but no rider
    who sat otherwise on the way back: alone it proves nothing."""
    of_lag = 0.0 if lag is None or lag.value < 0.0 else lag.value / lag.se
    of_level = 0.0 if level is None else abs(level.value) / level.se
    lag_leads = of_lag**2 - of_level**2
    if lag_leads > LEADS or (lag_leads > 0.0 and p_slow > SURELY_SLOW):
        return SLOW, SETTLE
    if -lag_leads > LEADS and p_slow <= SURELY_SLOW:
        return OTHERWISE, AS_BEFORE.format(settle="as long")
    return f"{SLOW}, or {OTHERWISE}: the two cannot be told apart here", AS_BEFORE.format(settle="60 s")


def ways_as_numbers(sweep: Seen) -> Array:
    """+1/2 going back, -1/2 coming forward, 0 where the saddle stayed: the coefficient is their difference."""
    return np.array([{"back": 0.5, "forward": -0.5, "": 0.0}[way] for way in sweep.ways])


def carried_over(sweep: Seen) -> Array:
    """The level of the place before less that of this one, N, by the fitted curve; 0 on the first step."""
    level = sweep.curve.at(sweep.levels.forward_mm)
    return np.append(0.0, level[:-1] - level[1:])


def _lag(sweep: Seen, back: Array) -> Effect | None:
    """What is carried over, as the mean difference of the passes it makes, N."""
    if not sweep.timed:
        return None
    carried = carried_over(sweep)
    apart = float(carried[back > 0.0].mean() - carried[back < 0.0].mean())
    if not apart > CHANGES_N:
        return None
    return effect_of(sweep.levels, sweep.curve, carried / apart)
