"""A strip to hold against the saddle's rail, true to size on paper: old and new position, and a gauge to check the
printer."""

from __future__ import annotations

import math

from markupsafe import Markup, escape

LENGTH_MM, HEIGHT_MM = 170.0, 25.0
GAUGE_MM = 100.0
RAIL_MM = 12.0
"""From the strip's top down to its rail."""
NAME_MM = 16.0
"""Width of a name; names that would be closer go to either side of their marks."""


def strip_drawing(was_mm: float | None, new_mm: float) -> Markup | None:
    """The strip, front of the bicycle on the right; None without an old position, or without a change.

    Its viewBox is in millimetres and the style sheet gives it the same width, so a print at 100 % is true to size.
    """
    if was_mm is None or round(abs(new_mm - was_mm), 1) < 1.0 or abs(new_mm - was_mm) > LENGTH_MM - 2 * NAME_MM:
        return None
    middle_mm = (was_mm + new_mm) / 2.0

    def x(setback_mm: float) -> float:
        return LENGTH_MM / 2.0 + middle_mm - setback_mm

    first = math.ceil((middle_mm - LENGTH_MM / 2.0 + 4.0) / 5.0) * 5
    last = math.floor((middle_mm + LENGTH_MM / 2.0 - 4.0) / 5.0) * 5
    ticks = "".join(f"M{x(mm):.2f},{RAIL_MM}v{-3.2 if mm % 10 == 0 else -1.8}" for mm in range(first, last + 1, 5))
    forward = new_mm < was_mm
    marks = [
        f'<path class="was" d="M{x(was_mm):.2f},3V{RAIL_MM + 5}"/>',
        f'<path class="new" d="M{x(new_mm):.2f},3V{RAIL_MM + 5}"/>',
        _text(x(was_mm) + (-1.2 if forward else 1.2), 4.4, f"was {was_mm:.0f}", "end" if forward else "start"),
        _text(x(new_mm) + (1.2 if forward else -1.2), 4.4, f"new {new_mm:.0f}", "start" if forward else "end", "bold"),
    ]
    gauge_from = (LENGTH_MM - GAUGE_MM) / 2.0
    gauge = f'<path class="gauge" d="M{gauge_from},19v4M{gauge_from},21h{GAUGE_MM}M{gauge_from + GAUGE_MM},19v4"/>'
    title = f"From {was_mm:.0f} to {new_mm:.0f} mm, true to size, with a gauge of {GAUGE_MM:.0f} mm"
    head = f'<svg class="strip" viewBox="0 0 {LENGTH_MM:g} {HEIGHT_MM:g}" role="img"><title>{escape(title)}</title>'
    body = [
        f'<path class="tick" d="{ticks}"/><path class="rail" d="M2,{RAIL_MM}H{LENGTH_MM - 2}"/>',
        *marks,
        gauge,
        _text(LENGTH_MM / 2.0, 20.2, f"{GAUGE_MM:.0f} mm", "middle"),
        _text(2.0, 16.5, "\N{BLACK LEFT-POINTING TRIANGLE} rear", "start"),
        _text(LENGTH_MM - 2.0, 16.5, "front \N{BLACK RIGHT-POINTING TRIANGLE}", "end"),
    ]
    return Markup(head + "".join(body) + "</svg>")


def _text(x: float, y: float, words: str, anchor: str, name: str = "") -> str:
    kind = f' class="{name}"' if name else ""
    return f'<text x="{x:.2f}" y="{y:.2f}" text-anchor="{anchor}"{kind}>{escape(words)}</text>'
