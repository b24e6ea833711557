"""An exported sweep recomputed, with its own calibration or another, for an archive."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

from daq.keep.again.derived import Derived
from daq.keep.again.recalibrated import begun_otherwise, standing_for
from daq.keep.again.recompute import recompute
from daq.keep.again.replay import OF_AN_EXPORT
from daq.keep.bounded import MOST_CALIBRATION_BYTES, from_json, read_bytes
from daq.keep.json_text import plain
from daq.keep.package.coarse import month
from daq.keep.package.datapackage import read_package
from daq.keep.package.importing import as_damage, exported_items, exported_results, exported_sweep
from daq.measure.calibration import Calibration, from_dict
from daq.rig_file import parse_rig
from daq.sweep.onset import METHOD

ONSET_AGAIN = "onset-again/2"
"""Name and version of the rows of `onset_again`; an archive computed under another is computed again."""


def derive_exported(folder: Path, calibration: Calibration | None = None, method: str = METHOD) -> Derived:
    """An exported sweep, with its own calibration or another, by this method of estimating the onset.

    Another calibration brings its own status, as in `recompute_again`.
    """
    package = read_package(folder)
    with as_damage(folder):
        sweep, own = exported_sweep(package)
    changes: dict[str, Any] = {}
    if calibration is not None:
        simulated = sweep["simulated"] in (True, "true")
        changes["calibration"] = standing_for(
            calibration, sweep["session_started_utc"], int(sweep["from_us"]), simulated
        )
    items = begun_otherwise(exported_items(package), changes, None)
    return recompute(items, parse_rig(sweep["rig"]), from_dict(own), method, calibration, OF_AN_EXPORT)


def onset_again(folder: Path, calibration_file: Path | None = None, method: str = METHOD) -> list[dict[str, Any]]:
    """For an archive: the onset of an exported sweep computed now, as one row; with another calibration or method.

    stored_onset_mm is the last onset that was stored with the sweep, to compare with. lost: what of its raw is lost;
    no_answer: why it has none; each empty if there is nothing to say. The row also says whose sweep it was, and when
    and how it was ridden: a panel of riders and days is built from these rows.
    """
    calibration = None
    if calibration_file is not None:
        calibration = from_dict(from_json(read_bytes(calibration_file, MOST_CALIBRATION_BYTES)))
    found = derive_exported(folder, calibration, method)
    package = read_package(folder)
    stored = [one["content"] for one in exported_results(package) if one["kind"] == "onset"]
    row: dict[str, Any] = {
        **_ridden_as(exported_sweep(package)[0]),
        "steps": len(found.steps),
        "strokes": len(found.strokes),
        "stored_onset_mm": from_json(stored[-1]).get("onset_mm") if stored else None,
        "lost": "; ".join(dict.fromkeys((*package.descriptor.get("lost", ()), *found.losses))),
        "no_answer": found.no_answer,
    }
    if found.onset is not None:
        row |= plain(found.onset)
        row["onset_low_mm"], row["onset_high_mm"] = row.pop("interval_95_mm") or (None, None)
    return [row]


def _ridden_as(sweep: dict[str, Any]) -> dict[str, Any]:
    begun = datetime.datetime.fromisoformat(sweep["session_started_utc"])
    return {
        "rider": sweep["rider"],
        "simulated": sweep["simulated"] in (True, "true"),
        "coarse": month(sweep["session_started_utc"]) == sweep["session_started_utc"],
        "begun_utc": (begun + datetime.timedelta(microseconds=int(sweep["from_us"]))).isoformat(timespec="seconds"),
        "gradient_pct": float(sweep["gradient_pct"]),
        "protocol": str(from_json(sweep["plan"]).get("protocol", "")),
        "rig_name": parse_rig(sweep["rig"]).name,
    }
