"""`foreaft calibrate`: from points to newtons."""

from __future__ import annotations

from typing import Any

import click

from daq.cli.telling import REFUSED, fail, print_json


@click.group()
def calibrate() -> None:
    """Calibrate load cells with known weights."""


@calibrate.command()
@click.argument("points", type=click.File("r", encoding="utf-8"))
@click.option("--order", default="1", show_default=True, type=click.Choice(["1", "2"]), help="Line or quadratic.")
@click.option("--g", "g_m_s2", type=click.FloatRange(9.75, 9.85), help="Local gravity for mass_kg, m/s2.")
@click.option("--json", "as_json", is_flag=True, help="The report as JSON.")
def fit(points: Any, order: str, g_m_s2: float | None, as_json: bool) -> None:
    """Fit a line or a curve through POINTS.csv, with columns load_n or mass_kg, and reading ("-": stdin)."""
    from daq.measure.calibration.report import fit_report

    try:
        report = fit_report(points.read(), int(order), **({} if g_m_s2 is None else {"g_m_s2": g_m_s2}))
    except ValueError as error:
        fail(REFUSED, f"{points.name}: {error}")
    if as_json:
        print_json(report)
        return
    for name, value in report.items():
        click.echo(f"{name:28} {value}")
