"""Why hand load rises as the saddle comes forward: the support budget of the simulated rider. An assumption.

About the hip the weight of the body turns the trunk down; the feet (their load times how far the hip is behind the
BB, and the crank torque), the saddle (its load point moves, up to a limit) and the hands hold it up:

    need  = weight moment - light hand load * lever
    avail = M_0 + |x_hip| * foot load + Q            less when posture costs leverage further forward
    hands = light + softplus(need - avail) / lever

While avail covers need, the hands stay light and a shift of the saddle's load point takes the rest. A passive rider
shows no onset; this one does, further forward with more torque and on a gradient.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from daq.physics import weight_normal_n
from daq.rider.body import legs_over_the_turn, upper_body
from daq.rider.confounds import NONE
from daq.rider.jig_geometry import JigGeometry
from daq.rider.model import RiderKind, RiderModel
from daq.values import Array

REAR_END_MM, FRONT_END_MM = 260.0, -60.0
"""Onsets are searched for between these; loaded riders have theirs behind."""
LOADED_ONSET_MM = 150.0
_STEP_MM = 0.5
"""Half of the central difference for derivatives along setback."""


@dataclass(frozen=True, slots=True)
class Posture:
    """One saddle position at one tilt, as statics needs it."""

    weight_normal_n: float
    com_m: tuple[float, float]
    """Centre of mass, mean over the turn."""
    hip_m: tuple[float, float]
    grip_m: tuple[float, float]
    seat_mm: float
    """The setback of the hips: the saddle's own, or less if they slide forward on it."""
    saddle_top_m: float
    tilt_rad: float

    @property
    def weight_line_m(self) -> float:
        """Where the line of weight crosses the jig's x axis, x_c - y_c tan t."""
        return self.com_m[0] - self.com_m[1] * math.tan(self.tilt_rad)

    @property
    def lever_m(self) -> float:
        """Hip to hands along the jig."""
        return self.grip_m[0] - self.hip_m[0]

    @property
    def hip_moment_nm(self) -> float:
        """Moment of the whole weight about the hip, positive turning the trunk down."""
        arm_m = self.com_m[0] - self.hip_m[0] - (self.com_m[1] - self.hip_m[1]) * math.tan(self.tilt_rad)
        return self.weight_normal_n * arm_m


def posture(model: RiderModel, geometry: JigGeometry, setback_mm: float, tilt_rad: float) -> Posture:
    """The rider at a setback, from the body's linkage. CannotReach if it cannot sit there."""
    seat_mm = model.confounds.seat_mm(setback_mm)
    hip, grip = geometry.hip_m(seat_mm), geometry.grip_m(setback_mm)
    body = model.body
    upper = upper_body(body, hip, grip)
    legs_com = legs_over_the_turn(body, hip, geometry.crank_m)
    com = (body.upper_mass_kg * upper.com_m + body.leg_mass_kg * legs_com) / body.mass_kg
    return Posture(
        weight_normal_n=weight_normal_n(body.mass_kg, math.degrees(tilt_rad)),
        com_m=(float(com[0]), float(com[1])),
        hip_m=(float(hip[0]), float(hip[1])),
        grip_m=(float(grip[0]), float(grip[1])),
        seat_mm=seat_mm,
        saddle_top_m=geometry.saddle_top_m(setback_mm),
        tilt_rad=tilt_rad,
    )


@dataclass(frozen=True)
class Budget:
    """The support budget of one rider on one jig."""

    model: RiderModel
    geometry: JigGeometry
    """The true jig: for a rider whose bar does not move, with the bar fixed."""
    support_nm: float
    """M_0, at the onset; infinite for a rider whose support never runs out."""
    leverage_nm_per_mm: float
    """Support lost per mm forward in addition to the loss of the feet's lever."""
    bend_nm: float
    light_lever_m: float | None = None
    """The lever at which light hands gain their slope; at another they gain it in inverse proportion. None: at any, as
    with the reach kept, where the lever stays."""

    def feet_n(self, at: Posture, torque_nm: Array | float) -> Array:
        """Mean foot load along the jig normal."""
        more_nm = np.asarray(torque_nm) - self.model.torque_nm
        return np.asarray(self.model.foot_share * at.weight_normal_n + self.model.foot_n_per_nm * more_nm)

    def light_n(self, at: Posture, torque_nm: Array | float) -> Array:
        """Hand load while support covers the need."""
        model = self.model
        forward_mm = self.geometry.reference_setback_mm - at.seat_mm
        more_nm = np.asarray(torque_nm) - model.torque_nm
        slope = model.light_slope_n_per_mm
        if self.light_lever_m is not None:
            slope *= self.light_lever_m / at.lever_m
        return np.asarray(model.light_hands_n + slope * forward_mm + model.light_torque_n_per_nm * more_nm)

    def excess_nm(self, at: Posture, torque_nm: Array | float) -> Array:
        """need - avail: positive when the hands have to take more."""
        need = at.hip_moment_nm - self.light_n(at, torque_nm) * at.lever_m
        support = self.support_nm + self.leverage_nm_per_mm * (at.seat_mm - self.model.onset_mm)
        return np.asarray(need - support + at.hip_m[0] * self.feet_n(at, torque_nm) - torque_nm)

    def hands_n(self, at: Posture, torque_nm: Array | float) -> Array:
        """Mean hand load, for one torque or an array."""
        light = self.light_n(at, torque_nm)
        if math.isinf(self.support_nm):
            return np.asarray(light)
        excess = self.excess_nm(at, torque_nm)
        if self.bend_nm > 0.0:
            excess = self.bend_nm * np.logaddexp(0.0, excess / self.bend_nm)
        return np.asarray(light + np.maximum(excess, 0.0) / at.lever_m)

    def onset_mm(self, tilt_rad: float, torque_nm: float) -> float | None:
        """The setback at which support just covers the need; None if there is none in the search range."""
        if not self.model.has_onset:
            return None

        def excess(setback_mm: float) -> float:
            at = posture(self.model, self.geometry, setback_mm, tilt_rad)
            return float(self.excess_nm(at, torque_nm))

        rear, front = self.reachable_mm(tilt_rad)
        if excess(rear) > 0.0 or excess(front) < 0.0:
            return None
        while rear - front > 1e-6:
            middle = 0.5 * (rear + front)
            rear, front = (middle, front) if excess(middle) <= 0.0 else (rear, middle)
        return 0.5 * (rear + front)

    def reachable_mm(self, tilt_rad: float) -> tuple[float, float]:
        """The rearmost and foremost setback the body can reach, to the centimetre."""
        reached = []
        for setback_mm in np.arange(FRONT_END_MM, REAR_END_MM + 1.0, 10.0):
            try:
                posture(self.model, self.geometry, float(setback_mm), tilt_rad)
            except ValueError:
                continue
            reached.append(float(setback_mm))
        return reached[-1], reached[0]


def budget(model: RiderModel, geometry: JigGeometry) -> Budget:
    """The budget that puts this rider's onset and slope where the model says, level and at the reference effort.

    The slope is that with the reach kept. With the bar fixed, the trunk rises as the saddle comes forward, so the need
    grows less; the posture-dependent loss of support is assumed to shrink in proportion, and so is what light hands
    gain.
    """
    geometry = replace(geometry, reach_kept=geometry.reach_kept and not model.confounds.bar_stays)
    sitting = replace(model, confounds=NONE)
    light_lever_m = _light_lever_m(sitting, geometry)
    if model.kind in (RiderKind.STRAIGHT, RiderKind.FLAT):
        return Budget(model, geometry, math.inf, 0.0, 0.0, light_lever_m)
    onset_mm = LOADED_ONSET_MM if model.kind is RiderKind.LOADED else model.onset_mm
    kept, here = _bare(sitting, replace(geometry, reach_kept=True)), _bare(sitting, geometry, light_lever_m)
    kept_nm_per_mm, here_nm_per_mm = _lost_nm_per_mm(kept, onset_mm), _lost_nm_per_mm(here, onset_mm)
    leverage = 0.0
    if model.slope_n_per_mm is not None:
        added = model.slope_n_per_mm - model.light_slope_n_per_mm
        lever_m = posture(sitting, kept.geometry, onset_mm, 0.0).lever_m
        leverage = (added * lever_m - kept_nm_per_mm) * here_nm_per_mm / kept_nm_per_mm
    at = posture(sitting, geometry, onset_mm, 0.0)
    support = float(here.excess_nm(at, model.torque_nm)) - leverage * (onset_mm - model.onset_mm)
    bend_nm = model.bend_mm * (here_nm_per_mm + leverage) if model.kind is RiderKind.GENTLE_BEND else 0.0
    return Budget(model, geometry, support, leverage, bend_nm, light_lever_m)


def _bare(model: RiderModel, geometry: JigGeometry, light_lever_m: float | None = None) -> Budget:
    return Budget(model, geometry, 0.0, 0.0, 0.0, light_lever_m)


def _light_lever_m(sitting: RiderModel, geometry: JigGeometry) -> float | None:
    """The lever that gives light hands their slope with the bar fixed: the moment they gain with each millimetre is to
    that with the reach kept as what geometry alone adds to the need is."""
    if geometry.reach_kept or sitting.light_slope_n_per_mm == 0.0:
        return None
    at_mm, level = geometry.reference_setback_mm, replace(sitting, light_slope_n_per_mm=0.0)
    kept_nm_per_mm, here_nm_per_mm = (
        _lost_nm_per_mm(_bare(level, replace(geometry, reach_kept=kept)), at_mm) for kept in (True, False)
    )
    return posture(sitting, geometry, at_mm, 0.0).lever_m * here_nm_per_mm / kept_nm_per_mm


def _lost_nm_per_mm(bare: Budget, at_mm: float) -> float:
    """What geometry alone adds to the need and subtracts from the support per mm forward."""
    rear, front = (
        float(bare.excess_nm(posture(bare.model, bare.geometry, s, 0.0), bare.model.torque_nm))
        for s in (at_mm + _STEP_MM, at_mm - _STEP_MM)
    )
    return (front - rear) / (2.0 * _STEP_MM)
