"""`foreaft calibrate`: from points to newtons."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import click

from daq.cli.bench import bench, check
from daq.cli.bench_talk import write_new
from daq.cli.files import calibration_in, text_of
from daq.cli.stored import a_store, opened
from daq.cli.telling import REFUSED, fail, json_flag, print_json, say, tell
from daq.physics import LEAST_G_M_S2, MOST_G_M_S2
from daq.words import counted

SMALL_P = 0.05
"""A lack of fit with a smaller probability is told as a finding."""


@click.group()
def calibrate() -> None:
    """Calibrate load cells with known weights."""


calibrate.add_command(bench)
calibrate.add_command(check)


@calibrate.command()
@click.argument("points")
@click.option("--order", default="1", show_default=True, type=click.Choice(["1", "2"]), help="Line or quadratic.")
@click.option(
    "--g", "g_m_s2", type=click.FloatRange(LEAST_G_M_S2, MOST_G_M_S2), help="Local gravity for mass_kg, m/s2."
)
@click.option("--expected-per-n", type=float, help="Change of the reading per newton by data sheet: finds kg for N.")
@click.option(
    "--weights",
    show_default="shared",
    type=click.Choice(["shared", "per-load", "independent"]),
    help="Which loads err together: all, as of one set; equal ones; none. A column weights says it point by point.",
)
@click.option("--json", "as_json", is_flag=True, help="The report as JSON.")
def fit(
    points: str, order: str, g_m_s2: float | None, expected_per_n: float | None, weights: Any, as_json: bool
) -> None:
    """Fit a line or a curve through POINTS.csv, with columns load_n or mass_kg, and reading ("-": stdin).

    A column u_load_n states the standard uncertainty of each load in newtons; series (a number) and direction (up or
    down) tell hysteresis and repeatability.
    """
    from daq.measure.calibration.points import MOST_BYTES
    from daq.measure.calibration.report import fit_report

    gravity = {} if g_m_s2 is None else {"g_m_s2": g_m_s2}
    if expected_per_n == 0.0:
        fail(REFUSED, "--expected-per-n: expected a number other than 0, negative for a cell wired the other way")
    text = text_of(points, MOST_BYTES)
    try:
        report = fit_report(text, int(order), expected_per_n=expected_per_n, weights=weights, **gravity)
    except ValueError as error:
        fail(REFUSED, f"{points}: {error}")
    if as_json:
        print_json(report)
        return
    say("\n".join(fit_lines(report)))


def fit_lines(report: dict[str, Any]) -> list[str]:
    """A fit in readable form, uncertainties to two digits."""
    dof = report["degrees_of_freedom"]
    lines = [f"{report['model']}   {counted(report['points'], 'point')}, {counted(dof, 'degree')} of freedom"]
    columns = ("coefficients", "standard_uncertainties", "expanded_uncertainties")
    for i, (value, u, expanded) in enumerate(zip(*(report[name] for name in columns), strict=True)):
        decimals = max(0, 1 - math.floor(math.log10(u))) if u > 0.0 else 6
        lines.append(f"  b{i}  {value:.{decimals}f}  standard uncertainty {u:.2g}, 95 % within ±{expanded:.2g}")
    lines.append(
        f"loads: errors of weights are in the uncertainties ({report['weights']})"
        if report["weighted"]
        else "loads: taken as exact; a column u_load_n would bring in what is not known of the weights"
    )
    slope = abs(report["coefficients"][1])
    lines.append(f"residuals: standard deviation {report['residual_sd']:.3g} = {report['residual_sd'] / slope:.3g} N")
    for load_n, residual in zip(report["load_n"], report["residuals"], strict=True):
        lines.append(f"  at {load_n:9.3f} N  {residual:+12.4g}  {residual / slope:+9.3g} N")
    if (lack := report["lack_of_fit"]) is not None:
        lines.append("lack of fit: " + _lack_of_fit(lack["p"]))
    if (found := report["hysteresis"]) is not None:
        lines.append(f"hysteresis: falling reads up to {found['largest_n']:+.3g} N more; taken out of the residuals")
    if (found := report["repeatability"]) is not None:
        lines.append(
            f"repeatability: standard deviation {found['sd_n']:.3g} N, largest difference {found['largest_n']:.3g} N"
        )
    if report["gravity_m_s2"] is not None:
        lines.append(f"masses times {report['gravity_m_s2']:g} m/s2, times {report['buoyancy_factor']:.5f} for the air")
    if report["columns_passed_over"]:
        lines.append("columns passed over: " + ", ".join(report["columns_passed_over"]))
    return lines + [f"caution: {warning}" for warning in report["warnings"]]


def _lack_of_fit(p: float) -> str:
    if p < SMALL_P:
        return f"the curve misses what repeats agree on, p {p:.2g}; by chance p is below {SMALL_P} in 1 of 20 tables"
    return f"none found, p {p:.2g}; below {SMALL_P} the curve would miss what repeats agree on"


@calibrate.command("list")
@a_store
@json_flag
def list_(store: Path | None, as_json: bool) -> None:
    """All calibrations in the store, oldest first, with the status of each."""
    from daq.live.bench.summaries import summaries

    with opened(store) as kept:
        rows = summaries(kept)
    if as_json:
        print_json(rows)
    for row in [] if as_json else rows:
        label = " SIMULATED" if row["simulated"] else ""
        say(f"{row['number']:3}  {row['id']}{label}  {row['standing']}: {row['sentence']}")


@calibrate.command()
@click.argument("name")
@a_store
@click.option("--html", type=click.Path(dir_okay=False, path_type=Path), help="Write the page to print to this file.")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Write the calibration for a rig file.")
def certificate(name: str, store: Path | None, html: Path | None, out: Path | None) -> None:
    """The certificate of calibration NAME (its id or number): as JSON, or as a page to print."""
    import json

    from daq.keep.store import calibrations
    from daq.live.bench.certificate_page import certificate_page
    from daq.live.web.api import PAGE
    from daq.measure.calibration import to_dict

    with opened(store) as kept:
        one = calibrations.found(kept, name)
        if out is not None:
            tell(f"wrote {write_new(out, json.dumps(to_dict(one.calibration), indent=1) + chr(10))}")
            return
        content = calibrations.certificate(kept, one.id)
    if html is None:
        print_json(content)
    else:
        css = (PAGE / "certificate.css").read_text(encoding="utf-8")
        tell(f"wrote {write_new(html, certificate_page(content, css=css))}")


@calibrate.command("cross-check")
@click.argument("name")
@a_store
@click.option("--load-n", type=click.FloatRange(0.1, 5000), help="At this load; default: half the span.")
@click.option("--trials", default=200_000, show_default=True, type=click.IntRange(1000, 5_000_000))
@click.option("--seed", default=0, type=click.IntRange(0))
@json_flag
def cross_check_(name: str, store: Path | None, load_n: float | None, trials: int, seed: int, as_json: bool) -> None:
    """Repeat the budget of calibration NAME by Monte Carlo, drawing every error from its distribution (GUM Supplement
    1).

    NAME: id or number in the store, or a calibration file.
    """
    import numpy as np

    from daq.keep.json_text import plain
    from daq.measure.calibration.coverage import said_dof
    from daq.measure.calibration.monte_carlo import cross_check

    rng = np.random.default_rng(seed)
    rows = []
    for channel in calibration_called(name, store).forces:
        if channel.uncertainty is None:
            fail(REFUSED, f"{channel.name}: calibrated without a budget, so there is nothing to check")
        at_n = load_n or (0.5 * channel.span[1] if channel.span else 200.0)
        rows.append({"channel": channel.name, "found": cross_check(channel.uncertainty, at_n, rng, trials=trials)})
    if as_json:
        print_json([{"channel": row["channel"], **plain(row["found"]), "agrees": row["found"].agrees} for row in rows])
    for row in [] if as_json else rows:
        found = row["found"]
        low, high = found.by_drawing.symmetric
        verdict = (
            f"agree within {found.tolerance_n:.2g} N"
            if found.agrees
            else f"apart by {found.difference_n:.2g} N: use the wider one"
        )
        say(
            f"{row['channel']} at {found.load_n:.1f} N: formulas ±{found.by_formula.expanded_n:.3g} N with "
            f"{said_dof(found.by_formula.dof)} degrees of freedom, drawn {low:+.3g} to {high:+.3g} N; {verdict}"
        )


def calibration_called(name: str, store: Path | None) -> Any:
    """A calibration from its file, or by id or number in the store."""
    from daq.keep.store import calibrations

    file = Path(name)
    if file.suffix == ".json" or file.exists():
        return calibration_in(file)
    with opened(store) as kept:
        return calibrations.found(kept, name).calibration
