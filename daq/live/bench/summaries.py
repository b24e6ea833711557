"""The calibrations of a store in a line each, for a list."""

from __future__ import annotations

from typing import Any

from daq.keep.store import Store, calibrations
from daq.keep.store.calibrations import CalibrationRecord
from daq.live.bench.standing import standing_of, utc_now


def summaries(store: Store) -> list[dict[str, Any]]:
    """All calibrations, oldest first, and how each stands now."""
    return [_summary(store, one) for one in calibrations.calibrations(store)]


def _summary(store: Store, one: CalibrationRecord) -> dict[str, Any]:
    checks = calibrations.checks(store, one.calibration)
    found = standing_of(one.calibration, checks, utc_now(), simulated=one.calibration.simulated)
    return {
        "number": one.id,
        "id": one.calibration.id,
        "made_utc": one.calibration.made_utc,
        "simulated": one.calibration.simulated,
        "cells": [channel.name for channel in one.calibration.forces],
        "certificate": one.bench_id is not None,
        "checks": len(checks),
        "standing": str(found.standing),
        "sentence": found.sentence,
    }
