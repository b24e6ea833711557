"""Whether the rider's posture kept up with the saddle, and whether the rider tired.

The first is read off the posterior, which weighs time constants by means, passes and trends at once; tests of single
effects see it in one of three sweeps where it sees it in all. The second is a load gained over the whole sweep,
whatever the setback. A steady gain is taken out by going out and back; told it has to be all the same, because it
costs.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from daq.sweep.validity.effects import effects_of
from daq.sweep.validity.saying import Number, failed, not_made, passed
from daq.sweep.validity.seen import Seen
from daq.values import Array, Validity, Verdict

LIKELY = 0.5
SUSPECT = 0.26
"""Twice the odds there were beforehand (`WidePriors.lag`): told where there is no verdict anyway."""
MOVES = 2.0
"""With a time constant longer than this many times the interval between moves no position reaches its level, and where
load rises all along, the levels bend by themselves (of straight riders with 120 s, 5 in 100 were given an onset)."""
SURE_OF_A_SLOW_RIDER = 0.95
"""P(onset) that an onset of a rider who follows slowly needs. Relaxation with one of five time constants is only about
how posture follows, and what it leaves over bends a straight rise: of straight riders with 60 s, between two of them,
2.5 in 100 were above 90 %; nearly all bent ones are above 97 %."""
SETTLE = "settle 60 s at each position, and ride the sweep again"
TIRED_N = 8.0
"""Less over a sweep is not called tiring: 1 N/min occurs in 8 minutes. Judgement."""
LATE, SATURATING = 2.0, 3.0
"""Shapes: nothing in the first half and a rise in the second; a rise of which 95 % is gained by the end."""


def lag(sweep: Seen) -> Validity:
    """How slowly hand load follows a move, by the posterior."""
    if sweep.conditions.dummy:
        return not_made("lag", "lag not looked at: a dummy has no posture to follow with")
    known = sweep.answer.p_lag
    if len(known) < 2:
        return not_made("lag", "lag not looked at: times of the positions, or a method that knows it, are missing")
    if sweep.answer.verdict is Verdict.LIGHT:
        return not_made(
            "lag", "lag not looked at: hand load does not rise, so nothing shows how fast it follows a move"
        )
    p_slow = 1.0 - sum(p for tau_s, p in known if tau_s == 0.0)
    tau_s = sum(tau_s * p for tau_s, p in known) / max(p_slow, 1e-12)
    number = Number(p_slow)
    said = f"hand load follows a move with a time constant of about {tau_s:.0f} s, at {100 * p_slow:.0f} %"
    if p_slow > (SUSPECT if sweep.suspects else LIKELY):
        long = p_slow > LIKELY and tau_s > MOVES * sweep.between_moves_s
        bent = sweep.answer.verdict is Verdict.ONSET and sweep.answer.p_onset < SURE_OF_A_SLOW_RIDER
        means = f"{said}: the rider adapts slowly"
        if long:
            means += ", and reached the level of no position"
        elif bent:
            means += (
                f", so a straight rise may look bent: an onset then needs {100 * SURE_OF_A_SLOW_RIDER:.0f} %, and has "
                f"{100 * sweep.answer.p_onset:.0f} %"
            )
        elif sweep.decided and sweep.answer.verdict is Verdict.ONSET:
            means += "; the slopes are told as the steps show them, smaller than where hand load has arrived"
        return failed("lag", means, SETTLE, number, forbids=long or bent)
    return passed("lag", f"hand load follows the saddle at once, at {100 * (1.0 - p_slow):.0f} %", number)


def fatigue(sweep: Seen) -> Validity:
    """Hand load gained over the sweep beside the curve: steadily, late, or soon."""
    if not sweep.timed:
        return not_made("fatigue", "fatigue not looked at: the steps' times are not known", "give t_min")
    found = [effect for effect in effects_of(replace(sweep.levels, minutes=None), sweep.curve, shapes(sweep)) if effect]
    if not found:
        return not_made("fatigue", "fatigue not looked at: too few steps", "ride more positions")
    gained = max(found, key=lambda effect: abs(effect.value) / effect.se)
    number = Number(gained.value, "N", gained.interval_95)
    said = f"over the sweep hand load changed by {gained.value:+z.0f} N whatever the setback"
    if not gained.beyond(0.5 * TIRED_N if sweep.suspects else TIRED_N, sweep.size / len(found)):
        return passed("fatigue", said, number)
    return failed(
        "fatigue",
        f"{said}: the rider tired or sat otherwise with time, or the cells crept; going out and back takes out what is "
        "steady of it",
        "rest, take the zero, and ride the sweep again out and back",
        number,
        forbids=False,
    )


def shapes(sweep: Seen) -> Array:
    u = (sweep.minutes - sweep.minutes.min()) / np.ptp(sweep.minutes)
    late = np.maximum(LATE * u - (LATE - 1.0), 0.0)
    return np.column_stack([u, late, -np.expm1(-SATURATING * u) / -math.expm1(-SATURATING)])
