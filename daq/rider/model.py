"""A simulated rider: its parameters and the kinds of riders. Everything here is a model. Values follow what is known
about seated riding where anything is (see each field); slopes and leverage are assumptions, deliberately wide, for
development and teaching.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Iterable
from dataclasses import dataclass, field, fields, replace
from typing import Any

from daq.physics import crank_torque_nm
from daq.rider.body import Body
from daq.rider.confounds import NONE, Confounds
from daq.rider.named import Asked


class RiderKind(enum.StrEnum):
    """How hand load responds to setback."""

    HINGE = "hinge"
    """Level behind the onset, rising forward of it, with a corner between."""
    GENTLE_BEND = "gentle-bend"
    """The same with a round bend; the onset is its centre."""
    STRAIGHT = "straight"
    """A straight line through all setbacks: no onset."""
    FLAT = "flat"
    """Light at all setbacks: no onset."""
    LOADED = "loaded"
    """Loaded at all setbacks: the onset lies behind every one of them."""


LOADED_SLOPE_N_PER_MM, LOADED_FOOT_SHARE, LOADED_ARMS = 0.7, 0.27, 0.85
"""Of a loaded rider: slope, `foot_share`, `arm_extension` of the body. A trunk laid low over bent elbows and legs that
carry less are why the hands are loaded, and they leave the load point on the saddle. What the hands take, that point
answers by going back, here by 1.2 mm for each mm of coming forward. With the slope, legs and arms of the other kinds it
would go back by 6 and lie behind the saddle. Assumptions."""


@dataclass(frozen=True)
class RiderModel:
    """A complete simulated rider. Standard deviations are of a stationary process, correlation times its e-fold."""

    kind: RiderKind = RiderKind.HINGE
    body: Body = field(default_factory=Body)
    onset_mm: float = 52.0
    """Level and at the reference effort; it moves with gradient and torque. Unused by straight and flat riders."""
    slope_n_per_mm: float | None = 0.35
    """Hand load gained per mm forward of the onset with the reach kept. None: what the feet's lever gives."""
    light_hands_n: float = 90.0
    """Hand load at the reference setback and effort while the legs and hips carry the trunk."""
    light_slope_n_per_mm: float = 0.0
    """Hand load gained per mm forward while light; for a straight rider, everywhere."""
    bend_mm: float = 0.0
    """Scale of a gentle-bend rider's bend: the slope grows from 12 to 88 % of its end value over four times this."""
    power_w: float = 200.0
    cadence_rpm: float = 90.0
    """The reference effort, ridden unless another is requested."""
    foot_share: float = 0.33
    """Of the weight along the jig normal, at the reference effort."""
    foot_n_per_nm: float = 3.0
    """Foot load gained per N m of crank torque."""
    light_torque_n_per_nm: float = 0.0
    """Change of the light hand load per N m of crank torque."""
    sway_n: float = 4.0
    """Standard deviation of the slow wander of hand load, 3-8 N."""
    sway_s: float = 3.0
    """Its correlation time, 2-10 s."""
    side_sway_n: float = 4.0
    """Standard deviation of the load that sways from the left hand to the right."""
    drift_n_per_min: float = 0.0
    """Hand load gained per minute of riding, up to about 1 N."""
    power_wander_w: float = 3.0
    """Standard deviation of held power about the requested one."""
    power_wander_s: float = 6.0
    cadence_wander_rpm: float = 0.8
    cadence_wander_s: float = 8.0
    settle_n: float = 10.0
    """Excess hand load right after a move of 5 mm or more; in proportion after a smaller one."""
    settle_s: float = 6.0
    """Time until 5 % of that is left, 5-15 s."""
    hand_shifts_per_min: float = 0.0
    hand_shift_n: float = 15.0
    hand_shift_s: float = 4.0
    """A hand shift changes hand load by this much for this long."""
    hands_ripple_n_per_nm: float = 2.3
    """Hand load taken off per N m of torque above its mean: 20-40 N twice a turn at 200-300 W."""
    saddle_ripple_n_per_nm: float = 3.0
    rock_n: float = 8.0
    """Once-a-turn load from hand to hand as the body rocks."""
    stroke_spread: float = 0.04
    """Standard deviation of stroke to stroke scatter of the torque ripple, a fraction of it."""
    torque_phase_deg_per_10mm: float = -0.84
    """Where in the turn the torque peaks, per 10 mm further back: negative is earlier (geometry alone), positive is
    later (a hypothesis)."""
    top_weakening_per_10mm: float = 0.0
    """Growth of the torque ripple per 10 mm further back, a fraction: the dead spots deepen. A hypothesis."""
    confounds: Confounds = NONE

    def __post_init__(self) -> None:
        object.__setattr__(self, "kind", RiderKind(self.kind))
        for name, low, high in _LIMITS:
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and low <= value <= high):
                raise ValueError(f"{name}: expected {low:g} to {high:g}, got {value:g}")
        if self.kind is RiderKind.GENTLE_BEND and self.bend_mm <= 0.0:
            raise ValueError("bend_mm: a gentle-bend rider needs the width of the bend, more than 0")

    @property
    def has_onset(self) -> bool:
        return self.kind in (RiderKind.HINGE, RiderKind.GENTLE_BEND)

    @property
    def torque_nm(self) -> float:
        """Mean crank torque of the reference effort."""
        return torque_of(self.power_w, self.cadence_rpm)


def torque_of(power_w: float, cadence_rpm: float) -> float:
    """Mean crank torque, Q = 60 P / (2 pi n), N m; 0 for a standing crank."""
    return crank_torque_nm(power_w, cadence_rpm) if cadence_rpm > 0 else 0.0


_LIMITS = (
    ("onset_mm", -50.0, 250.0),
    ("slope_n_per_mm", 0.02, 3.0),
    ("light_hands_n", 0.0, 400.0),
    ("light_slope_n_per_mm", -2.0, 2.0),
    ("bend_mm", 0.0, 40.0),
    ("power_w", 0.0, 600.0),
    ("cadence_rpm", 20.0, 180.0),
    ("foot_share", 0.05, 0.7),
    ("foot_n_per_nm", 0.0, 8.0),
    ("light_torque_n_per_nm", -5.0, 1.0),
    ("sway_n", 0.0, 30.0),
    ("sway_s", 0.05, 60.0),
    ("side_sway_n", 0.0, 30.0),
    ("drift_n_per_min", -10.0, 10.0),
    ("power_wander_w", 0.0, 60.0),
    ("power_wander_s", 0.05, 60.0),
    ("cadence_wander_rpm", 0.0, 10.0),
    ("cadence_wander_s", 0.05, 60.0),
    ("settle_n", -80.0, 80.0),
    ("settle_s", 0.1, 60.0),
    ("hand_shifts_per_min", 0.0, 30.0),
    ("hand_shift_n", -200.0, 200.0),
    ("hand_shift_s", 0.1, 60.0),
    ("hands_ripple_n_per_nm", 0.0, 10.0),
    ("saddle_ripple_n_per_nm", 0.0, 15.0),
    ("rock_n", 0.0, 80.0),
    ("stroke_spread", 0.0, 0.5),
    ("torque_phase_deg_per_10mm", -10.0, 10.0),
    ("top_weakening_per_10mm", -0.2, 0.2),
)

DEMO = RiderModel(slope_n_per_mm=1.5, light_torque_n_per_nm=-1.3, sway_n=3.0, sway_s=2.5, drift_n_per_min=0.2)
"""A rider with an onset at about 52 mm, steep enough to show in one sweep from 80 to 30 mm."""


def rider_of_kind(kind: RiderKind | str, model: RiderModel = DEMO) -> RiderModel:
    """The same rider with another response to setback."""
    kind = RiderKind(kind)
    if kind is RiderKind.STRAIGHT and model.light_slope_n_per_mm == 0.0:
        return replace(model, kind=kind, light_slope_n_per_mm=0.5)
    if kind is RiderKind.GENTLE_BEND and model.bend_mm == 0.0:
        return replace(model, kind=kind, bend_mm=5.0)
    if kind is RiderKind.LOADED:
        body = replace(model.body, arm_extension=LOADED_ARMS)
        slope_n_per_mm, foot_share = LOADED_SLOPE_N_PER_MM, LOADED_FOOT_SHARE
        return replace(model, kind=kind, body=body, slope_n_per_mm=slope_n_per_mm, foot_share=foot_share)
    return replace(model, kind=kind)


def rider_with(model: RiderModel, asked: Iterable[Asked]) -> RiderModel:
    """The same rider with these confounds added. ValueError for an impossible size."""
    own = {field.name for field in fields(RiderModel)}
    sizes: dict[str, Any] = {each.named.sets: each.size for each in asked}
    wrong = {name: _typed(name, size) for name, size in sizes.items() if name not in own}
    ridden = {name: size for name, size in sizes.items() if name in own}
    return replace(model, confounds=replace(model.confounds, **wrong), **ridden)


def _typed(name: str, size: float) -> Any:
    return bool(size) if isinstance(getattr(NONE, name), bool) else size
