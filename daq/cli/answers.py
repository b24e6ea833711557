"""`foreaft onset` and `foreaft balance`: answers from a file, or from a stored sweep."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from daq.cli.records import store_path
from daq.cli.telling import REFUSED, UNUSABLE, answer_lines, fail, print_json, tell

if TYPE_CHECKING:
    from daq.values import StepMean


@click.command()
@click.argument("source")
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON.")
@click.option("--step-off-mm", default=4.0, show_default=True, type=click.FloatRange(0, 20), help="Behind the onset.")
@click.option("--method", help="Name and version of the estimator; the newest when left out.")
@click.option("--store", type=click.Path(dir_okay=False, path_type=Path), help="Store of a sweep given by number.")
def onset(source: str, as_json: bool, step_off_mm: float, method: str | None, store: Path | None) -> None:
    """Onset of hand load, its interval and verdict.

    SOURCE is a table STEPS.csv with the columns setback_mm (positive behind the BB), hand_load_n, and optionally se_n,
    t_min or order, crank_torque_nm; or "-" for standard input; or the number of a stored sweep.
    """
    from daq.sweep import onset as estimator
    from daq.sweep.steps_csv import contract

    steps = _stored_steps(int(source), store) if source.isdecimal() else _table_steps(source)
    try:
        answer = estimator.onset(steps, step_off_mm=step_off_mm, method=method or estimator.METHOD)
    except ValueError as error:
        fail(REFUSED, error)
    if as_json:
        print_json(contract(answer))
    else:
        click.echo("\n".join(answer_lines(answer)))


def _table_steps(source: str) -> Sequence[StepMean]:
    from daq.sweep.steps_csv import parse_steps

    try:
        with click.open_file(source, encoding="utf-8") as file:
            steps, warnings = parse_steps(file.read())
    except (OSError, UnicodeDecodeError) as error:
        fail(REFUSED, f"{source}: {getattr(error, 'strerror', None) or error}")
    except ValueError as error:
        fail(REFUSED, f"{source}: {error}")
    for warning in warnings:
        tell(f"{source}: {warning}")
    return steps


def _stored_steps(sweep_id: int, store: Path | None) -> Sequence[StepMean]:
    """The steps of a stored sweep, computed again from its raw."""
    from daq.keep.derive import derive
    from daq.keep.errors import StoreError
    from daq.keep.store import Store

    path = store_path(store)
    if not path.exists():
        fail(UNUSABLE, f"no store at {path}; name one with --store")
    try:
        with Store.open(path, write=False) as opened:
            steps = derive(opened, sweep_id).steps
    except StoreError as error:
        fail(UNUSABLE, error)
    if not steps:
        fail(REFUSED, f"sweep {sweep_id}: no position was finished, so there is nothing to answer from")
    return steps


@click.command()
@click.argument("file", type=click.File("r", encoding="utf-8"))
@click.option("--json", "as_json", is_flag=True, help="The report as JSON.")
def balance(file: Any, as_json: bool) -> None:
    """Shares, weight line and front-wheel share of one mean state, given as a JSON object in FILE ("-": stdin)."""
    from daq.measure.balance_report import balance_report

    try:
        report = balance_report(json.load(file))
    except json.JSONDecodeError as error:
        fail(REFUSED, f"{file.name}: not JSON: {error}")
    except (ValueError, TypeError) as error:
        fail(REFUSED, f"{file.name}: {error}")
    if as_json:
        print_json(report)
        return
    for name, value in report.items():
        for line in value if isinstance(value, list) else [value]:
            click.echo(f"{name:28} {line:.6g}" if isinstance(line, float) else f"{name:28} {line}")
