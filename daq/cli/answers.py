"""`foreaft onset` and `foreaft balance`: answers from a file, or from a stored sweep."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from daq.cli.files import text_of
from daq.cli.telling import REFUSED, answer_lines, fail, print_json, say, tell

if TYPE_CHECKING:
    from daq.sweep.steps_csv import StepTable

STEP_OFF_MM = 4.0
MOST_STATE_BYTES = 256 * 1024
"""A mean state has twenty numbers, about 1 KiB."""


@click.command()
@click.argument("source")
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON.")
@click.option(
    "--step-off-mm", type=click.FloatRange(0, 20), help="Behind the onset; default 4, for a stored sweep its plan's."
)
@click.option("--method", help="Name and version of the estimator; default: the newest.")
@click.option("--store", type=click.Path(dir_okay=False, path_type=Path), help="Store of a sweep given by number.")
@click.option("--calibration", help="Of a stored sweep: computed with this file, id or number too, side by side.")
def onset(
    source: str,
    as_json: bool,
    step_off_mm: float | None,
    method: str | None,
    store: Path | None,
    calibration: str | None,
) -> None:
    """Onset of hand load, its interval and verdict.

    SOURCE is a table STEPS.csv with the columns setback_mm (positive behind the BB), hand_load_n, and optionally se_n,
    t_min or order, direction, crank_torque_nm, saddle_load_n, weight_line_mm, u_setback_mm, bar_x_mm, bar_y_mm,
    saddle_height_mm, saddle_tilt_deg; or "-" for standard input; or the number of a stored sweep.
    """
    from daq.sweep.contract import contract
    from daq.sweep.onset import METHOD
    from daq.sweep.steps_csv import answered

    if source.isdecimal():
        _stored_onset(int(source), store, method, step_off_mm, calibration, as_json)
        return
    if calibration is not None:
        fail(REFUSED, "--calibration: only of a stored sweep; a table of steps has newtons already")
    try:
        answer = answered(
            _table(source),
            step_off_mm=STEP_OFF_MM if step_off_mm is None else step_off_mm,
            method=method or METHOD,
        )
    except ValueError as error:
        fail(REFUSED, error)
    if as_json:
        print_json(contract(answer))
    else:
        say("\n".join(answer_lines(answer)))


def _table(source: str) -> StepTable:
    from daq.sweep.steps_csv import MOST_CHARACTERS, read_table

    text = text_of(source, MOST_CHARACTERS)
    try:
        table = read_table(text)
    except ValueError as error:
        fail(REFUSED, f"{source}: {error}")
    for warning in table.warnings:
        tell(f"{source}: {warning}")
    return table


def _stored_onset(
    sweep_id: int,
    store: Path | None,
    method: str | None,
    step_off_mm: float | None,
    calibration: str | None,
    as_json: bool,
) -> None:
    """The answer of a stored sweep, recomputed from its raw data; what forbade its verdict then forbids it now."""
    from daq.cli.calibrate import calibration_called
    from daq.cli.stored import opened
    from daq.keep.again.recalibrated import calibration_of_sweep, recompute_again
    from daq.keep.json_text import plain
    from daq.sweep.contract import contract
    from daq.sweep.losses import in_short
    from daq.sweep.onset import METHOD

    other = None if calibration is None else calibration_called(calibration, store)
    try:
        with opened(store) as kept:
            own_id = calibration_of_sweep(kept, sweep_id).id
            found = [
                recompute_again(kept, sweep_id, calibration=one, method=method or METHOD, step_off_mm=step_off_mm)
                for one in ([None] if other is None else [None, other])
            ]
    except ValueError as error:
        fail(REFUSED, error)
    for phrase in in_short(found[-1].losses):
        tell(f"sweep {sweep_id}: lost: {phrase}")
    answers = [one.onset for one in found]
    last = answers[-1]
    if last is None:
        fail(REFUSED, f"sweep {sweep_id}: {found[-1].no_answer}")
    if other is None:
        print_json(contract(last)) if as_json else say("\n".join(answer_lines(last)))
        return
    was = answers[0]
    hands_n = plain(
        [
            {"setback_mm": was.setback_mm, "as_ridden_n": was.hand_load_n, "hand_load_n": now.hand_load_n}
            for was, now in zip(found[0].steps, found[1].steps, strict=True)
        ]
    )
    if as_json:
        ridden = None if was is None else {**contract(was), "calibration": own_id}
        print_json({**contract(last), "calibration": other.id, "as_ridden": ridden, "steps": hands_n})
        return
    as_ridden = [found[0].no_answer] if was is None else answer_lines(was)
    say(f"as ridden, calibration {own_id}:\n" + "\n".join(as_ridden))
    say(f"with calibration {other.id}:\n" + "\n".join(answer_lines(last)))
    for one in hands_n:
        was_n, now_n = one["as_ridden_n"], one["hand_load_n"]
        before = "not known" if was_n is None else f"{was_n:7.2f} N"
        moved = "" if was_n is None else f" ({now_n - was_n:+z.2f})"
        say(f"  {one['setback_mm']:6.1f} mm   hands {before} -> {now_n:7.2f} N{moved}")


@click.command()
@click.argument("sources", nargs=-1, required=True, metavar="FILE|SWEEP...")
@click.option("--learn", is_flag=True, help="From tangential forces measured: what other rigs may assume.")
@click.option("--store", type=click.Path(dir_okay=False, path_type=Path), help="Store of sweeps given by number.")
@click.option("--json", "as_json", is_flag=True, help="The report as JSON.")
def balance(sources: tuple[str, ...], learn: bool, store: Path | None, as_json: bool) -> None:
    """Shares, weight line and front-wheel share of one mean state, given as a JSON object in FILE ("-": stdin).

    With --learn: the table [unseen] for rigs without tangential cells, from a list of states in FILE, or from the
    numbers of stored sweeps ridden on a jig that has them.
    """
    if learn and all(source.isdecimal() for source in sources):
        report = _learned_from_sweeps([int(source) for source in sources], store)
    elif len(sources) > 1:
        fail(REFUSED, "expected one file, or with --learn the numbers of stored sweeps")
    else:
        report = _reported(sources[0], learn=learn)
    if as_json:
        print_json(report)
        return
    if learn:
        say("[unseen]\n" + "\n".join(f"{name} = {json.dumps(value)}" for name, value in report.items()))
        return
    for name, value in report.items():
        for line in value if isinstance(value, list) else [value]:
            say(f"{name:28} {line:.6g}" if isinstance(line, float) else f"{name:28} {line}")


def _learned_from_sweeps(sweep_ids: list[int], store: Path | None) -> dict[str, Any]:
    from daq.cli.stored import opened
    from daq.keep.again.along import hands_along
    from daq.measure.balance import learned_of_riders
    from daq.measure.balance_report import unseen_table

    try:
        with opened(store) as open_store:
            riders_n, simulated = hands_along(open_store, sweep_ids)
        found = unseen_table(learned_of_riders(riders_n))
    except ValueError as error:
        fail(REFUSED, error)
    return {**found, "source": f"SIMULATED, {found['source']}"} if simulated else found


def _reported(file: str, *, learn: bool) -> dict[str, Any]:
    from daq.measure.balance_report import balance_report, learned_report

    text = text_of(file, MOST_STATE_BYTES)
    try:
        # numbers as floats: one with thousands of digits is then refused for its size, not by the interpreter
        given = json.loads(text, parse_int=float, object_pairs_hook=_once)
        return learned_report(given) if learn else balance_report(given)
    except json.JSONDecodeError as error:
        fail(REFUSED, f"{file}: not JSON: {error}")
    except RecursionError:
        fail(REFUSED, f"{file}: nested too deep; expected one JSON object of numbers")
    except ValueError as error:
        fail(REFUSED, f"{file}: {error}")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """A JSON object without duplicate keys: nobody could tell which of two values was meant."""
    found = dict(pairs)
    if len(found) < len(pairs):
        (twice, _), *_ = Counter(name for name, _ in pairs).most_common(1)
        raise ValueError(f"{twice}: there more than once; keep one")
    return found
