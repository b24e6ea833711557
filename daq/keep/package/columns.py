"""What is read of the tables of an exported sweep: of each column, what is expected, and its values from either form of
a table."""

from __future__ import annotations

import contextlib
import datetime
import math
import reprlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from daq.keep.bounded import from_json
from daq.keep.package.batches import batches
from daq.keep.package.datapackage import Package
from daq.text import checked_line

LATEST_US = 2**62
"""Of a time: SQLite and the receipt times have 64 bits with a sign."""


@dataclass(frozen=True, slots=True)
class Column:
    """What is expected in a cell, and its value. read: ValueError or TypeError for anything else."""

    expected: str
    read: Callable[[Any], Any]
    tells_why: bool = False
    """Whether the words of its error are for people."""


def _whole(cell: Any) -> int:
    value = int(str(cell))
    if not -LATEST_US <= value <= LATEST_US:
        raise ValueError
    return value


def _finite(cell: Any) -> float:
    value = float(cell)
    if not math.isfinite(value):
        raise ValueError
    return value


def _truth(cell: Any) -> bool:
    return {"true": True, "false": False}[str(cell).lower()]


def _utc(cell: Any) -> Any:
    datetime.datetime.fromisoformat(cell)
    return cell


def _object(cell: Any) -> Any:
    content = from_json(cell)
    if not isinstance(content, dict):
        raise ValueError("it holds something else")
    return content


def _object_text(cell: Any) -> Any:
    _object(cell)
    return cell


def _text(cell: Any) -> Any:
    if not isinstance(cell, str):
        raise TypeError
    return cell


def _or_none(column: Column) -> Column:
    return Column(
        f"{column.expected} or nothing",
        lambda cell: None if cell in (None, "") else column.read(cell),
        column.tells_why,
    )


WHOLE = Column(f"a whole number within {LATEST_US}", _whole)
FINITE = Column("a finite number", _finite)
TRUTH = Column("true or false", _truth)
UTC = Column("a date and time as ISO 8601 has it", _utc)
LINE = Column("one line of text", checked_line, tells_why=True)
TEXT = Column("text", _text)
HEX = Column("bytes in hexadecimal digits", bytes.fromhex)
OBJECT = Column("a JSON object", _object, tells_why=True)
OBJECT_TEXT = Column("a JSON object", _object_text, tells_why=True)
"""Kept as text."""

TABLES: Mapping[str, Mapping[str, Column]] = {
    "sweep": {
        "rider": _or_none(LINE),
        "simulated": TRUTH,
        "session_started_utc": UTC,
        "monotonic_origin_ns": WHOLE,
        "software": LINE,
        "from_us": WHOLE,
        "to_us": _or_none(WHOLE),
        "state": _or_none(LINE),
        "gradient_pct": FINITE,
        "calibration": TEXT,
        "plan": OBJECT_TEXT,
        "rider_entries": OBJECT_TEXT,
        "rig": TEXT,
    },
    "calibrations": {"calibration": TEXT, "content": OBJECT},
    "results": {"kind": LINE, "method": LINE, "made_utc": LINE, "content": OBJECT_TEXT},
    "hellos": {"received_us": WHOLE, "source": LINE, "content": OBJECT},
    "notifications": {"received_us": WHOLE, "source": LINE, "characteristic": LINE, "payload": HEX},
    "events": {"received_us": WHOLE, "kind": LINE, "content": OBJECT},
}


def rows(package: Package, name: str) -> Iterator[dict[str, Any]]:
    """The rows of one of these tables. ValueError that names the column and what was expected."""
    columns = TABLES[name]
    with contextlib.closing(batches(package.table(name), tuple(columns))) as found:
        for batch in found:
            for cells in zip(*batch.values(), strict=True):
                yield {
                    column: _value(f"{name}.{column}", columns[column], cell)
                    for column, cell in zip(batch, cells, strict=True)
                }


def _value(where: str, column: Column, cell: Any) -> Any:
    try:
        return column.read(cell)
    except (ValueError, TypeError, LookupError) as error:
        why = f": {error}" if column.tells_why and isinstance(error, ValueError) else ""
        raise ValueError(f"{where}: expected {column.expected}, got {reprlib.repr(cell)}{why}") from error
