"""Where the rider's weight line passes, what the hands still carry, and the height of the centre of mass where it can
be computed.

Moments about the BB, means over whole strokes, jig frame of daq.values: N along the normal, T along +x, on the rider.
Single-axis cells do not see T; the weight line then has a bias that can only be estimated.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from daq.measure.calibration.coverage import coverage_factor
from daq.words import counted

FEET_TANGENTIAL_U_N = 12.0
"""Standard uncertainty of the mean force of the feet along x, which nothing measures. Assumption."""
FEET_TAKE = 0.6
"""The feet may balance any part of the hands' force along x, and the saddle the rest: 1/sqrt(3)."""
HANDS_TANGENTIAL_U_N = 20.0
"""The same for the hands if no cell measures it. Assumption."""
FEET_UNSEEN = (
    "the hands' force along the jig is measured, the saddle's is not: the feet may hold any part of it (an assumption)"
)
FEWEST_LEARNED = 5
CELLS_U_N = 2.0
"""Standard uncertainty of a mean load if its calibration does not state one. Assumption."""
PLACE_U_M = 0.005
"""Standard uncertainty of a load's point of action. Assumption."""
TORQUE_U = 0.02
"""Relative, of power sensors. Makers claim 1-2 %; from memory."""
HEIGHT_NEEDS_PCT = 15.0
"""Between the attitudes compared; over less, the height of the body cannot be told from errors of the cells."""


@dataclass(frozen=True, slots=True)
class Contact:
    """One support: where it acts, and the force there on the rider. Metres and newtons."""

    x_m: float
    y_m: float
    normal_n: float
    tangential_n: float | None = None
    """None: no cell measures it."""
    u_n: float = CELLS_U_N
    """Standard uncertainty of each force measured here."""


@dataclass(frozen=True, slots=True)
class UnseenHands:
    """The mean force of the hands along x if no cell measures it."""

    hands_n: float = 0.0
    hands_u_n: float = HANDS_TANGENTIAL_U_N
    source: str = "an assumption, not a measurement"

    @property
    def said(self) -> str:
        """A remark for every number that depends on it."""
        return (
            f"the hands' force along the jig is not measured: taken as {self.hands_n:z.0f} ± {self.hands_u_n:.0f} N "
            f"(standard uncertainty; {self.source})"
        )


def learned(hands_tangential_n: Sequence[float]) -> UnseenHands:
    """What single-axis rigs may assume for the hands' force along x, from means measured on rigs with tangential cells.
    The spread is that of one further rider, by Student's t for few measurements. ValueError for fewer than 5.
    """
    n = len(hands_tangential_n)
    if n < FEWEST_LEARNED:
        raise ValueError(f"expected at least {FEWEST_LEARNED} measured states to learn from, got {n}")
    wider = coverage_factor(n - 1.0) / coverage_factor(math.inf) * math.sqrt(1.0 + 1.0 / n)
    u_n = wider * float(np.std(hands_tangential_n, ddof=1))
    return UnseenHands(float(np.mean(hands_tangential_n)), max(u_n, CELLS_U_N), f"from {counted(n, 'state')} measured")


def learned_of_riders(riders_n: Sequence[Sequence[float]]) -> UnseenHands:
    """The same from the means of riders at one or more positions each. Fewer than 5 riders do not tell how riders
    differ: then the mean is theirs, and the uncertainty no less than the assumed one. ValueError for fewer than 5
    positions in all.
    """
    each_n = [float(np.mean(rider_n)) for rider_n in riders_n]
    if len(each_n) >= FEWEST_LEARNED:
        return replace(learned(each_n), source=f"from {counted(len(each_n), 'rider')} measured")
    positions_n = [mean_n for rider_n in riders_n for mean_n in rider_n]
    u_n = max(learned(positions_n).hands_u_n, HANDS_TANGENTIAL_U_N)
    measured = f"{counted(len(positions_n), 'position')} of {counted(len(each_n), 'rider')}"
    source = f"from {measured} measured, too few to tell how riders differ"
    return UnseenHands(float(np.mean(each_n)), u_n, source)


@dataclass(frozen=True, slots=True)
class WeightLine:
    """Where the line of weight crosses the jig's x axis through the BB."""

    x_m: float
    """As measured, without any correction."""
    u_m: float
    """Standard uncertainty of x_m minus bias_m."""
    single_axis: bool
    bias_m: float
    """Estimated error of x_m because tangential forces are not measured; 0 with tangential cells."""

    @property
    def estimate_m(self) -> float:
        """x_m minus its estimated bias: with single_axis an estimate, not a measurement."""
        return self.x_m - self.bias_m


def weight_line(
    hands: Contact,
    saddle: Contact,
    *,
    torque_nm: float,
    weight_normal_n: float,
    tilt_deg: float,
    unseen: UnseenHands = UnseenHands(),
) -> WeightLine:
    """X = [x_h N_h + x_s N_s - y_h T_h - y_s T_s + Q]/W', m forward of the BB; NaN when the torque is unknown.

    Without tangential cells the bias is ((y_h - y_s) T_h - y_s T_f)/W' + y_s tan t, estimated with T_f = 0 and T_h as
    in unseen, or as measured at the hands alone; the feet may balance any part of it, which is in the uncertainty. x_m
    has tangential forces in it only if hands and saddle both have them: one alone would be worse than none.
    """
    single_axis = hands.tangential_n is None or saddle.tangential_n is None
    moment = hands.x_m * hands.normal_n + saddle.x_m * saddle.normal_n + torque_nm
    u_places = PLACE_U_M * math.hypot(hands.normal_n, saddle.normal_n)
    u_moment = math.hypot(hands.u_n * hands.x_m, saddle.u_n * saddle.x_m, u_places, TORQUE_U * torque_nm)
    bias = 0.0
    if hands.tangential_n is not None and saddle.tangential_n is not None:
        moment -= hands.y_m * hands.tangential_n + saddle.y_m * saddle.tangential_n
        u_moment = math.hypot(u_moment, hands.u_n * hands.y_m, saddle.u_n * saddle.y_m)
    else:
        lever_m, (hands_n, hands_u_n) = hands.y_m - saddle.y_m, tangential_n(hands, unseen)
        feet_u_n = max(FEET_TANGENTIAL_U_N, FEET_TAKE * math.hypot(hands_n, hands_u_n))
        bias = lever_m * hands_n / weight_normal_n + saddle.y_m * math.tan(math.radians(tilt_deg))
        u_moment = math.hypot(u_moment, lever_m * hands_u_n, saddle.y_m * feet_u_n)
    return WeightLine(moment / weight_normal_n, u_moment / weight_normal_n, single_axis, bias)


def tangential_n(hands: Contact, unseen: UnseenHands) -> tuple[float, float]:
    """The hands' force along x and its standard uncertainty: as measured, otherwise as in unseen."""
    if hands.tangential_n is None:
        return unseen.hands_n, unseen.hands_u_n
    return hands.tangential_n, hands.u_n


def hands_off_deficit_nm(hands: Contact, saddle: Contact, unseen: UnseenHands = UnseenHands()) -> float:
    """The moment about the saddle's load point the hands still carry, N_h (x_h - x_s) - (y_h - y_s) T_h, N m.

    0 for a rider who could let go of the bar without moving. If no cell measures T_h: as in unseen.
    """
    along_n, _ = tangential_n(hands, unseen)
    return hands.normal_n * (hands.x_m - saddle.x_m) - (hands.y_m - saddle.y_m) * along_n


@dataclass(frozen=True, slots=True)
class ComHeight:
    """Height of the centre of mass over the BB along the jig normal, or why it is unavailable."""

    y_m: float | None
    u_m: float | None
    reason: str


def com_height(lines: Sequence[WeightLine], gradients_pct: Sequence[float]) -> ComHeight:
    """From the weight line at two or more tilts, same posture: X = x_c - y_c tan t, so y_c = -dX/d(tan t).

    Not available from single-axis cells (they give the height over the supports, not of the body) nor from gradients
    less than 15 % apart.
    """
    if any(line.single_axis for line in lines):
        return ComHeight(None, None, "not available: the cells do not measure forces along the jig")
    spread = max(gradients_pct) - min(gradients_pct) if gradients_pct else 0.0
    if spread < HEIGHT_NEEDS_PCT:
        return ComHeight(
            None,
            None,
            f"not available: the gradients are {spread:g} % apart, at least {HEIGHT_NEEDS_PCT:g} % are needed",
        )
    if any(math.isnan(line.x_m) for line in lines):
        return ComHeight(None, None, "not available: the crank torque is not known at every tilt")
    tangent = np.array(gradients_pct) / 100.0
    x = np.array([line.x_m for line in lines])
    u = np.array([line.u_m for line in lines])
    departures = tangent - tangent.mean()
    weights = departures / np.sum(departures**2)
    return ComHeight(-float(np.dot(weights, x)), float(np.sqrt(np.sum((weights * u) ** 2))), "")
