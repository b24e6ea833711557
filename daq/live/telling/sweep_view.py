"""What a page is shown of the sweep: how it stands, its steps, the answer. It reads and never changes anything."""

from __future__ import annotations

import math
from typing import Any

from daq.fit.setting import Placed
from daq.fit.step_notes import by_place
from daq.fit.stepping import stepping
from daq.keep.json_text import plain
from daq.live.session.session import Session
from daq.live.telling.pains import pains_told
from daq.physics import power_w
from daq.sweep.onset import fitted_line, rise_n_per_mm, standard_errors
from daq.sweep.plan import Plan
from daq.sweep.status import SweepStatus

_PLAN_FIELDS = (
    *("label", "order", "protocol", "height_policy", "bar_height_policy", "gradient_pct"),
    *("power_w", "cadence_rpm", "settle_s", "dwell_s", "blinded", "purpose", "loaded_chance", "chance_of"),
)
_STEP_FIELDS = ("setback_mm", "hand_load_n", "t_min", "crank_torque_nm", "saddle_load_n", "tilt_deg", "excluded")


def sweep_status(session: Session) -> dict[str, Any]:
    """How the sweep stands; empty without a sweep."""
    progress, clock = session.sweep.progress, session.acquisition.clock
    if progress is None:
        return {}
    now_s = clock.now_us() / 1e6
    plan, now = progress.plan, progress.status(now_s)
    saddle = session.visit.saddle()
    spoken_of, remarks = progress.spoken_of, session.acquisition.ride.remarks
    return {
        **plain(now),
        "accepts": plain(session.sweep.accepts),
        "why_waiting": session.acquisition.pipeline.stall(now_s) or now.why_waiting,
        "seconds_left": now.seconds_left / clock.pace,
        "sweep_id": session.sweep.id,
        "steps_planned": len(plan.positions_mm),
        **{name: getattr(plan, name) for name in _PLAN_FIELDS},
        "noted_step": spoken_of,
        "notes": {} if spoken_of is None else remarks.notes.get(spoken_of, {}),
        "pain": remarks.pain,
        "pain_told": remarks.told,
        "over": remarks.over,
        "pains": pains_told(remarks.pains),
        "measured_to": None if saddle is None else saddle.reference,
        "stepping": plain(stepping(plan, now.asked_setback_mm, saddle)),
        "target": _placed_fields(session.placing.target()),
        "set": _set_fields(session),
        "measured": session.placing.measured() or None,
        "typed": session.typed.fields(),
        "outlook": plain(session.outlooks.now),
        "may_go_on": session.sweep.may_go_on,
        "to_settle": plain(session.undecided.more),
        "torque_band_nm": _around(plan.torque_nm, plan.torque_band_nm),
        "effort": _effort(plan, now),
        "power_band_w": plan.power_band_w,
        "cadence_band_rpm": _around(plan.cadence_rpm, plan.cadence_band_rpm),
    }


def place_at(session: Session, setback_mm: float) -> dict[str, Any] | None:
    """Where the rest of the jig belongs at another setback than the requested one. NotNow without a sweep."""
    return _placed_fields(session.placing.place_at(setback_mm))


def steps(session: Session) -> list[dict[str, Any]]:
    """The finished steps with what was noted of them, and the pooled model's standard errors when there are any."""
    progress = session.sweep.progress
    if progress is None or not progress.steps:
        return []
    notes = by_place(session.acquisition.ride.remarks.notes, progress)
    return [
        {
            "index": i,
            **{name: plain(getattr(step, name)) for name in _STEP_FIELDS},
            "se_n": plain(float(se_n)),
            "strokes": len(step.strokes),
            "notes": notes.get(i, {}),
            "setting": _placed_fields(session.placing.as_set(step.setback_mm, step.setting)),
            "u_setback_mm": plain(step.u_setback_mm),
        }
        for i, (step, se_n) in enumerate(zip(progress.steps, standard_errors(progress.steps), strict=True))
    ]


def onset_fields(session: Session) -> dict[str, Any]:
    """The answer so far with the line to draw; empty before there is one."""
    answer, progress = session.acquisition.ride.onset, session.sweep.progress
    if answer is None or progress is None:
        return {}
    setback_mm, hand_load_n = fitted_line(progress.steps, answer)
    return {
        **plain(answer),
        "line": {"setback_mm": plain(setback_mm), "hand_load_n": plain(hand_load_n)},
        "rise_n_per_mm": plain(rise_n_per_mm(progress.steps, answer)),
        "step_off_mm": progress.plan.step_off_mm,
    }


def _set_fields(session: Session) -> dict[str, Any] | None:
    """How the jig was last confirmed; None before that and after an undo."""
    progress = session.sweep.progress
    if progress is None or progress.setback_mm is None:
        return None
    return _placed_fields(session.placing.as_set(progress.setback_mm, progress.setting))


def _placed_fields(placed: Placed | None) -> dict[str, Any] | None:
    """One position of saddle and bar in one level; null where something is not known."""
    if placed is None:
        return None
    changed = {"reach_change_mm": placed.reach_change_mm, "drop_change_mm": placed.drop_change_mm}
    fields: dict[str, Any] = {"setback_mm": placed.setback_mm, **plain(placed.setting), **plain(changed)}
    return {name: None if value is None else round(value, 1) for name, value in fields.items()}


def _effort(plan: Plan, now: SweepStatus) -> dict[str, Any] | None:
    """Power and cadence as they are judged, means of the last strokes; effort_w is the power of the same torque at the
    plan's cadence, which its one band is for. None before the first stroke and without a power reading."""
    torque_nm, cadence_rpm = now.torque_nm, now.cadence_rpm
    if torque_nm is None or cadence_rpm is None or math.isnan(torque_nm):
        return None
    return {
        "torque_nm": torque_nm,
        "cadence_rpm": cadence_rpm,
        "power_w": power_w(torque_nm, cadence_rpm),
        "effort_w": power_w(torque_nm, plan.cadence_rpm),
    }


def _around(middle: float, half: float) -> list[float]:
    return [middle - half, middle + half]
