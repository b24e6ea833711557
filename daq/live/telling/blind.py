"""The stream for the rider's screen: effort and what to do, nothing about setback, loads or who rides. It is an
allow-list; everything else, and whatever is added later, stays out. A rider who sees the numbers lifts the hands on
cue.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from daq.live.telling import messages

SWEEP = (
    *("state", "sweep_id", "power_band_w", "cadence_band_rpm", "torque_band_nm", "in_band", "effort"),
    *("pain", "over", "settle_left_s"),
)
STROKE = ("start_s", "end_s", "power_w", "cadence_rpm", "scans", "flags")
SOURCE = ("name", "kind", "state", "age_s", "rate_hz", "dropped", "damaged", "late", "clock_error_ms")
SENSORS = ("now_s", "stored")
SNAPSHOT = ("version", "now_s", "simulated", "recording")


def for_rider(message: str | bytes) -> str | None:
    """The message without what the rider must not see; None if nothing is left."""
    if isinstance(message, bytes):
        return None
    said = json.loads(message)
    make = _MAKERS.get(said["type"])
    return None if make is None else messages.text(said["type"], **make(said))


def status_for_rider(status: dict[str, Any]) -> dict[str, Any]:
    """The state of the sweep, for the rider's screen, which can send the stop and nothing else."""
    if not status:
        return {}
    return {**_kept(status, SWEEP), "accepts": [event for event in status["accepts"] if event == "stop"]}


def _snapshot(said: dict[str, Any]) -> dict[str, Any]:
    return {
        **_kept(said, SNAPSHOT),
        **_sources(said),
        "rig": {
            "name": "",
            "cells": [],
            "rate_hz": said["rig"]["rate_hz"],
            "self_locking": said["rig"]["self_locking"],
        },
        "rider": None,
        "calibration": None,
        "sweep": status_for_rider(said["sweep"]) if said["sweep"] else None,
        "steps": [],
        "onset": None,
        "notices": [],
        "visit": None,
    }


def _sources(said: dict[str, Any]) -> dict[str, Any]:
    return {**_kept(said, SENSORS), "sources": [{**_kept(one, SOURCE), "message": ""} for one in said["sources"]]}


def _kept(said: dict[str, Any], names: tuple[str, ...]) -> dict[str, Any]:
    return {name: said[name] for name in names if name in said}


def _stroke(said: dict[str, Any]) -> dict[str, Any]:
    return _kept(said, STROKE)


_MAKERS: dict[str, Callable[[dict[str, Any]], dict[str, Any]]] = {
    "snapshot": _snapshot,
    "sources": _sources,
    "sweep": status_for_rider,
    "stroke": _stroke,
}
