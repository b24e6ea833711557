"""What a page is shown of a session: plain fields for the messages, nothing that changes it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from daq import __version__
from daq.fit.load_uncertainty import uncertainty_of
from daq.fit.step_notes import step_spoken_of
from daq.fit.stepping import stepping
from daq.live.telling import messages
from daq.measure.calibration import apply
from daq.rig import Rig
from daq.sweep.onset import fitted_line, standard_errors
from daq.sweep.plan import Plan
from daq.sweep.progress import Standing, power_w
from daq.values import Stroke
from daq.wire.board import Hello

if TYPE_CHECKING:
    from daq.live.session.session import Session

_PLAN_FIELDS = (
    *("label", "order", "protocol", "height_policy", "gradient_pct"),
    *("power_w", "cadence_rpm", "settle_s", "dwell_s", "blinded"),
)
_STEP_FIELDS = ("setback_mm", "hand_load_n", "t_min", "crank_torque_nm", "saddle_load_n", "tilt_deg", "excluded")


@dataclass(frozen=True, slots=True)
class Rider:
    """Who is in the saddle, by pseudonym, and how heavy as ridden."""

    pseudonym: str
    mass_kg: float | None


def snapshot(session: Session) -> str:
    """The message with everything a page needs to start."""
    rig, storing = session.rig, session.storing
    return messages.text(
        "snapshot",
        version=__version__,
        now_s=session.clock.now_us() / 1e6,
        simulated=session.simulated,
        recording=storing is not None and not storing.trouble,
        rig={
            "name": rig.name,
            "cells": rig.cells,
            "rate_hz": session.sensors.health["board"].rate_hz(session.clock.now_us()),
            "power_zero": session.sensors.compensate is not None,
        },
        rider=session.rider,
        calibration=session.calibrating.fields(),
        doubts=doubts(session),
        bench=session.calibrating.bench_fields(),
        sources=sources(session),
        sweep=standing(session) or None,
        steps=steps(session),
        onset=onset_fields(session) or None,
        notices=list(session.notes),
        visit=session.desk.fields(),
    )


def standing(session: Session) -> dict[str, Any]:
    """How the sweep stands; empty without a sweep."""
    progress = session.progress
    if progress is None:
        return {}
    now_s = session.clock.now_us() / 1e6
    plan, now = progress.plan, progress.standing(now_s)
    saddle = None if session.desk.intake is None else session.desk.intake.saddle
    spoken_of = step_spoken_of(progress)
    return {
        **messages.plain(now),
        "why_waiting": session.pipeline.stall(now_s) or now.why_waiting,
        "seconds_left": now.seconds_left / session.clock.pace,
        "sweep_id": session.sweep_id,
        "steps_planned": len(plan.positions_mm),
        **{name: getattr(plan, name) for name in _PLAN_FIELDS},
        "noted_step": spoken_of,
        "notes": {} if spoken_of is None else session.remarks.notes.get(spoken_of, {}),
        "pain": session.remarks.pain,
        "measured_to": None if saddle is None else saddle.reference,
        "stepping": messages.plain(stepping(plan, now.asked_setback_mm, saddle)),
        "torque_band_nm": _around(plan.torque_nm, plan.torque_band_nm),
        "effort": _effort(plan, now),
        "power_band_w": power_band_w(plan),
        "cadence_band_rpm": _around(plan.cadence_rpm, plan.cadence_band_rpm),
    }


def steps(session: Session) -> list[dict[str, Any]]:
    """The finished steps with what was noted of them, and the pooled model's standard errors when there are any."""
    progress = session.progress
    if progress is None or not progress.steps:
        return []
    errors_n = standard_errors(progress.steps)
    return [
        {
            "index": i,
            **{name: messages.plain(getattr(step, name)) for name in _STEP_FIELDS},
            "se_n": messages.plain(float(se_n)),
            "strokes": len(step.strokes),
            "notes": session.remarks.notes.get(i, {}),
        }
        for i, (step, se_n) in enumerate(zip(progress.steps, errors_n, strict=True))
    ]


def onset_fields(session: Session) -> dict[str, Any]:
    """The answer so far with the line to draw; empty before there is one."""
    answer, progress = session.onset, session.progress
    if answer is None or progress is None:
        return {}
    setback_mm, hand_load_n = fitted_line(progress.steps, answer)
    return {
        **messages.plain(answer),
        "line": {"setback_mm": messages.plain(setback_mm), "hand_load_n": messages.plain(hand_load_n)},
        "step_off_mm": progress.plan.step_off_mm,
    }


def troubles(session: Session) -> dict[str, str]:
    """What is wrong with each part now, in one sentence; empty text where nothing is."""
    found = {health.name: health.trouble_now(session.clock.now_us()) for health in session.sensors.health.values()}
    found |= session.sensors.cells.troubles
    found["store"] = session.storing.trouble if session.storing is not None else ""
    return found


def missing_channels(rig: Rig, hello: Hello) -> str:
    """What the rig file expects of the board and its hello does not have; empty when all is there."""
    there = {channel.name for channel in hello.channels}
    missing = [channel.name for channel in rig.channels if channel.name not in there]
    if not missing:
        return ""
    return f"the board has no channel {', '.join(missing)}; it has {', '.join(sorted(there))}: mend the rig file"


def stroke(session: Session, item: Stroke) -> str:
    """The message of one stroke, with the uncertainties of the calibration at these loads."""
    rig = session.rig
    known = {role: uncertainty_of(session.calibration, rig, item.cells_n, role) for role in ("hands", "saddle")}
    return messages.stroke(
        item, mass_kg=session.rider.mass_kg, g_m_s2=rig.g_m_s2, hands=known["hands"], saddle=known["saddle"]
    )


def sensors(session: Session) -> dict[str, Any]:
    """How the sensors do, how well the loads they show are known, and what makes them doubtful."""
    return {
        "now_s": session.clock.now_us() / 1e6,
        "sources": sources(session),
        "expanded_n": expanded_now(session),
        "doubts": doubts(session),
    }


def expanded_now(session: Session) -> dict[str, float | None]:
    """Expanded uncertainty of hands and saddle at the loads of the last seconds, N; None where it is not known."""
    pipeline, rig = session.pipeline, session.rig
    counts, roles = pipeline.recent_counts(), ("hands", "saddle")
    if not len(counts):
        return dict.fromkeys(roles)
    loads_n = apply(pipeline.calibration, counts.mean(axis=0)[None], pipeline.zero_counts)[0].tolist()
    shown = dict(zip(pipeline.calibration.names, loads_n, strict=True))
    cells_n = [shown[cell] for cell in rig.cells]
    known = {role: uncertainty_of(pipeline.calibration, rig, cells_n, role) for role in roles}
    return {role: None if one is None else one.expanded_n for role, one in known.items()}


def doubts(session: Session) -> list[dict[str, Any]]:
    """What makes the loads shown now doubtful, each with its channel, what that carries, and a sentence."""
    roles = {channel.name: channel.role for channel in session.rig.channels}
    return [{**messages.plain(one), "on": roles[one.channel]} for one in session.calibrating.doubts()]


def doubtful(session: Session) -> dict[str, str]:
    """The doubts by channel and kind, so that each is told when it begins and when it ends."""
    doubts = session.calibrating.doubts()
    return {
        f"{one.channel} ({str(one.kind).replace('-', ' ')})": one.sentence.removeprefix(f"{one.channel}: ")
        for one in doubts
    }


def sources(session: Session) -> list[dict[str, Any]]:
    """How each sensor does."""
    now_us = session.clock.now_us()
    return [health.report(now_us) for health in session.sensors.health.values()]


def _effort(plan: Plan, now: Standing) -> dict[str, Any] | None:
    """Power and cadence as they are judged, means of the last strokes, and the power that at this cadence lies in the
    band of the torque; None before the first stroke and without a power reading."""
    torque_nm, cadence_rpm = now.torque_nm, now.cadence_rpm
    if torque_nm is None or cadence_rpm is None or math.isnan(torque_nm):
        return None
    ends_nm = _around(plan.torque_nm, plan.torque_band_nm)
    return {
        "torque_nm": torque_nm,
        "cadence_rpm": cadence_rpm,
        "power_w": power_w(torque_nm, cadence_rpm),
        "power_band_w": [power_w(end_nm, cadence_rpm) for end_nm in ends_nm],
    }


def power_band_w(plan: Plan) -> tuple[float, float]:
    """The power that goes with the plan's torque band at its cadence."""
    half_w = plan.power_w * plan.torque_band_nm / plan.torque_nm
    return plan.power_w - half_w, plan.power_w + half_w


def _around(middle: float, half: float) -> list[float]:
    return [middle - half, middle + half]
