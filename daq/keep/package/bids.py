"""A sweep as the files of a BIDS dataset with its motion extension (bids.neuroimaging.io), for movement research.

The jig is the tracking system: loads are channels of kind MISC, tilt is an orientation, the saddle's setback a
position, and LATENCY has when each scan was taken, as nothing is resampled. Steps and what the fitter did are events.
What the sweep gave stands in the session's `scans.tsv`. Pure.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from daq.items import Item
from daq.keep.again.derived import Derived
from daq.keep.package.acts import acts
from daq.values import NAN, Array

BIDS_VERSION = "1.10.0"
MISSING = "n/a"
TASK, SYSTEM = "setback", "jig"
CHANNEL_COLUMNS = ("name", "component", "type", "tracked_point", "units", "placement", "reference_frame", "description")
EVENT_COLUMNS = ("onset", "duration", "trial_type", "setback_mm", "hand_load_n", "saddle_load_n")


@dataclass(frozen=True, slots=True)
class _Channel:
    row: tuple[str, ...]
    """As CHANNEL_COLUMNS."""
    decimals: int
    values: Array


@dataclass(frozen=True, slots=True)
class Names:
    """Whose sweep it is, when, and which: labels of letters and digits."""

    subject: str
    session: str
    run: int

    @property
    def folder(self) -> str:
        """Of the session, within the dataset."""
        return f"sub-{self.subject}/ses-{self.session}"

    def file(self, ending: str, *, with_system: bool = True) -> str:
        """Of one file of the sweep, within the session's folder."""
        system = f"_tracksys-{SYSTEM}" if with_system else ""
        return f"motion/sub-{self.subject}_ses-{self.session}_task-{TASK}{system}_run-{self.run:02d}_{ending}"


def motion_files(
    derived: Derived, items: Iterable[Item], names: Names, rate_hz: float, software: str
) -> dict[str, str]:
    """Text by name within the session's folder; the last one is the motion itself. Empty when there are no loads.

    rate_hz: what the board says of itself; 0 when it has said nothing, then as found.
    """
    t_s = np.concatenate([np.empty(0), *(part.t_s for part in derived.loads)])
    if len(t_s) < 2:
        return {}
    channels = _channels(derived, t_s)
    found_hz = (len(t_s) - 1) / float(t_s[-1] - t_s[0])
    sidecar = {
        "TaskName": TASK,
        "TaskDescription": "pedalling at a held effort while the saddle is moved step by step",
        "TrackingSystemName": SYSTEM,
        "SamplingFrequency": rate_hz or round(found_hz, 3),
        "SamplingFrequencyEffective": round(found_hz, 6),
        "SoftwareVersions": f"Foreaft {software}",
        "MissingValues": MISSING,
        "MotionChannelCount": len(channels),
        "LATENCYChannelCount": 1,
        "ORNTChannelCount": 1,
        "POSChannelCount": 1,
        "MISCChannelCount": len(channels) - 3,
        "TrackedPointsCount": 3,
    }
    return {
        names.file("channels.tsv"): table(CHANNEL_COLUMNS, [one.row for one in channels]),
        names.file("channels.json"): described(CHANNELS_SIDECAR),
        names.file("events.tsv", with_system=False): table(EVENT_COLUMNS, _events(derived, items, float(t_s[0]))),
        names.file("events.json", with_system=False): described(EVENTS_SIDECAR),
        names.file("motion.json"): described(sidecar),
        names.file("motion.tsv"): _rows(channels),
    }


CHANNELS_SIDECAR: dict[str, Any] = {
    "reference_frame": {
        "Levels": {
            "jig": {
                "SpatialAxes": "FUR",
                "RotationOrder": "n/a",
                "RotationRule": "right-hand",
                "Description": "origin at the bottom bracket, y along the normal of the jig, which tilts about z; "
                "setback is positive backwards, against x; loads are support forces along y, positive pressed down",
            }
        }
    }
}
EVENTS_SIDECAR: dict[str, Any] = {
    "trial_type": {
        "Description": "step: the span a step's mean was taken over; anything else is what the fitter did, by its name"
    },
    "setback_mm": {"Description": "saddle behind the bottom bracket, horizontal, of a step", "Units": "mm"},
    "hand_load_n": {"Description": "mean support force at the hands of a step", "Units": "N"},
    "saddle_load_n": {"Description": "mean support force at the saddle of a step", "Units": "N"},
}


def table(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Tab-separated text; what is missing is n/a."""
    return "".join("\t".join(map(_cell, row)) + "\n" for row in (columns, *rows))


def described(content: Mapping[str, Any]) -> str:
    """JSON as BIDS has it beside a table."""
    return json.dumps(content, indent=2, ensure_ascii=False) + "\n"


def _cell(value: object) -> str:
    if value is None or value == "" or (isinstance(value, float) and value != value):
        return MISSING
    return " ".join(str(value).split())


def _channels(derived: Derived, t_s: Array) -> list[_Channel]:
    def part(name: str) -> Array:
        return np.concatenate([getattr(one, name) for one in derived.loads])

    def load(name: str, point: str, what: str, values: Array) -> _Channel:
        return _Channel((name, MISSING, "MISC", point, "N", point, "jig", what), 3, values)

    cells_n = np.concatenate([one.cells_n for one in derived.loads])
    return [
        load("hands", "hands", "support force at the hands along the normal of the jig", part("hands_n")),
        load("saddle", "saddle", "support force at the saddle along the normal of the jig", part("saddle_n")),
        *(
            load(f"cell_{name}", MISSING, "support force on one load cell", cells_n[:, i])
            for i, name in enumerate(derived.cells)
        ),
        _Channel(
            ("tilt", "z", "ORNT", "jig", "deg", "jig", "jig", "tilt of the jig, nose up positive"), 4, part("tilt_deg")
        ),
        _Channel(
            ("setback", "x", "POS", "saddle", "mm", "saddle", "jig", "behind the bottom bracket, during a step"),
            1,
            setback_mm(derived, t_s),
        ),
        _Channel(
            ("latency", MISSING, "LATENCY", MISSING, "s", MISSING, MISSING, "since the first scan"), 6, t_s - t_s[0]
        ),
    ]


def setback_mm(derived: Derived, at_s: Array) -> Array:
    """The saddle's setback at each time of a step; NaN between steps."""
    found = np.full(len(at_s), NAN)
    for step in derived.steps:
        if step.strokes:
            found[(at_s >= step.strokes[0].start_s) & (at_s < step.strokes[-1].end_s)] = step.setback_mm
    return found


def _rows(channels: Sequence[_Channel]) -> str:
    """One row a scan, without a header, as BIDS has it."""
    columns = [
        [MISSING if value != value else f"{value:.{one.decimals}f}" for value in one.values.tolist()]
        for one in channels
    ]
    return "".join("\t".join(row) + "\n" for row in zip(*columns, strict=True))


def _events(derived: Derived, items: Iterable[Item], begin_s: float) -> list[tuple[object, ...]]:
    found: list[tuple[object, ...]] = [
        (round(at_s, 6), 0, label, None, None, None) for at_s, label in acts(items, begin_s)
    ]
    for step in derived.steps:
        if step.strokes:
            start_s, end_s = step.strokes[0].start_s, step.strokes[-1].end_s
            loads_n = (round(step.hand_load_n, 3), round(step.saddle_load_n, 3))
            found.append((round(start_s - begin_s, 6), round(end_s - start_s, 6), "step", step.setback_mm, *loads_n))
    return sorted(found, key=lambda row: (float(str(row[0])), str(row[2])))
