"""What a page is shown of a session: plain fields for the messages. It reads and never changes anything."""

from __future__ import annotations

from typing import Any

from daq import __version__
from daq.fit.intake import RED_FLAGS, clinician_advice, missing, unanswered
from daq.fit.load_uncertainty import uncertainty_of
from daq.fit.prechecks import TRIAGE
from daq.fit.proposal import climb_check, range_from
from daq.items import BOARD, POWER
from daq.jig import range_of
from daq.keep.json_text import plain
from daq.live.session.session import Session
from daq.live.telling import messages
from daq.live.telling.sweep_view import onset_fields, steps, sweep_status
from daq.measure.calibration import apply
from daq.rig import Rig
from daq.values import Stroke


def snapshot(session: Session) -> str:
    """The message with everything a page needs to start."""
    at = session.acquisition
    return messages.text(
        "snapshot",
        version=__version__,
        now_s=at.clock.now_us() / 1e6,
        simulated=at.simulated,
        recording=stored(session),
        rig={
            "name": at.rig.name,
            "cells": at.rig.cells,
            "rate_hz": at.sensors.health["board"].rate_hz(at.clock.now_us()),
            "self_locking": at.rig.geometry.self_locking_slides,
            "power_zero": at.sensors.compensate is not None,
            "not_measured": [] if at.rig.columns("saddle") else ["saddle", "feet"],
            "typed": None
            if at.rig.typed is None
            else {
                "unit": at.rig.typed.unit,
                "scales": [role for role in ("hands", "saddle") if at.rig.columns(role)],
            },
            "drawn": _drawn(at.rig),
        },
        rider=at.rider,
        calibration=calibration_fields(session),
        doubts=doubts(session),
        taken_by=session.occupied.taken_by(),
        bench=bench_fields(session),
        sources=sources(session),
        sweep=sweep_status(session) or None,
        steps=steps(session),
        onset=onset_fields(session) or None,
        notices=list(at.notices),
        visit=visit_fields(session),
    )


def _drawn(rig: Rig) -> dict[str, Any]:
    """Where bar, saddle and cells are in the jig's frame, mm, for a picture; a cell whose place the rig file leaves out
    is at its contact point."""
    bar, up = 1000.0 * rig.geometry.bar_x_m, {"hands": 1000.0 * rig.geometry.bar_y_m}
    saddle_x = -0.5 * (rig.geometry.setback_min_mm + rig.geometry.setback_max_mm)
    saddle_y = 1000.0 * rig.geometry.saddle_y_m
    cells = [one for one in rig.channels if one.name in rig.cells]
    return {
        "bar_mm": [bar, up["hands"]],
        "saddle_mm": [saddle_x, saddle_y],
        "cells": [
            {
                "cell": one.name,
                "x_mm": one.x_mm if one.x_mm is not None else bar if one.role.startswith("hands") else saddle_x,
                "y_mm": up.get(one.role.split()[0], saddle_y),
            }
            for one in cells
        ],
    }


def sensors(session: Session) -> dict[str, Any]:
    """How the sensors do, how well the loads are known, what makes them doubtful, and whether they are stored."""
    return {
        "now_s": session.acquisition.clock.now_us() / 1e6,
        "sources": sources(session),
        "expanded_n": expanded_now(session),
        "doubts": doubts(session),
        "stored": stored(session),
        "taken_by": session.occupied.taken_by(),
    }


def stored(session: Session) -> bool:
    """Whether the store takes what is received."""
    storing = session.acquisition.storing
    return storing is not None and not storing.trouble


def sources(session: Session) -> list[dict[str, Any]]:
    """How each sensor does; a scale that a person reads says nothing of itself, and misses no power sensor."""
    at = session.acquisition
    silent = () if at.rig.typed is None else (BOARD,) if at.rig.power is not None else (BOARD, POWER)
    return [health.report(at.clock.now_us()) for name, health in at.sensors.health.items() if name not in silent]


def stroke(session: Session, item: Stroke) -> str:
    """The message of one stroke, with the uncertainties of the calibration at these loads."""
    at = session.acquisition
    hands, saddle = (uncertainty_of(at.calibration, at.rig, item.cells_n, role) for role in ("hands", "saddle"))
    return messages.stroke(item, mass_kg=at.rider.mass_kg, g_m_s2=at.rig.g_m_s2, hands=hands, saddle=saddle)


def expanded_now(session: Session) -> dict[str, float | None]:
    """Expanded uncertainty of hands and saddle at the loads of the last seconds, N; None where it is not known."""
    pipeline, rig = session.acquisition.pipeline, session.acquisition.rig
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
    roles = {channel.name: channel.role for channel in session.acquisition.rig.channels}
    return [{**plain(one), "on": roles[one.channel]} for one in session.zero.doubts()]


def calibration_fields(session: Session) -> dict[str, Any]:
    """How the calibration in use stands."""
    found, proof = session.calibrating.stamp(), session.calibrating.proof()
    return {
        **found,
        "stale": not found["allows_verdict"],
        "proof": proof.said,
        "unproved": proof.state != "proved",
    }


def bench_fields(session: Session) -> dict[str, Any] | None:
    """The guided calibration under way; None without one."""
    bench = session.calibrating.bench
    return None if bench is None else bench.fields()


def visit_fields(session: Session) -> dict[str, Any] | None:
    """The open visit, never with the name; None without one."""
    visit = session.visit
    if visit.id is None or visit.client is None:
        return None
    present_mm = None if visit.intake is None else visit.intake.saddle.setback_mm
    decided_mm = None if visit.decision is None else visit.decision["setback_mm"]
    return {
        "id": visit.id,
        "nth": visit.nth,
        "pseudonym": visit.client.pseudonym,
        "begun": None if visit.begun is None else visit.begun.model_dump(),
        "missing": missing(visit.begun),
        "unanswered": list(RED_FLAGS) if visit.begun is None else unanswered(visit.begun),
        "intake": None if visit.intake is None else visit.intake.model_dump(),
        "returning": visit.returning,
        "advice": "" if visit.begun is None else clinician_advice(visit.begun),
        "measured": visit.measured.model_dump(),
        "checks": plain(visit.checks()),
        "triage": TRIAGE,
        "in_the_way": str(visit.in_the_way() or ""),
        "decision": visit.decision,
        "swept": visit.swept,
        "range": None if visit.intake is None else plain(range_from(visit.intake, range_of(session.acquisition.rig))),
        "climb_check": plain(climb_check(visit.ridden_here, present_mm, decided_mm)) if visit.swept else None,
    }
