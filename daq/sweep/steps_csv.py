"""A table of steps as text: read into StepMeans, or refused with a sentence that says what is wrong and where.

    setback_mm       positive behind the BB     needed
    hand_load_n                                 needed
    se_n             standard error of it       optional, as are the others
    t_min            minutes, or, where they are not known on every line,
    order            1, 2, 3 ... as ridden
    crank_torque_nm
    saddle_load_n    support force at the saddle
    weight_line_mm   of the rider, forward of the BB; needs nose and rear cells
    direction        forward or back: how the saddle came
    u_setback_mm     standard uncertainty of where the saddle was
    bar_x_mm, bar_y_mm, saddle_height_mm   as set: bar forward of and above the BB, BB to saddle
    saddle_tilt_deg  as set, against the jig, nose up positive

Comma, semicolon or tab separated, with decimal commas where the separator is none. Lines that start with #, and a
spreadsheet's sep=, are left out. An empty cell of an optional column is "not known". Numbers that can only be in
another unit are refused: an answer in the wrong unit looks like any other answer.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass

from daq.sweep.columns import (
    DIRECTION,
    KNOWN,
    LIGHT_N,
    NEEDED,
    NUMBER,
    OPTIONAL,
    BadTable,
    check_settings,
    check_units,
    check_ways,
    doubts_of_times,
    number_of,
    shown,
    way_of,
)
from daq.sweep.onset import METHOD, STEP_OFF_MM, onset
from daq.sweep.validity.conditions import Conditions
from daq.sweep.validity.judged import judged
from daq.text import checked_line
from daq.values import NAN, Onset, Setting, StepMean

MOST_STEPS = 500
"""45 visits to each of 11 positions, more than anybody rides; more lines than that are strokes or scans, which are not
independent as steps are. Computing this many takes half a second."""
MOST_CHARACTERS = 1_000_000
MINUTES_PER_STEP = 0.75
"""The assumed duration of one position: moving, settling and dwell. Common practice, no source."""
LONGEST_LINE = 10_000
"""Far below the longest cell the csv module reads, a limit that any other module may change."""

__all__ = ["BadTable", "StepTable", "answered", "read_table"]


@dataclass(frozen=True, slots=True)
class StepTable:
    """A table as read."""

    steps: list[StepMean]
    conditions: Conditions
    """What the table says about the sweep besides its steps."""
    warnings: list[str]
    """One sentence for each thing that was not used."""


def read_table(text: str) -> StepTable:
    """The steps in the table's order. BadTable for anything that cannot be read as steps."""
    header, rows = _table(text)
    _check_header(header)
    lines = [line for line, _ in rows]
    unknown = [name for name in header if name and name not in KNOWN]
    warnings = [f"not used: column {shown(unknown)}; known are {', '.join(KNOWN)}"] if unknown else []
    columns = {
        name: [number_of(name, row[i], line) for line, row in rows]
        for i, name in enumerate(header)
        if name in NEEDED + OPTIONAL
    }
    check_units(columns)
    check_settings(columns, lines)
    if max(columns["hand_load_n"]) < LIGHT_N:
        warnings.append(
            f"hand_load_n never reaches {LIGHT_N:g} N: multiply by 9.81 if these are kilograms, by 4.45 if pounds"
        )
    minutes, doubts = _minutes(columns, rows)
    warnings += doubts
    errors_n = columns.get("se_n", [])
    if any(map(math.isnan, errors_n)) and not all(map(math.isnan, errors_n)):
        warnings.append("not used: column se_n; it is empty on some lines")
        errors_n = []
    steps = _steps(columns, minutes, errors_n, len(rows))
    ways = tuple(way_of(row[header.index(DIRECTION)], line) for line, row in rows) if DIRECTION in header else ()
    places = [step.t_min for step in steps]
    if ways and not any(map(math.isnan, places)):
        check_ways(ways, columns["setback_mm"], places, lines)
    return StepTable(steps, Conditions(torque_expected="crank_torque_nm" in columns, ways=ways), warnings)


def answered(table: StepTable, *, step_off_mm: float = STEP_OFF_MM, method: str = METHOD) -> Onset:
    """The statistical answer, judged by the tests of validity as far as the table allows. ValueError."""
    return judged(onset(table.steps, step_off_mm=step_off_mm, method=method), table.steps, table.conditions)


def _table(text: str) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """Header and numbered rows, cells stripped, decimal commas turned into points."""
    if len(text) > MOST_CHARACTERS:
        raise BadTable(f"expected a table of at most {MOST_STEPS} steps, got more than {MOST_CHARACTERS} characters")
    lines = [(i, line) for i, line in enumerate(text.removeprefix("\ufeff").splitlines(), 1)]
    lines = [(i, line) for i, line in lines if line.strip() and not line.lstrip().lower().startswith(("#", "sep="))]
    if not lines:
        raise BadTable(f"the table is empty; expected a line with {', '.join(NEEDED)} and one line for each step")
    separator = next((s for s in ("\t", ";") if s in lines[0][1]), ",")
    if len(lines) > MOST_STEPS + 1:
        raise BadTable(
            f"expected at most {MOST_STEPS} steps, got {len(lines) - 1} lines: one line for each visit to a position, "
            "its mean load; strokes and scans have to be averaged first"
        )
    rows = [(i, _cells(i, line, separator)) for i, line in lines]
    header = [name.strip().lower() for name in rows[0][1]]
    cells = [(i, [_point(cell.strip(), separator) for cell in row]) for i, row in rows[1:]]
    for i, row in cells:
        if len(row) != len(header):
            raise BadTable(f"line {i}: expected {len(header)} cells as in the first line, got {len(row)}")
    return header, cells


def _cells(i: int, line: str, separator: str) -> list[str]:
    if line.count('"') % 2:
        raise BadTable(f"line {i}: a quotation mark without its pair; one line for each step, and no breaks within it")
    if len(line) > LONGEST_LINE:
        raise BadTable(f"line {i}: not a line of a table: {len(line)} characters")
    try:
        cells = next(csv.reader([line], delimiter=separator, skipinitialspace=True))
        return [checked_line(cell.strip()) for cell in cells]
    except (csv.Error, ValueError) as error:
        raise BadTable(f"line {i}: expected cells of {error}") from error


def _point(cell: str, separator: str) -> str:
    return cell if separator == "," else cell.replace(",", ".")


def _check_header(header: Sequence[str]) -> None:
    if all(NUMBER.fullmatch(name) for name in header):
        raise BadTable(f"the first line holds numbers; expected the names of the columns, {', '.join(NEEDED)}")
    twice = sorted({name for name in header if name and header.count(name) > 1})
    if twice:
        raise BadTable(f"column {shown(twice)} is there more than once; keep one")
    missing = [name for name in NEEDED if name not in header]
    if missing:
        raise BadTable(
            f"no column {', '.join(missing)}; expected a first line with the names, separated by commas, semicolons or "
            f"tabs, got: {shown(header)}"
        )


def _minutes(columns: dict[str, list[float]], rows: Sequence[tuple[int, list[str]]]) -> tuple[list[float], list[str]]:
    """When each step was ridden, by t_min, or by order where t_min does not tell it; and what is not used of both."""
    there: list[str] = [name for name in ("t_min", "order") if name in columns]
    used = next((name for name in there if _tells_when(columns[name])), "")
    looked_at = there[: there.index(used) + 1] if used else there
    doubts = [doubt for name in looked_at for doubt in doubts_of_times(name, columns[name], rows)]
    if len(looked_at) < len(there):
        doubts = ["not used: column order; t_min is there", *doubts]
    if used == "order":
        return [MINUTES_PER_STEP * place for place in columns["order"]], doubts
    return columns["t_min"] if used else [NAN] * len(rows), doubts


def _tells_when(times: Sequence[float]) -> bool:
    return len(set(times)) > 1 and not any(map(math.isnan, times))


def _steps(
    columns: dict[str, list[float]], minutes: Sequence[float], errors_n: Sequence[float], n: int
) -> list[StepMean]:
    unknown = [NAN] * n
    torque_nm = columns.get("crank_torque_nm", unknown)
    return [
        StepMean(
            setback_mm=columns["setback_mm"][i],
            hand_load_n=columns["hand_load_n"][i],
            se_n=errors_n[i] if errors_n else NAN,
            t_min=minutes[i],
            crank_torque_nm=torque_nm[i],
            saddle_load_n=columns.get("saddle_load_n", unknown)[i],
            tilt_deg=NAN,
            u_setback_mm=columns.get("u_setback_mm", unknown)[i],
            weight_line_mm=columns.get("weight_line_mm", unknown)[i],
            setting=Setting(
                saddle_height_mm=columns.get("saddle_height_mm", unknown)[i],
                bar_x_mm=columns.get("bar_x_mm", unknown)[i],
                bar_y_mm=columns.get("bar_y_mm", unknown)[i],
                saddle_tilt_deg=columns.get("saddle_tilt_deg", unknown)[i],
            ),
        )
        for i in range(n)
    ]
