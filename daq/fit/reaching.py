"""Whether the client's own bicycle can reach a setback, and what that takes at the rails and the post."""

from __future__ import annotations

import math
from dataclasses import dataclass

from daq.fit.intake import Saddle, SeatPost
from daq.fit.stepping import over_bb_mm, seat_of
from daq.measure.bicycle import SeatMount, reachable
from daq.measure.geometry import rails_back


@dataclass(frozen=True, slots=True)
class Reaching:
    """The answer in words; reachable is None if unknown."""

    reachable: bool | None
    text: str
    move: str = ""
    """What to do from where the saddle is now; empty if that is unknown."""


def reaching(post: SeatPost | None, saddle: Saddle, setback_mm: float | None, height_mm: float | None) -> Reaching:
    """For a setback with the saddle's top height_mm from the BB along the seat tube."""
    if setback_mm is None:
        return Reaching(None, "no setback is chosen yet")
    if post is None:
        return Reaching(
            None, "not known: seat tube, post and rails of the own bicycle were not entered (client screen)"
        )
    if post.rails_front_mm is None or post.rails_rear_mm is None:
        return Reaching(None, "not known: the clamp marks on the rails were not entered (client screen)")
    if height_mm is None:
        return Reaching(None, "not known: the saddle's height was not measured")
    found = reachable(
        _mount(post, post.rails_front_mm, post.rails_rear_mm),
        setback_mm=setback_mm,
        saddle_height_mm=over_bb_mm(height_mm, post.seat_tube_deg),
    )
    return Reaching(found.reachable, found.text, _move(post, saddle, setback_mm))


def limits_mm(post: SeatPost | None, saddle: Saddle) -> tuple[float, float] | None:
    """Foremost and rearmost setback the own bicycle allows at its present height; None if that is not known."""
    if post is None or post.rails_front_mm is None or post.rails_rear_mm is None:
        return None
    if saddle.height_mm is None or saddle.setback_mm is None:
        return None
    over_mm = over_bb_mm(saddle.height_mm, post.seat_tube_deg)
    mount = _mount(post, post.rails_front_mm, post.rails_rear_mm)
    found = reachable(mount, setback_mm=saddle.setback_mm, saddle_height_mm=over_mm)
    return found.foremost_mm, found.rearmost_mm


def _mount(post: SeatPost, front_mm: float, rear_mm: float) -> SeatMount:
    return SeatMount(
        seat_tube_deg=post.seat_tube_deg,
        post_offset_mm=post.post_offset_mm,
        clamp_below_saddle_mm=post.clamp_below_saddle_mm,
        reference_to_rails_front_mm=front_mm,
        reference_to_rails_rear_mm=rear_mm,
    )


def _move(post: SeatPost, saddle: Saddle, setback_mm: float) -> str:
    """Along the rails and along the seat tube, keeping the leg's extension: both at once, because the post leans."""
    if saddle.setback_mm is None or saddle.height_mm is None:
        return ""
    seat = seat_of(saddle.setback_mm, saddle.height_mm, saddle, post.seat_tube_deg)
    raise_mm = seat.at(setback_mm).height_mm - seat.height_mm
    rails_mm = setback_mm - saddle.setback_mm - raise_mm / math.tan(math.radians(post.seat_tube_deg))
    post_mm = rails_back(seat, rails_mm, post.seat_tube_deg).post_mm
    way, out = ("back" if rails_mm > 0.0 else "forward"), ("out" if post_mm > 0.0 else "in")
    return (
        f"from where it is now: {abs(rails_mm):.0f} mm {way} on the rails, post {abs(post_mm):.0f} mm {out}, "
        "the leg's extension kept"
    )
