"""A table of scale and caliper readings as text: read, or refused with a sentence that says where it is wrong."""

from __future__ import annotations

import csv
import math

import numpy as np

from daq.proof.scale import CALIPER_WITHIN_MM, ScaleError
from daq.values import Array, Bools

MOST_BYTES, MOST_ROWS = 64 * 1024, 500
COLUMNS = ("reading_mm", "caliper_mm", "direction")


def parse_scale(text: str) -> tuple[Array, Array, Bools]:
    """Readings, caliper values, and whether each was reached coming forward. Lines that begin with # are left out.

    Separated by comma, semicolon or tab, with decimal commas where the separator is none. ScaleError.
    """
    rows = [row for row in text.removeprefix("\ufeff").splitlines() if row.strip() and not row.startswith("#")]
    separator = next((mark for mark in ";\t" if rows and mark in rows[0]), ",")
    table = [[cell.strip() for cell in cells] for cells in csv.reader(rows, delimiter=separator)]
    if not table or table[0] != list(COLUMNS):
        raise ScaleError(f"expected a first line {','.join(COLUMNS)}")
    if len(table) > MOST_ROWS:
        raise ScaleError(f"expected at most {MOST_ROWS - 1} readings, got {len(table) - 1}")
    for number, row in enumerate(table[1:], 1):
        if len(row) != len(COLUMNS) or row[2] not in ("forward", "back"):
            raise ScaleError(f"reading {number}: expected two numbers and forward or back, got {', '.join(row)[:80]}")
    numbers = np.array([[_number(cell, number) for cell in row[:2]] for number, row in enumerate(table[1:], 1)])
    reading_mm, caliper_mm = numbers.reshape(-1, 2).T
    for number, apart_mm in enumerate(np.abs(caliper_mm - reading_mm), 1):
        if apart_mm > CALIPER_WITHIN_MM:
            raise ScaleError(
                f"reading {number}: scale and caliper are {apart_mm:.0f} mm apart; expected {CALIPER_WITHIN_MM:g} mm "
                "at most: are both in millimetres, and the caliper from the BB's axis back?"
            )
    return reading_mm, caliper_mm, np.array([row[2] == "forward" for row in table[1:]], dtype=bool)


def _number(cell: str, number: int) -> float:
    try:
        value = float(cell.replace(",", "."))
    except ValueError:
        value = math.nan
    if not -1000.0 < value < 1000.0:
        raise ScaleError(f"reading {number}: expected millimetres, got {cell[:40]!r}")
    return value
