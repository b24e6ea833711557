"""A certificate as a printable page: one self-contained HTML file, its plots drawn in the template."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from daq.measure.calibration.coverage import said_dof
from daq.measure.calibration.status import moment

WIDTH, HEIGHT = 640, 260
LEFT, RIGHT, TOP, BOTTOM = 64, 628, 12, 220
TICKS = 5


def certificate_page(content: Mapping[str, Any], *, css: str | None = None) -> str:
    """The page. css: the style written into it; None links the daemon's own style sheet."""
    return _PAGES.get_template("certificate.html").render(**content, css=css, loads=_loads(content["cells"])) + "\n"


def _loads(cells: Iterable[Mapping[str, Any]]) -> str:
    """The loads applied, each set once."""
    sets = {
        ", ".join(f"{load:.2f}" for load in sorted({round(one["load_n"], 2) for one in cell["points"]} - {0.0})): cell
        for cell in cells
    }
    if len(sets) == 1:
        return f"{next(iter(sets))} N"
    return "; ".join(f"{cell['channel']}: {loads} N" for loads, cell in sets.items())


def _polynomial(coefficients: Iterable[float]) -> str:
    powers = ("", " c", " c²", " c³")
    return " ".join(f"{value:+.9g}{power}" for value, power in zip(coefficients, powers, strict=False))


def _asked(reading: Mapping[str, Any]) -> str:
    """Load, place and tilt of a reading; certificates made before they were kept there leave it empty."""
    tilt_deg = reading.get("tilt_deg")
    load = f"{reading['load_n']:.2f} N" if reading.get("load_n") else ""
    return ", ".join(filter(None, (load, reading.get("place", ""), "" if tilt_deg is None else f"{tilt_deg:g}°")))


def _plotted(cell: Mapping[str, Any]) -> dict[str, Any]:
    """Where the points (load_n, error_n) and the limits (load_n, permissible_error_n) of a cell lie in its plot. All
    points are inside; so are the limits, unless they would flatten the points to a line: then they run along the edge.
    """
    points, limits = cell["points"], cell["limits"]
    top_n = max([one["load_n"] for one in (*points, *limits)], default=1.0) or 1.0
    largest_n = max((abs(one["error_n"]) for one in points), default=0.0)
    furthest_n = max((one["permissible_error_n"] for one in limits), default=0.0)
    reach_n = 1.15 * max(largest_n, min(furthest_n, 4.0 * largest_n)) or 1.0

    def x(load_n: float) -> float:
        return LEFT + load_n / top_n * (RIGHT - LEFT)

    def y(error_n: float) -> float:
        return BOTTOM + (error_n + reach_n) / (2.0 * reach_n) * (TOP - BOTTOM)

    lines = [[(one["load_n"], sign * min(one["permissible_error_n"], reach_n)) for one in limits] for sign in (1, -1)]
    errors_n = [reach_n * (2.0 * i / (TICKS - 1) - 1.0) for i in range(TICKS)]
    return {
        "width": WIDTH, "height": HEIGHT, "left": LEFT, "right": RIGHT, "bottom": BOTTOM, "middle": y(0.0),
        "largest_n": largest_n,
        "errors": [{"at": y(error_n), "value": error_n} for error_n in errors_n],
        "loads": [{"at": x(top_n * i / (TICKS - 1)), "value": top_n * i / (TICKS - 1)} for i in range(TICKS)],
        "limits": [" ".join(f"{x(load):.1f},{y(error):.1f}" for load, error in line) for line in lines],
        "points": [(x(one["load_n"]), y(one["error_n"])) for one in points],
    }  # fmt: skip


_PAGES = Environment(loader=FileSystemLoader(Path(__file__).parent), autoescape=True, undefined=StrictUndefined)
_PAGES.filters.update(
    {
        "as": format,
        "asked": _asked,
        "freedom": lambda dof: "∞" if dof is None else said_dof(dof),
        "minute": lambda utc: f"{moment(utc):%Y-%m-%d %H:%M} UTC",
        "plotted": _plotted,
        "polynomial": _polynomial,
        "scaled": lambda share, spec: format(100.0 * share, spec),
        "second": lambda utc: f"{moment(utc):%Y-%m-%d %H:%M:%S}",
    }
)
