"""The residuals of one cell as SVG: what it showed less what hung on it, between the error limits for comparison."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from html import escape
from typing import Any

WIDTH, HEIGHT = 640.0, 260.0
LEFT, RIGHT, TOP, BOTTOM = 64.0, 12.0, 12.0, 40.0
TICKS = 5


def residual_plot(cell: Mapping[str, Any]) -> str:
    """An SVG of the points (load_n, error_n) and the limits (load_n, permissible_error_n) of a certificate's cell."""
    points, limits = cell["points"], cell["limits"]
    top_n = max([one["load_n"] for one in (*points, *limits)], default=1.0) or 1.0
    reach_n = _reach([abs(one["error_n"]) for one in points], [one["permissible_error_n"] for one in limits])
    x = _scale(0.0, top_n, LEFT, WIDTH - RIGHT)
    y = _scale(-reach_n, reach_n, HEIGHT - BOTTOM, TOP)
    parts = [
        f'<svg viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" xmlns="http://www.w3.org/2000/svg">',
        f"<title>Residuals of {escape(cell['channel'])}: {len(points)} readings within "
        f"{max((abs(one['error_n']) for one in points), default=0.0):.3g} N</title>",
        *(_line(x(0.0), y(error), x(top_n), y(error), "#d3d9d3") for error in _ticks(-reach_n, reach_n)),
        _line(x(0.0), y(0.0), x(top_n), y(0.0), "#4a5762"),
        *(_limit(limits, sign, x, y, reach_n) for sign in (1.0, -1.0)),
        *(_text(LEFT - 6.0, y(error) + 4.0, f"{error:+z.2g}", "end") for error in _ticks(-reach_n, reach_n)),
        *(_text(x(load), HEIGHT - BOTTOM + 16.0, f"{load:.0f}", "middle") for load in _ticks(0.0, top_n)),
        _text(0.5 * (LEFT + WIDTH - RIGHT), HEIGHT - 6.0, "load, N", "middle"),
        f'<text x="14" y="{HEIGHT / 2.0:g}" text-anchor="middle" font-size="12" fill="#141d26" '
        f'transform="rotate(-90 14 {HEIGHT / 2.0:g})">error, N</text>',
        *(
            f'<circle cx="{x(one["load_n"]):.1f}" cy="{y(one["error_n"]):.1f}" r="3" fill="none" stroke="#0069a8" '
            'stroke-width="1.5"/>'
            for one in points
        ),
        "</svg>",
    ]
    return "".join(parts)


def _reach(errors_n: list[float], limits_n: list[float]) -> float:
    """Half the height: all points are inside; the limits too while they do not flatten the points to a line."""
    largest = max(errors_n, default=0.0)
    return 1.15 * max(largest, min(max(limits_n, default=0.0), 4.0 * largest)) or 1.0


def _scale(low: float, high: float, at_low: float, at_high: float) -> Any:
    return lambda value: at_low + (value - low) / (high - low) * (at_high - at_low)


def _ticks(low: float, high: float) -> list[float]:
    return [low + i * (high - low) / (TICKS - 1) for i in range(TICKS)]


def _limit(limits: Iterable[Mapping[str, float]], sign: float, x: Any, y: Any, reach_n: float) -> str:
    """Steps of the error limit; where it lies beyond the plot it runs along its edge."""
    places = [f"{x(one['load_n']):.1f},{y(sign * min(one['permissible_error_n'], reach_n)):.1f}" for one in limits]
    return f'<polyline points="{" ".join(places)}" fill="none" stroke="#a86a00" stroke-dasharray="5 4"/>'


def _line(x1: float, y1: float, x2: float, y2: float, colour: str) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}"/>'


def _text(x: float, y: float, words: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="12" fill="#141d26">{escape(words)}</text>'
