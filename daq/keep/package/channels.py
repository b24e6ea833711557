"""The table that leads from a column of counts to its load: channel, part of the jig, calibration."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import quote

from daq.items import BOARD, SWEEP_BEGUN, Event, Hello, Item
from daq.keep.json_text import json_text
from daq.keep.package.json_columns import number
from daq.keep.package.tables import SWEEP, Field, Table, table_of_rows
from daq.rig import NORMAL, TANGENTIAL
from daq.rig_file import RigError, parse_rig
from daq.values import Samples

ROLES = {
    "hands": "under the bar",
    "saddle": "under the saddle",
    "hands tangential": "under the bar, the force along the jig, forward on the rider positive",
    "saddle tangential": "under the saddle, the force along the jig, forward on the rider positive",
    "tilt": "the jig's tilt",
    "unused": "recorded and not used",
}
_FIELDS = (
    SWEEP,
    Field("source", "string", "the board"),
    Field("count", "string", "column of counts in its raw table"),
    Field("table", "string", "the raw table"),
    Field("channel", "string", "name of the channel; missing when the board said none"),
    Field("role", "string", "part of the jig, by the rig file", categories=ROLES),
    Field("load", "string", "column of strokes and loads that it shows in; missing when it is in none"),
    Field("unit", "string", "of the value, UCUM"),
    Field(
        "coefficients",
        "array",
        "c_0, c_1, c_2 ... of p(x) = c_0 + c_1 x + c_2 x^2 ...: a cell shows p(count) - p(zero_counts), the tilt is "
        "p(count). Cross-talk and the fixture's own weight over tilt come on top, where calibrations.content has them",
        json_schema={"type": "array", "items": number("c_i")},
    ),
    Field("zero_counts", "number", "reading of the empty jig: as the sweep began, else the calibration's own"),
)
_UNITS = {"force": "N", "tilt": "deg"}


def channel_table(name: str, items: Sequence[Item], calibration: Mapping[str, Any], rig: str) -> Table:
    """A row for each column of counts. calibration: its content; empty if it is lost. rig: the rig file's text."""
    widths = {item.source: item.counts.shape[1] for item in items if isinstance(item, Samples)}
    calibrated = {channel["name"]: channel for channel in calibration.get("channels", ())}
    roles = _roles(rig)
    zeros = dict(zip(roles, _begun(items).get("zero_counts") or (), strict=False))  # in the rig file's order
    rows = []
    for source, width in sorted(widths.items()):
        names = _names(items, source)
        for i in range(width):
            channel = names[i] if i < len(names) else None
            role = None if channel is None else roles.get(channel)
            known = calibrated.get(channel, {})
            rows.append(
                (
                    name, source, f"count_{i}", f"raw_{quote(source, safe='')}", channel, role,
                    _load(channel, role), _UNITS.get(known.get("kind", "")),
                    json_text(known["coefficients"]) if known.get("coefficients") else None,
                    zeros.get(channel or "", known.get("zero_counts")),
                )
            )  # fmt: skip
    return table_of_rows("channels", "From columns of counts to loads", _FIELDS, rows)


def _names(items: Sequence[Item], source: str) -> list[str]:
    said = [item for item in items if isinstance(item, Hello) and item.source == source]
    if said:
        return _channels_said(said[-1].content)
    return list(_begun(items).get("channels", ())) if source == BOARD else []


def _channels_said(hello: Any) -> list[str]:
    """The names of a hello's channels; none of one that somebody else has sealed and that says nothing of a hello."""
    channels = hello.get("channels") if isinstance(hello, dict) else None
    said = channels if isinstance(channels, list) else []
    return [str(each["name"]) if isinstance(each, dict) and "name" in each else "" for each in said]


def _begun(items: Sequence[Item]) -> Mapping[str, Any]:
    """The content of the event that begins the sweep; empty if it is lost."""
    found = [item.content for item in items if isinstance(item, Event) and item.kind == SWEEP_BEGUN]
    return found[-1] if found else {}


def _roles(rig: str) -> dict[str, str]:
    try:
        return {channel.name: channel.role for channel in parse_rig(rig).channels}
    except RigError:
        return {}


def _load(channel: str | None, role: str | None) -> str | None:
    if role in NORMAL + TANGENTIAL:
        return f"cell_{channel}_n"
    return "tilt_deg" if role == "tilt" else None
