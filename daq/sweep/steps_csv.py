"""A table of steps as text: read into StepMeans, or refused with a sentence that says what is wrong and where.

    setback_mm       positive behind the BB     needed
    hand_load_n                                 needed
    se_n             standard error of it       optional, as are the others
    t_min            minutes, or
    order            1, 2, 3 ... as ridden
    crank_torque_nm

Comma, semicolon or tab separated, with decimal commas where the separator is none. Lines that start with #, and a
spreadsheet's sep=, are left out. An empty cell of an optional column is "not known". Numbers that can only be another
unit are refused: an answer in the wrong unit looks like an answer.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from daq.sweep.onset import METHOD, STEP_OFF_MM, onset
from daq.sweep.plan import FEWEST_POSITIONS
from daq.text import checked_line
from daq.values import NAN, Onset, StepMean

NEEDED = ("setback_mm", "hand_load_n")
OPTIONAL = ("se_n", "t_min", "order", "crank_torque_nm")
MOST_STEPS = 180
"""16 visits to each of 11 positions, more than anybody rides; more lines than that are strokes or scans, which are not
independent as steps are. The estimator's time goes with the cube of the steps: a few seconds at so many."""
MOST_CHARACTERS = 1_000_000
MINUTES_PER_STEP = 0.75
"""What one place in the order is taken to last: moving, settling and dwell. Common practice, no source."""


_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
LONGEST_LINE = 10_000
"""Far below the longest cell that the csv module reads, which any other module may change."""
LONGEST_SHOWN = 200


class BadTable(ValueError):
    """The table cannot be read as steps; the text says what was expected, what came, and where."""


@dataclass(frozen=True, slots=True)
class _Limit:
    """The numbers a column can hold, and what a number outside them is most likely."""

    low: float
    high: float
    unit: str
    else_likely: str


_LIMITS = {
    "setback_mm": _Limit(-200.0, 400.0, "mm behind the BB", "micrometres, or counted from another point"),
    "hand_load_n": _Limit(-50.0, 1500.0, "N", "grams, raw counts or the wrong sign"),
    "se_n": _Limit(1e-6, 200.0, "N", "an error that is not known: leave the cells empty"),
    "t_min": _Limit(-1e5, 1e5, "minutes", "another unit"),
    "order": _Limit(-1e5, 1e5, "a place in the order", "something else"),
    "crank_torque_nm": _Limit(-50.0, 150.0, "N m, the mean over a stroke", "watts"),
}
LEAST_SPAN_MM = 12.0
FARTHEST_CM = 30.0
"""Setbacks that all lie within 12 mm and nearer than 30 mm to the BB are a sweep in centimetres (or metres)."""
HEAVIEST_KG = 25.0
"""Hand loads that never reach 25 N are in kilograms, or pounds: an arm is about 5 % of the body (Winter 2009, segment
table, from memory), so both arms of 60 kg weigh 59 N, and a bar that carries not even half of them carries no hands."""
LIGHT_N = 40.0
"""Hands that never carry as much are possible, and likelier kilograms."""
LONGEST_SWEEP_MIN = 240.0


def parse_steps(text: str) -> tuple[list[StepMean], list[str]]:
    """The steps in the table's order, and a warning for each thing that was not used. BadTable for all else."""
    header, rows = _table(text)
    _check_header(header)
    unknown = [name for name in header if name not in NEEDED + OPTIONAL]
    named = [name for name in unknown if name]
    warnings = [f"not used: column {_shown(named)}; known are {', '.join(NEEDED + OPTIONAL)}"] if named else []
    columns = {
        name: [_number(name, row[i], line) for line, row in rows]
        for i, name in enumerate(header)
        if name not in unknown
    }
    _check_units(columns)
    if max(columns["hand_load_n"]) < LIGHT_N:
        warnings.append(
            f"hand_load_n never reaches {LIGHT_N:g} N: multiply by 9.81 if these are kilograms, by 4.45 if pounds"
        )
    if "t_min" in columns and "order" in columns:
        warnings.append("not used: column order; t_min is there")
    errors_n = columns.get("se_n", [])
    if any(map(math.isnan, errors_n)) and not all(map(math.isnan, errors_n)):
        warnings.append("not used: column se_n; it is empty on some lines")
        errors_n = []
    return _steps(columns, errors_n, len(rows)), warnings


def onset_json(
    text: str, *, step_off_mm: float = STEP_OFF_MM, method: str = METHOD
) -> tuple[dict[str, Any], list[str]]:
    """What `foreaft onset STEPS.csv --json` prints, ready for json.dumps, and the warnings. ValueError when refused."""
    steps, warnings = parse_steps(text)
    return contract(onset(steps, step_off_mm=step_off_mm, method=method)), warnings


def contract(answer: Onset) -> dict[str, Any]:
    """The answer under the keys other programs may rely on; a number that is not justified is None."""
    content: dict[str, Any] = {
        "verdict": str(answer.verdict),
        "gradual": answer.gradual,
        "onset_mm": answer.onset_mm,
        "interval_95_mm": None if answer.interval_95_mm is None else list(answer.interval_95_mm),
        "p_onset": answer.p_onset,
        "p_light": answer.p_light,
        "p_loaded": answer.p_loaded,
        "least_squares_mm": answer.least_squares_mm,
        "rss": answer.rss,
        "suggested_setback_mm": answer.suggested_setback_mm,
        "light_load_n": answer.light_load_n,
        "slope_n_per_mm": answer.slope_n_per_mm,
        "reasons": list(answer.reasons),
        "method": answer.method,
    }
    return {key: None if isinstance(value, float) and math.isnan(value) else value for key, value in content.items()}


def _table(text: str) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """Header and numbered rows, cells stripped, decimal commas made points."""
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


def _shown(names: Sequence[str]) -> str:
    """Names of a header as they may be printed: a file of anything may have been given for a table."""
    text = ", ".join(names)
    text = "".join(letter if letter.isprintable() else "?" for letter in text)
    return text if len(text) <= LONGEST_SHOWN else text[:LONGEST_SHOWN] + "..."


def _point(cell: str, separator: str) -> str:
    return cell if separator == "," else cell.replace(",", ".")


def _check_header(header: Sequence[str]) -> None:
    if all(_NUMBER.fullmatch(name) for name in header):
        raise BadTable(f"the first line holds numbers; expected the names of the columns, {', '.join(NEEDED)}")
    twice = sorted({name for name in header if name and header.count(name) > 1})
    if twice:
        raise BadTable(f"column {_shown(twice)} is there more than once; keep one")
    missing = [name for name in NEEDED if name not in header]
    if missing:
        raise BadTable(
            f"no column {', '.join(missing)}; expected a first line with the names, separated by commas, semicolons or "
            f"tabs, got: {_shown(header)}"
        )


def _number(name: str, cell: str, line: int) -> float:
    if not cell and name in OPTIONAL:
        return NAN
    value = float(cell) if _NUMBER.fullmatch(cell) else NAN
    if not math.isfinite(value):
        hint = "leave the cell empty when it is not known" if name in OPTIONAL else "leave the step out"
        if _NUMBER.fullmatch(cell.replace(",", ".")):
            hint = "decimals with a comma need semicolons between the columns"
        raise BadTable(f"line {line}: {name}: expected a number, got {_shown([cell]) or 'nothing'}; {hint}")
    limit = _LIMITS[name]
    if not limit.low <= value <= limit.high:
        raise BadTable(
            f"line {line}: {name}: expected {limit.low:g} to {limit.high:g} {limit.unit}, got {value:g}; "
            f"it looks like {limit.else_likely}"
        )
    return value


def _check_units(columns: dict[str, list[float]]) -> None:
    setback, hands = columns["setback_mm"], columns["hand_load_n"]
    if len(set(setback)) < FEWEST_POSITIONS:
        raise BadTable(f"expected {FEWEST_POSITIONS} or more different setbacks, got {len(set(setback))}")
    if max(setback) - min(setback) < LEAST_SPAN_MM and max(map(abs, setback)) < FARTHEST_CM:
        raise BadTable(
            f"setback_mm goes from {min(setback):g} to {max(setback):g}: that looks like cm or m; expected mm"
        )
    if max(setback) <= 0.0:
        raise BadTable(
            f"setback_mm goes from {min(setback):g} to {max(setback):g}, all in front of the BB; "
            "expected positive behind it: turn the sign"
        )
    if max(map(abs, hands)) < HEAVIEST_KG:
        raise BadTable(
            f"hand_load_n goes from {min(hands):g} to {max(hands):g}: that looks like kilograms or pounds, or "
            "like cells that read nothing; expected newtons"
        )
    minutes = [t for t in columns.get("t_min", []) if not math.isnan(t)]
    if minutes and max(minutes) - min(minutes) > LONGEST_SWEEP_MIN:
        raise BadTable(
            f"t_min goes from {min(minutes):g} to {max(minutes):g}: that looks like seconds; expected minutes"
        )


def _steps(columns: dict[str, list[float]], errors_n: Sequence[float], n: int) -> list[StepMean]:
    unknown = [NAN] * n
    minutes = columns.get("t_min") or [MINUTES_PER_STEP * place for place in columns.get("order", unknown)]
    torque_nm = columns.get("crank_torque_nm", unknown)
    return [
        StepMean(
            setback_mm=columns["setback_mm"][i],
            hand_load_n=columns["hand_load_n"][i],
            se_n=errors_n[i] if errors_n else NAN,
            t_min=minutes[i],
            crank_torque_nm=torque_nm[i],
            saddle_load_n=NAN,
            tilt_deg=NAN,
        )
        for i in range(n)
    ]
