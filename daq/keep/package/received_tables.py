"""The tables of one exported sweep that hold what was received and kept: enough to compute all the rest again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any
from urllib.parse import quote

import numpy as np

from daq.items import Event, Hello, Item, Notification
from daq.keep.json_text import json_text
from daq.keep.package import json_columns
from daq.keep.package.tables import SWEEP, Field, Table, table_of_rows
from daq.keep.store.sessions import ResultRecord
from daq.values import Samples

STATES = {
    "finished": "all positions were ridden, or the fitter had enough",
    "stopped": "the stop was pressed",
    "cut off": "closed later, after a power cut or the daemon's end",
}
RECEIVED = Field("received_us", "integer", "host receipt time, session clock", "us")


def raw_tables(name: str, items: Iterable[Item]) -> list[Table]:
    """One table of scans per source, and the tables of notifications, hellos and events."""
    scans: dict[str, list[Samples]] = {}
    notifications: list[Notification] = []
    hellos: list[Hello] = []
    events: list[Event] = []
    for item in items:
        match item:
            case Samples():
                scans.setdefault(item.source, []).append(item)
            case Notification():
                notifications.append(item)
            case Hello():
                hellos.append(item)
            case Event():
                events.append(item)
    tables = [_scans(name, source, parts) for source, parts in sorted(scans.items())]
    return [*tables, _notifications(name, notifications), _hellos(name, hellos), _events(name, events)]


def sweep_table(name: str, row: Mapping[str, Any]) -> Table:
    """The one row that says what the sweep was."""
    fields = (
        Field("rider", "string", "pseudonym"),
        Field("simulated", "boolean", "whether rider and jig were simulated"),
        Field("session_started_utc", "string", "wall clock at session time 0, ISO 8601 with offset"),
        Field("monotonic_origin_ns", "integer", "the host's monotonic clock at session time 0", "ns"),
        Field("software", "string", "version of the program that recorded it"),
        Field("from_us", "integer", "begin, session clock", "us"),
        Field("to_us", "integer", "end, session clock; missing when it was cut off", "us"),
        Field("state", "string", "how it ended; missing when it was cut off", categories=STATES),
        Field("gradient_pct", "number", "100 tan(tilt), nose up positive", "%"),
        Field("calibration", "string", "SHA-256 of the calibration it was ridden with"),
        Field("plan", "object", "the plan", json_schema=json_columns.PLAN),
        Field("rider_entries", "object", "what was entered of the rider", json_schema=json_columns.RIDER),
        Field("rig", "string", "the rig file as used, TOML; without its comments, unless for the client"),
    )
    columns = tuple([row[field.name]] for field in fields)
    return Table("sweep", "The sweep: who, when, how, with what", (SWEEP, *fields), ([name], *columns))


def calibration_table(name: str, kept: list[tuple[str, str, Any]]) -> Table:
    """(digest, when kept, content) of the calibrations used."""
    fields = (
        SWEEP,
        Field("calibration", "string", "SHA-256 of the content"),
        Field("kept_utc", "string", "when it was first kept, ISO 8601"),
        Field("content", "object", "the calibration", json_schema=json_columns.CALIBRATION),
    )
    rows = [(name, digest, when, json_text(content)) for digest, when, content in kept]
    return table_of_rows("calibrations", "Calibrations used", fields, rows)


def result_table(name: str, results: Iterable[ResultRecord]) -> Table:
    """Every result as it was computed at the time, with its method's version."""
    fields = (
        SWEEP,
        Field("kind", "string", "what was computed"),
        Field("method", "string", "name and version of what computed it"),
        Field("made_utc", "string", "when, ISO 8601"),
        Field("content", "object", "the result", json_schema=json_columns.RESULT),
    )
    rows = [(name, one.kind, one.method, one.made_utc, json_text(one.content)) for one in results]
    return table_of_rows("results", "Results as computed at the time, oldest first", fields, rows)


def _scans(name: str, source: str, parts: list[Samples]) -> Table:
    channels = {part.counts.shape[1] for part in parts}
    if len(channels) > 1:
        raise ValueError(f"'{source}' changed from {min(channels)} to {max(channels)} channels within the sweep")
    fields = (
        RECEIVED,
        Field("ticks_us", "integer", "the board's clock, 32 bit, wraps", "us"),
        Field("sequence", "integer", "16 bit, wraps"),
        Field("status", "integer", "bits: 1 saturated, 2 converter error, 4 tare button, 8 crank mark"),
        *(Field(f"count_{i}", "integer", f"converter counts, channel {i}") for i in range(channels.pop())),
    )
    counts = np.concatenate([part.counts for part in parts])
    columns = (
        *(
            np.concatenate([getattr(part, column) for part in parts]).astype(np.int64)
            for column in ("received_us", "ticks_us", "sequence", "status")
        ),
        *counts.T.astype(np.int64),
    )
    description = f"Raw scans of {source}: the truth everything else is computed from"
    return Table("raw_" + quote(source, safe=""), description, (SWEEP, *fields), ([name] * len(counts), *columns))


def _notifications(name: str, found: list[Notification]) -> Table:
    fields = (
        SWEEP,
        RECEIVED,
        Field("source", "string", "the sensor"),
        Field("characteristic", "string", "UUID"),
        Field("payload", "string", "bytes, hexadecimal"),
    )
    rows = [(name, one.received_us, one.source, one.characteristic, one.payload.hex()) for one in found]
    return table_of_rows("notifications", "Raw Bluetooth LE notifications", fields, rows)


def _hellos(name: str, found: list[Hello]) -> Table:
    content = Field("content", "object", "what it said", json_schema=json_columns.HELLO)
    fields = (SWEEP, RECEIVED, Field("source", "string", "the board"), content)
    rows = [(name, one.received_us, one.source, json_text(one.content)) for one in found]
    return table_of_rows("hellos", "What boards said of themselves", fields, rows)


def _events(name: str, found: list[Event]) -> Table:
    content = Field("content", "object", "what belongs to it", json_schema=json_columns.EVENT)
    fields = (SWEEP, RECEIVED, Field("kind", "string", "what happened"), content)
    rows = [(name, one.received_us, one.kind, json_text(one.content)) for one in found]
    return table_of_rows("events", "What fitter and daemon did", fields, rows)
