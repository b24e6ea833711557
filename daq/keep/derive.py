"""Runs the pipeline over a stored or an exported sweep and gathers all it gives."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from daq.items import Item
from daq.keep.derived import Derived
from daq.keep.importing import exported_items, exported_results, exported_sweep
from daq.keep.json_text import plain
from daq.keep.reading import END_US
from daq.keep.replay import run
from daq.keep.store import Store
from daq.measure.calibration import Calibration, from_dict
from daq.pipeline import Pipeline
from daq.rig import Rig, parse_rig
from daq.sweep.onset import METHOD
from daq.values import Loads, Onset, Stroke

STEP_METHOD = "step/1"


def derive(store: Store, sweep_id: int) -> Derived:
    """A stored sweep, with the calibration it was ridden with."""
    sweep = store.sweep(sweep_id)
    calibration = from_dict(store.calibration(sweep.calibration_id))
    items = store.read_items(sweep.session_id, sweep.from_us, END_US if sweep.to_us is None else sweep.to_us)
    return derived(items, parse_rig(store.session(sweep.session_id).rig), calibration)


def derive_exported(folder: Path, calibration: Calibration | None = None, method: str = METHOD) -> Derived:
    """An exported sweep, with its own calibration or another, by this method of estimating the onset."""
    sweep, own = exported_sweep(folder)
    return derived(exported_items(folder), parse_rig(sweep["rig"]), calibration or from_dict(own), method)


def derived(items: Iterable[Item], rig: Rig, calibration: Calibration, method: str = METHOD) -> Derived:
    """All that the pipeline makes of the items."""
    pipeline = Pipeline(rig, calibration, method=method)
    loads: list[Loads] = []
    strokes: list[Stroke] = []
    onset: Onset | None = None
    for output in run(pipeline, items):
        match output:
            case Loads():
                loads.append(output)
            case Stroke():
                strokes.append(output)
            case Onset():
                onset = output
    return Derived(
        loads=tuple(loads),
        strokes=tuple(strokes),
        steps=() if pipeline.progress is None else tuple(pipeline.progress.steps),
        onset=onset,
        cells=rig.cells,
        clock_error_ms=pipeline.clock_errors_ms,
        methods={"step": STEP_METHOD, **({} if onset is None else {"onset": onset.method})},
    )


def onset_again(folder: Path, calibration_file: Path | None = None, method: str = METHOD) -> list[dict[str, Any]]:
    """For an archive: the onset of an exported sweep computed now, as one row; with another calibration or method.

    stored_onset_mm is the last onset that was stored with the sweep, to compare with.
    """
    calibration = None if calibration_file is None else from_dict(json.loads(calibration_file.read_text()))
    found = derive_exported(folder, calibration, method)
    stored = [one["content"] for one in exported_results(folder) if one["kind"] == "onset"]
    row: dict[str, Any] = {
        "steps": len(found.steps),
        "strokes": len(found.strokes),
        "stored_onset_mm": json.loads(stored[-1]).get("onset_mm") if stored else None,
    }
    if found.onset is not None:
        row |= plain(found.onset)
        row["onset_low_mm"], row["onset_high_mm"] = row.pop("interval_95_mm") or (None, None)
    return [row]
