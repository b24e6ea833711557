"""Every message the daemon sends to a page, and how it is written.

Two kinds travel over the WebSocket `/api/v1/stream`:

binary   one block of loads, little-endian, all floats 32 bit but t0:
             uint8 kind = 1 | uint8 series | uint16 n | float64 t0_s | float32 dt_s[n] | float32 values[series][n]
         series in this order: hands_n, saddle_n, tilt_deg, then each cell in the order of snapshot.rig.cells.
         Block times are t0_s + dt_s, seconds of session time.
text     one JSON object with a "type":
             snapshot   everything a page needs to start or to start again; always first
             sources    how fresh each sensor is, what makes the loads doubtful, and whether the store takes what is
                        received ("stored"), about twice a second
             stroke     one crank revolution averaged
             sweep      the sweep's state; on every change and about four times a second while it runs
             steps      all finished positions, whenever one is finished or undone
             onset      the answer so far; after every step from the fifth on
             bench      the guided calibration under way, about four times a second; {"bench": null} when it is left
             visit      the open visit, when anything of it has changed; {"visit": null} without one
             notice     one sentence for the people at the jig: {"type","level":"info|caution|alarm","text","t_s",
                        "pain": whether it is over with the pain it tells of,
                        "see": where it is done what it asks for, `See` of daq/refusals.py, or null}

NaN and infinity become null. Shares are fractions. tests/live/messages.json holds one saved example of each
text message; tests compare the daemon and the page's types (dashboard/messages.js) with it.
"""

from __future__ import annotations

import dataclasses
import json
import math
import struct
from collections.abc import Iterable
from typing import Any

import numpy as np

from daq.keep.json_text import plain
from daq.measure import mechanics
from daq.measure.calibration import Expanded
from daq.measure.geometry import gradient_pct_of
from daq.values import Loads, Stroke

LOADS_KIND = 1
_HEAD = struct.Struct("<BBHd")
MAX_ROWS = 0xFFFF


def loads_block(loads: Loads) -> bytes:
    """One block of at most 65535 scans as the binary message. ValueError when there are none or too many."""
    n = len(loads)
    if not 0 < n <= MAX_ROWS:
        raise ValueError(f"a loads message carries 1 to {MAX_ROWS} scans, not {n}")
    series = np.vstack([loads.hands_n, loads.saddle_n, loads.tilt_deg, *loads.cells_n.T])
    t0_s = float(loads.t_s[0])
    head = _HEAD.pack(LOADS_KIND, len(series), n, t0_s)
    return head + (loads.t_s - t0_s).astype("<f4").tobytes() + series.astype("<f4").tobytes()


def joined_block(parts: Iterable[Loads]) -> bytes:
    """The newest scans of several blocks as one message: what a page that joins late has missed."""
    kept = tuple(parts)
    fields = {
        field.name: np.concatenate([getattr(part, field.name) for part in kept])[-MAX_ROWS:]
        for field in dataclasses.fields(Loads)
    }
    return loads_block(Loads(**fields))


def text(kind: str, **fields: Any) -> str:
    """One JSON text message; NaN and infinity become null, dataclasses become objects."""
    return json.dumps({"type": kind, **plain(fields)}, allow_nan=False, separators=(",", ":"))


def stroke(
    item: Stroke, *, mass_kg: float | None, g_m_s2: float, hands: Expanded | None, saddle: Expanded | None
) -> str:
    """The message of one stroke, with shares of the weight along the jig normal; null where something is unknown.

    hands, saddle: what the calibration says of these loads; None without a budget. u_n are standard uncertainties,
    expanded_n those a page shows: the load lies within them with 95 % confidence.
    """
    u_hands_n, u_saddle_n = (math.nan if one is None else one.standard_n for one in (hands, saddle))
    factors = [one.coverage_factor for one in (hands, saddle) if one is not None]
    fields = {field.name: getattr(item, field.name) for field in dataclasses.fields(item) if field.name != "flags"}
    tilt_deg = 0.0 if math.isnan(item.tilt_deg) else item.tilt_deg
    known, u_feet_n = dict.fromkeys(("hands", "saddle", "feet"), math.nan), math.nan
    if mass_kg:
        u = mechanics.ShareUncertainty(hands_n=u_hands_n, saddle_n=u_saddle_n)
        found = mechanics.shares(item.hands_n, item.saddle_n, mass_kg=mass_kg, tilt_deg=tilt_deg, g_m_s2=g_m_s2, u=u)
        known, u_feet_n = {"hands": found.hands, "saddle": found.saddle, "feet": found.feet}, found.u_feet_n
    return text(
        "stroke",
        **fields,
        flags=int(item.flags),
        cadence_rpm=item.cadence_rpm,
        shares=known,
        gradient_pct=gradient_pct_of(item.tilt_deg),
        u_n={"hands": u_hands_n, "saddle": u_saddle_n, "feet": u_feet_n},
        expanded_n={
            "hands": None if hands is None else hands.expanded_n,
            "saddle": None if saddle is None else saddle.expanded_n,
            "feet": max(factors, default=math.nan) * u_feet_n,
        },
    )
