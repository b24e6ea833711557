"""The computed tables of one exported sweep: steps, strokes, loads, the answer, and what computed them."""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from daq.keep.again.derived import UNKNOWN, Derived, exclusions, step_of_strokes, step_of_times
from daq.keep.package.json_columns import SENTENCES
from daq.keep.package.tables import SWEEP, Field, Table, table_of_rows
from daq.values import Array, Result, Verdict

NEWTON = "N"
LOAD_STEP_N, TILT_STEP_DEG = 2.0**-8, 2.0**-12
"""Scan by scan, loads and tilt are rounded to these steps. From one scan to the next, pedalling moves a load hundreds
of times as far, and numbers that end in zero bits compress to a quarter. Strokes, steps and the answer come from
unrounded loads."""
TIME_STEP_S = 2.0**-20
VERDICTS = {
    str(Verdict.ONSET): "hand load begins to rise inside the sweep, at onset_mm",
    str(Verdict.LIGHT): "the hands were light at every position: the onset lies forward of the sweep, or there is none",
    str(Verdict.LOADED): "the hands were loaded at every position: the onset lies behind the sweep, or there is none",
    str(
        Verdict.RISE_SEEN
    ): "hand load rises, and nobody measured the effort, which may have made it: no place is named",
    str(Verdict.UNDECIDED): "the data do not tell, or a test of the sweep's validity forbids an answer: see reasons",
}
RESULTS = {
    str(Result.PASSED): "tested, and nothing found",
    str(Result.FAILED): "tested, and found: see means and forbids",
    str(Result.NOT_MADE): "what the test needs was not measured or ridden",
}


def derived_tables(name: str, derived: Derived) -> list[Table]:
    """Steps, strokes, exclusions, loads, onset, validity, clocks and methods, computed for this export."""
    return [
        _steps(name, derived),
        _strokes(name, derived),
        _exclusions(name, derived),
        _loads(name, derived),
        _onset(name, derived),
        _validity(name, derived),
        _clocks(name, derived),
        _methods(name, derived),
    ]


STEPS = (
    SWEEP,
    Field("step", "integer", "from 1, in the order ridden"),
    Field("setback_mm", "number", "saddle behind the bottom bracket", "mm"),
    Field("hand_load_n", "number", "mean support force at the hands along the jig normal", NEWTON),
    Field(
        "se_n",
        "number",
        "standard error of hand_load_n over its strokes, by one model of sway and scatter over the strokes of all "
        "steps; independent between steps. Missing with too few strokes",
        NEWTON,
    ),
    Field(
        "se_stated_n",
        "number",
        "se_n combined with the scatter of the steps about the curve, as pages show it; a fit that estimates "
        "this scatter itself takes se_n",
        NEWTON,
    ),
    Field(
        "u_hand_calibration_n",
        "number",
        "standard uncertainty of hand_load_n by the calibration's budget, nearly one error on all steps. Missing "
        "when a cell has no budget",
        NEWTON,
    ),
    Field(
        "u_hand_load_n",
        "number",
        "combined standard uncertainty of hand_load_n: se_n and calibration",
        NEWTON,
    ),
    Field("saddle_load_n", "number", "mean support force at the saddle", NEWTON),
    Field(
        "u_saddle_calibration_n",
        "number",
        "standard uncertainty of saddle_load_n by the calibration's budget",
        NEWTON,
    ),
    Field("crank_torque_nm", "number", "mean crank torque; missing when unknown", "N.m"),
    Field("tilt_deg", "number", "jig tilt, nose up positive", "deg"),
    Field("t_min", "number", "middle of the dwell, session time", "min"),
    Field("strokes", "integer", "strokes averaged"),
    Field("excluded", "integer", "strokes left out"),
    Field(
        "weight_line_mm",
        "number",
        "where the rider's weight line crosses the x axis, forward of the bottom bracket. Cells of one axis do not see "
        "forces along the jig: the hands' mean force along it is taken from the table [unseen] of sweep.rig, else as "
        "0 +- 20 N (standard uncertainty, an assumption), and the feet's as 0; where channels has a role `hands "
        "tangential`, as that cell measured it, and with `saddle tangential` too nothing is assumed. Where tilt_deg is "
        "missing, the jig is taken to stand at the sweep's gradient_pct. Missing where no nose and rear cells show it",
        "mm",
    ),
    Field(
        "u_weight_line_mm",
        "number",
        "standard uncertainty of weight_line_mm, nearly one error on all steps of a rider: the hands' force as assumed "
        "there, the feet's 12 N or 0.6 of the hands' if that is more, each load 2 N and its place 5 mm, torque 2 %",
        "mm",
    ),
    Field("u_setback_mm", "number", "standard uncertainty of setback_mm as the saddle was placed", "mm"),
    Field("saddle_height_mm", "number", "as set: bottom bracket to saddle along the seat tube's line", "mm"),
    Field("bar_x_mm", "number", "as set: bar forward of the bottom bracket, where the hands rest", "mm"),
    Field("bar_y_mm", "number", "as set: bar above the bottom bracket along the jig's normal", "mm"),
    Field("saddle_tilt_deg", "number", "as set: the saddle against the jig, nose up positive", "deg"),
)


def _steps(name: str, derived: Derived) -> Table:
    known = derived.uncertainties or (UNKNOWN,) * len(derived.steps)
    rows = [
        (
            name, number, step.setback_mm, step.hand_load_n, u.se_n, u.stated_n, u.hands_calibration_n,
            u.hands_n, step.saddle_load_n, u.saddle_calibration_n, step.crank_torque_nm, step.tilt_deg, step.t_min,
            len(step.strokes), step.excluded, step.weight_line_mm, step.u_weight_line_mm, step.u_setback_mm,
            step.setting.saddle_height_mm, step.setting.bar_x_mm, step.setting.bar_y_mm, step.setting.saddle_tilt_deg,
        )
        for number, (step, u) in enumerate(zip(derived.steps, known, strict=True), start=1)
    ]  # fmt: skip
    return table_of_rows("steps", "Saddle positions, settled and averaged over whole strokes", STEPS, rows)


def _strokes(name: str, derived: Derived) -> Table:
    fields = (
        SWEEP,
        Field("stroke", "integer", "from 1"),
        Field("step", "integer", "the step it was averaged in; missing when it was left out, see exclusions"),
        Field("start_s", "number", "session time", "s"),
        Field("end_s", "number", "session time", "s"),
        Field("hands_n", "number", "mean support force at the hands", NEWTON),
        Field("saddle_n", "number", "mean support force at the saddle", NEWTON),
        Field("feet_n", "number", "the remainder of the weight: a difference, not a measurement", NEWTON),
        Field("tilt_deg", "number", "jig tilt", "deg"),
        Field("crank_torque_nm", "number", "mean crank torque", "N.m"),
        Field("power_w", "number", "mean power", "W"),
        Field("cadence_rpm", "number", "60 / duration", "{rev}/min"),
        Field("scans", "integer", "scans averaged"),
        Field("flags", "integer", "status bits seen, as in the raw"),
        *(Field(f"cell_{cell}_n", "number", f"mean of cell {cell}", NEWTON) for cell in derived.cells),
    )
    rows = [
        (
            name, number, step, one.start_s, one.end_s, one.hands_n, one.saddle_n, one.feet_n, one.tilt_deg,
            one.crank_torque_nm, one.power_w, one.cadence_rpm, one.scans, int(one.flags), *one.cells_n,
        )
        for number, (one, step) in enumerate(zip(derived.strokes, step_of_strokes(derived), strict=True), start=1)
    ]  # fmt: skip
    return table_of_rows("strokes", "Crank revolutions", fields, rows)


def _exclusions(name: str, derived: Derived) -> Table:
    fields = (
        SWEEP,
        Field("stroke", "integer", "number in strokes"),
        Field("start_s", "number", "session time", "s"),
        Field("reason", "string", "why it is in no step's mean"),
    )
    rows = [(name, number, stroke.start_s, reason) for number, stroke, reason in exclusions(derived)]
    return table_of_rows("exclusions", "Strokes left out, and why", fields, rows)


def _loads(name: str, derived: Derived) -> Table:
    fields = (
        SWEEP,
        Field("t_s", "number", "session time of the scan, to 0.5 us", "s"),
        Field("step", "integer", "the step in whose mean the scan's stroke is; missing when it is in none"),
        Field("hands_n", "number", f"support force at the hands along the jig normal; {_ROUNDED}", NEWTON),
        Field("saddle_n", "number", f"support force at the saddle; {_ROUNDED}", NEWTON),
        Field("tilt_deg", "number", "jig tilt; rounded to 1/4096 deg, so within 0.00013 deg", "deg"),
        Field("status", "integer", "status bits as in the raw"),
        *(Field(f"cell_{cell}_n", "number", f"cell {cell}; {_ROUNDED}", NEWTON) for cell in derived.cells),
    )
    if not derived.loads:
        return table_of_rows("loads", "Calibrated loads, scan by scan", fields, [])
    t_s, hands_n, saddle_n, tilt_deg, status = (
        np.concatenate([getattr(part, column) for part in derived.loads])
        for column in ("t_s", "hands_n", "saddle_n", "tilt_deg", "status")
    )
    cells_n = np.concatenate([part.cells_n for part in derived.loads])
    columns = (
        _rounded(t_s, TIME_STEP_S),
        step_of_times(derived, t_s),
        _rounded(hands_n, LOAD_STEP_N),
        _rounded(saddle_n, LOAD_STEP_N),
        _rounded(tilt_deg, TILT_STEP_DEG),
        status.astype(np.int64),
        *_rounded(cells_n.T, LOAD_STEP_N),
    )
    return Table("loads", "Calibrated loads, scan by scan", fields, ([name] * len(t_s), *columns))


def _rounded(values: Array, step: float) -> Array:
    """To whole steps; a power of two, so that the result is exact and ends in zero bits."""
    return np.rint(values / step) * step


_ROUNDED = "rounded to 1/256 N, so within 0.002 N"


def _onset(name: str, derived: Derived) -> Table:
    fields = (
        SWEEP,
        Field("verdict", "string", "what may be claimed", categories=VERDICTS),
        Field("onset_mm", "number", "setback where hand load starts to rise as the saddle comes forward", "mm"),
        Field("onset_low_mm", "number", "95 % interval, lower end", "mm"),
        Field("onset_high_mm", "number", "95 % interval, upper end", "mm"),
        Field("p_onset", "number", "probability of an onset inside the sweep", "1"),
        Field("p_light", "number", "probability of light throughout", "1"),
        Field("p_loaded", "number", "probability of loaded throughout", "1"),
        Field("least_squares_mm", "number", "least-squares onset, for comparison", "mm"),
        Field("slope_n_per_mm", "number", "added hand load per mm forward of the onset", "N/mm"),
        Field("light_load_n", "number", "hand load behind the onset", NEWTON),
        Field("gradual", "boolean", "a smooth bend fits better than a hinge"),
        Field("reasons", "array", "sentences on what it rests on", json_schema=SENTENCES),
        Field("method", "string", "name and version of the estimator"),
        Field("grade", "string", "what was measured, only held, and not measured"),
        Field("jig", "array", "how setback scale and proof of the jig stood that day", json_schema=SENTENCES),
    )
    one = derived.onset
    rows: list[tuple[Any, ...]] = []
    if one is not None:
        low_mm, high_mm = one.interval_95_mm or (None, None)
        rows = [
            (
                name, str(one.verdict), one.onset_mm, low_mm, high_mm, one.p_onset, one.p_light, one.p_loaded,
                one.least_squares_mm, one.slope_n_per_mm, one.light_load_n, one.gradual, json.dumps(list(one.reasons)),
                one.method, one.grade, json.dumps(list(derived.jig_said)),
            )
        ]  # fmt: skip
    return table_of_rows("onset", "The answer computed for this export", fields, rows)


def _validity(name: str, derived: Derived) -> Table:
    fields = (
        SWEEP,
        Field("test", "string", "what was tested"),
        Field("result", "string", "how it ended", categories=RESULTS),
        Field("value", "number", "what was found, in unit; missing when there is no number"),
        Field("unit", "string", "unit of value, value_low and value_high"),
        Field("value_low", "number", "95 % interval, lower end"),
        Field("value_high", "number", "95 % interval, upper end"),
        Field("forbids", "boolean", "whether no onset may be named because of it"),
        Field("means", "string", "what was found and what follows"),
        Field("cure", "string", "what would mend it"),
    )
    found = () if derived.onset is None else derived.onset.validity
    rows = [
        (
            name, one.test, str(one.result), one.value, one.unit, *(one.interval_95 or (None, None)), one.forbids,
            one.means, one.cure,
        )
        for one in found
    ]  # fmt: skip
    return table_of_rows("validity", "The tests of the sweep's validity", fields, rows)


def _clocks(name: str, derived: Derived) -> Table:
    fields = (
        SWEEP,
        Field("source", "string", "the sensor"),
        Field("error_ms", "number", "how well its clock is known in session time; missing when it is not", "ms"),
    )
    rows = [(name, source, error_ms) for source, error_ms in sorted(derived.clock_error_ms.items())]
    return table_of_rows("clocks", "Alignment of the sensors' clocks", fields, rows)


def _methods(name: str, derived: Derived) -> Table:
    fields = (
        SWEEP, Field("part", "string", "what was computed"), Field("method", "string", "name and version")
    )  # fmt: skip
    return table_of_rows(
        "methods", "What computed the tables", fields, [(name, *item) for item in sorted(derived.methods.items())]
    )
