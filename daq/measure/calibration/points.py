"""A table of calibration points: text in, loads and readings out, or an error that names every wrong line.

Columns: `reading`, and `load_n` or `mass_kg`; also, when they are known, `u_load_n` (standard uncertainty of the load,
newtons), `weights` (any word; loads with the same word come from one set of weights and share its error), `series` (a
number, the same for one loading up and down) and `direction` (up or down). Other columns are ignored. Columns are
separated by comma, semicolon or tab; with semicolon or tab a decimal comma is understood. Lines that begin with # and
empty lines are comments.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from daq.physics import STANDARD_G_M_S2
from daq.text import checked_line
from daq.values import Array, Ints

AIR_KG_M3 = 1.2
WEIGHT_KG_M3 = 8000.0
"""Conventional density of weights and of the air they are calibrated in (OIML D 28)."""
MOST_BYTES, MOST_POINTS = 256 * 1024, 1000
"""The most points of a table. A thorough calibration of one cell has 60; the search for blunders takes time
proportional to the square of their number."""
MOST = 1e12
"""No load, reading or number of a series is larger: what is was meant as something else, and its square overflows."""
KNOWN = ("load_n", "mass_kg", "reading", "u_load_n", "weights", "series", "direction")
TEXTS = ("weights", "direction")
ENDS_OF_RANGE = tuple(sign * (1 << bits - 1) - (sign > 0) for bits in (24, 32) for sign in (1, -1))
"""Readings of a saturated converter of 24 or 32 bits."""


class PointsError(ValueError):
    """The points are invalid; the text says which line, what was expected and what was found."""


@dataclass(frozen=True, eq=False, slots=True)
class Points:
    """n calibration points in the order taken."""

    load_n: Array
    reading: Array
    u_load_n: Array | None
    weights: tuple[str, ...] | None
    """The set of weights of each load."""
    series: Ints | None
    falling: tuple[bool, ...] | None
    """Whether each point was reached by removing weight."""
    lines: tuple[int, ...]
    """Line of the text each came from."""
    ignored: tuple[str, ...]
    """Names of ignored columns."""
    from_mass: bool
    """Loads were given as masses."""


def buoyancy_factor(air_kg_m3: float = AIR_KG_M3) -> float:
    """Force of a weight hanging in air over its mass times gravity: 1 - air density / weight density."""
    return 1.0 - air_kg_m3 / WEIGHT_KG_M3


def parse_points(text: str, *, g_m_s2: float = STANDARD_G_M_S2, air_kg_m3: float = AIR_KG_M3) -> Points:
    """The points a table describes; masses become forces m g (1 - air density / 8000 kg/m^3).

    Raises PointsError with one sentence per wrong line.
    """
    rows, names, decimal_comma = _rows(text)
    columns = {name: names.index(name) for name in KNOWN if name in names}
    _check_columns(names, columns)
    problems: list[str] = []
    table: dict[str, list[float]] = {name: [] for name in columns if name not in TEXTS}
    falling: list[bool] = []
    for line, row in rows:
        if len(row) != len(names):
            problems.append(f"line {line}: expected {len(names)} columns ({', '.join(names)}), got {len(row)}")
            continue
        for name, values in table.items():
            values.append(_number(row[columns[name]], name, line, decimal_comma, problems))
        if "direction" in columns:
            falling.append(_is_falling(row[columns["direction"]], line, problems))
        if "weights" in columns and not row[columns["weights"]]:
            problems.append(f"line {line}: weights: expected the name of a set of weights, got an empty cell")
    _check_readings(table["reading"], [line for line, _ in rows], problems)
    if problems:
        raise PointsError("\n".join(problems))
    newtons = 1.0 if "load_n" in columns else g_m_s2 * buoyancy_factor(air_kg_m3)
    load_n = newtons * np.array(table["load_n" if "load_n" in columns else "mass_kg"])
    _check_uncertainties(table.get("u_load_n", []), float(load_n.max(initial=0.0)), [line for line, _ in rows])
    return Points(
        load_n=load_n,
        reading=np.array(table["reading"]),
        u_load_n=np.array(table["u_load_n"]) if "u_load_n" in columns else None,
        weights=tuple(row[columns["weights"]] for _, row in rows) if "weights" in columns else None,
        series=np.array(table["series"]).astype(np.int64) if "series" in columns else None,
        falling=tuple(falling) if falling else None,
        lines=tuple(line for line, _ in rows),
        ignored=tuple(name for name in names if name not in KNOWN or (name == "weights" and "u_load_n" not in columns)),
        from_mass="load_n" not in columns,
    )


def _rows(text: str) -> tuple[list[tuple[int, list[str]]], list[str], bool]:
    """(line, cells) of every row, the names of the columns, and whether a comma is a decimal sign."""
    kept = [
        (number, line)
        for number, line in enumerate(text.removeprefix("\ufeff").splitlines(), 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not kept:
        raise PointsError("expected a line of column names (load_n or mass_kg, reading) and points, got an empty table")
    separator = next((mark for mark in ";\t" if mark in kept[0][1]), ",")
    if len(kept) > MOST_POINTS + 1:
        raise PointsError(f"expected at most {MOST_POINTS} points, got {len(kept) - 1}")
    split = [(number, _cells(number, line, separator)) for number, line in kept]
    return split[1:], [name.lower() for name in split[0][1]], separator != ","


def _cells(number: int, line: str, separator: str) -> list[str]:
    """The cells of one line, which is one row."""
    if line.count('"') % 2:
        raise PointsError(f"line {number}: a quotation mark without its pair; one line for each point")
    try:
        return [checked_line(cell.strip()) for row in csv.reader([line], delimiter=separator) for cell in row]
    except (csv.Error, ValueError) as error:
        raise PointsError(f"line {number}: expected cells of {error}") from error


def _check_columns(names: list[str], columns: dict[str, int]) -> None:
    got = ", ".join(names)
    twice = [name for name in columns if names.count(name) > 1]
    if twice:
        raise PointsError(f"column {', '.join(twice)} appears twice; expected each once")
    if "reading" not in columns:
        raise PointsError(f"expected a column 'reading', got {got}")
    if "load_n" not in columns and "mass_kg" not in columns:
        raise PointsError(f"expected a column 'load_n' (newtons) or 'mass_kg' (kilograms), got {got}")
    if "load_n" in columns and "mass_kg" in columns:
        raise PointsError("expected loads once, got both 'load_n' and 'mass_kg'; leave one out")


def _number(cell: str, name: str, line: int, decimal_comma: bool, problems: list[str]) -> float:
    try:
        value = float(cell.replace(",", ".") if decimal_comma else cell)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        problems.append(f"line {line}: {name}: expected a number, got {cell!r}")
    elif abs(value) > MOST:
        problems.append(f"line {line}: {name}: expected a number up to {MOST:g}, got {cell}")
    elif name in ("load_n", "mass_kg", "u_load_n") and value < 0.0:
        problems.append(f"line {line}: {name}: expected a number of at least 0, got {cell}; loads press down")
    elif name == "series" and value != round(value):
        problems.append(f"line {line}: series: expected a whole number, got {cell}")
    return value


def _is_falling(cell: str, line: int, problems: list[str]) -> bool:
    if cell.lower() not in ("up", "down"):
        problems.append(f"line {line}: direction: expected up or down, got {cell!r}")
    return cell.lower() == "down"


def _check_uncertainties(u_load_n: Iterable[float], most_n: float, lines: list[int]) -> None:
    problems = [
        f"line {line}: u_load_n: expected less than the largest load, {most_n:g} N, got {u:g}; it is in newtons"
        for u, line in zip(u_load_n, lines, strict=False)
        if u > most_n
    ]
    if problems:
        raise PointsError("\n".join(problems))


def _check_readings(readings: Iterable[float], lines: list[int], problems: list[str]) -> None:
    for reading, line in zip(readings, lines, strict=False):
        if reading in ENDS_OF_RANGE:
            problems.append(
                f"line {line}: reading {reading:.0f} is the end of the converter's range: the cell is saturated. "
                "Take weight off, or lower the gain, and repeat this point"
            )
