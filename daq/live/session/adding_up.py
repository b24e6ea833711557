"""Do the cells and the rider's mass agree: judged at every stroke, and by holds with the feet off the pedals."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from daq.measure.mechanics import shares
from daq.measure.sum_check import HOLD_S, NotStill, SumCheck, feet_off_check, hold_of, riding_check
from daq.physics import weight_normal_n
from daq.refusals import NotNow
from daq.values import Stroke

if TYPE_CHECKING:
    from daq.live.session.session import Session

FEET_OFF = "feet-off"


def sum_while_riding(session: Session, stroke: Stroke) -> SumCheck | None:
    """By the remainder of this stroke; None without a mass or with a load unknown."""
    mass_kg = session.rider.mass_kg
    if mass_kg is None or math.isnan(stroke.feet_n):
        return None
    tilt_deg = 0.0 if math.isnan(stroke.tilt_deg) else stroke.tilt_deg
    found = shares(stroke.hands_n, stroke.saddle_n, mass_kg=mass_kg, tilt_deg=tilt_deg, g_m_s2=session.rig.g_m_s2)
    return riding_check(found, stroke.cells_n, session.rig.cells)


async def take_hold(session: Session) -> SumCheck:
    """By the last seconds, the feet off the pedals, and the holds before since the zero; kept with the records.

    NotNow during a sweep and without a mass; NotStill when the rider moves.
    """
    session.refuse_during_sweep("a hold is taken")
    if session.rider.mass_kg is None:
        raise NotNow("the rider's mass is not known: keep the intake first")
    session.drain()
    newest = session.backlog.last(HOLD_S)
    if not newest:
        raise NotStill("the board sends nothing, so there is nothing to add up")
    cells_n, hands_n, saddle_n, tilts = (
        np.concatenate([getattr(each, name) for each in newest])
        for name in ("cells_n", "hands_n", "saddle_n", "tilt_deg")
    )
    hold_n = hold_of(cells_n, hands_n, saddle_n)
    tilt_deg = 0.0 if np.isnan(tilts).any() else float(tilts.mean())
    holds_n = [*session.desk.holds_n, hold_n]
    weight_n = weight_normal_n(session.rider.mass_kg, tilt_deg, session.rig.g_m_s2)
    found = feet_off_check(np.array(holds_n), session.rig.cells, weight_n)
    await session.accept(FEET_OFF, {"cells_n": hold_n.tolist(), "said": found.text})
    session.desk.holds_n = holds_n
    return found
