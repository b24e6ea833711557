"""The drawings of the printed page as SVG: hand load over setback.

Black on white: sweeps are told apart by their marks and dashes. Only numbers and escaped text go in.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeAlias

from markupsafe import Markup, escape

from daq.fit.case import Evidence
from daq.fit.ridden import Ridden
from daq.sweep.onset import fitted_line, standard_errors
from daq.values import Z_95

WIDTH, HEIGHT = 680, 140
LEFT, RIGHT, TOP, BOTTOM = 40, 670, 26, 102
MARKS = ("M-4,0A4,4 0 1 0 4,0A4,4 0 1 0 -4,0Z", "M-4,-4H4V4H-4Z", "M0,-5L5,4H-5Z", "M0,-5L5,0L0,5L-5,0Z")
DASHES = ("none", "6 3", "2 3", "9 3 2 3")
Axis: TypeAlias = Callable[[float], float]


def onset_drawing(sweeps: Sequence[Ridden], evidence: Evidence) -> Markup:
    """All sweeps overlaid, front of the bicycle on the right; marked are onset and interval, window, present and chosen
    setback.
    """
    loads = [step.hand_load_n for sweep in sweeps for step in sweep.steps]
    places = [step.setback_mm for sweep in sweeps for step in sweep.steps]
    places += [mm for mm in (evidence.present_mm, evidence.chosen_mm) if mm is not None]
    if not loads:
        return Markup("")
    places += [one.setback_mm for sweep in sweeps for one in sweep.pains if one.setback_mm is not None]
    rear, front = max(places) + 3.0, min(places) - 3.0
    spread = max(max(loads) - min(loads), 10.0)
    low, high = min(loads) - 0.3 * spread, max(loads) + 0.25 * spread

    def x(mm: float) -> float:
        return LEFT + (rear - mm) / (rear - front) * (RIGHT - LEFT)

    def y(n: float) -> float:
        return BOTTOM - (n - low) / (high - low) * (BOTTOM - TOP)

    parts = [*_onset(evidence, x, rear, front), *_axes(x, y, rear, front, low, high), *_places(evidence, x)]
    for k, sweep in enumerate(sweeps):
        parts += _curve(sweep, k % len(MARKS), x, y)
    parts += [
        f'<path class="pain" d="M{x(one.setback_mm) - 4:.1f},{BOTTOM - 12}l8,8m0,-8l-8,8"/>'
        for one in (pain for sweep in sweeps for pain in sweep.pains)
        if one.setback_mm is not None
    ]
    title = escape("Hand load against setback: " + ", ".join(sweep.name for sweep in sweeps))
    head = f'<svg class="chart" viewBox="0 0 {WIDTH} {HEIGHT}" role="img"><title>{title}</title>'
    return Markup(head + "".join(parts) + "</svg>")


def _axes(x: Axis, y: Axis, rear: float, front: float, low: float, high: float) -> list[str]:
    parts = [f'<path class="axis" d="M{LEFT},{BOTTOM}H{RIGHT}M{LEFT},{TOP}V{BOTTOM}"/>']
    for mm in range(int(-(-front // 10)) * 10, int(rear) + 1, 10):
        parts.append(f'<path class="axis" d="M{x(mm):.1f},{BOTTOM}v5"/>{_text(x(mm), BOTTOM + 17, str(mm), "middle")}')
    apart = next(step for step in (5, 10, 20, 50, 100, 200) if (high - low) / step <= 5)
    for n in range(int(-(-low // apart)) * apart, int(high) + 1, apart):
        parts.append(f'<path class="grid" d="M{LEFT},{y(n):.1f}H{RIGHT}"/>{_text(LEFT - 6, y(n) + 4, str(n), "end")}')
    words = "setback, mm behind the BB; front of the bicycle to the right"
    parts.append(_text((LEFT + RIGHT) / 2, BOTTOM + 33, words, "middle"))
    parts.append(_text(LEFT, TOP - 10, "hand load, N (bars 95 %)", "start"))
    return parts


def _onset(evidence: Evidence, x: Axis, rear: float, front: float) -> list[str]:
    """The onset as a line in the grey of its 95 % interval, with dashed edges; the window as a bracket on the axis."""
    named = None if evidence.main is None else evidence.main.named
    if named is None or named.onset_mm is None:
        return []
    nearest, furthest = named.interval_95_mm or (named.onset_mm, named.onset_mm)
    left, right = x(min(furthest, rear)), x(max(nearest, front))
    window = evidence.window_mm
    key = "grey: 95 % interval of the onset" + ("" if window is None else "; bracket: to choose from")
    parts = [
        f'<rect class="band" x="{left:.1f}" y="{TOP}" width="{right - left:.1f}" height="{BOTTOM - TOP}"/>',
        f'<path class="band-edge" d="M{left:.1f},{TOP}V{BOTTOM}M{right:.1f},{TOP}V{BOTTOM}"/>',
        f'<path class="onset-line" d="M{x(named.onset_mm):.1f},{TOP}V{BOTTOM}"/>',
        _text(right + 4, BOTTOM - 8, f"onset {named.onset_mm:.1f}", "start"),
        _text(RIGHT, TOP - 10, key, "end"),
    ]
    if window is not None:
        to_px, from_px = (x(mm) for mm in window)
        parts.append(f'<path class="window" d="M{from_px:.1f},{BOTTOM - 6}V{BOTTOM}H{to_px:.1f}V{BOTTOM - 6}"/>')
    return parts


def _places(evidence: Evidence, x: Axis) -> list[str]:
    parts = []
    was_mm, new_mm = evidence.present_mm, evidence.chosen_mm
    new_is_forward = was_mm is None or new_mm is None or new_mm <= was_mm
    for mm, name in ((was_mm, "was"), (new_mm, "new")):
        if mm is None:
            continue
        # Each name on the far side of its line, so that neither lies on the other.
        side = 1 if (name == "new") == new_is_forward else -1
        parts.append(f'<path class="place {name}" d="M{x(mm):.1f},{TOP - 6}V{BOTTOM}"/>')
        parts.append(_text(x(mm) + 4 * side, TOP + 4, f"{name} {mm:.0f}", "start" if side > 0 else "end"))
    return parts


def _curve(sweep: Ridden, k: int, x: Axis, y: Axis) -> list[str]:
    parts = []
    if sweep.onset is not None:
        setbacks, loads = fitted_line(sweep.steps, sweep.onset)
        d = "L".join(f"{x(mm):.1f},{y(n):.1f}" for mm, n in zip(setbacks, loads, strict=True))
        parts += [f'<path class="fit" stroke-dasharray="{DASHES[k]}" d="M{d}"/>'] if d else []
    for step, se_n in zip(sweep.steps, standard_errors(sweep.steps), strict=True):
        if se_n == se_n:
            low, high = y(step.hand_load_n - Z_95 * se_n), y(step.hand_load_n + Z_95 * se_n)
            parts.append(f'<path class="bar" d="M{x(step.setback_mm):.1f},{low:.1f}V{high:.1f}"/>')
        at = f"translate({x(step.setback_mm):.1f},{y(step.hand_load_n):.1f})"
        parts.append(f'<path class="mark" transform="{at}" d="{MARKS[k]}"/>')
    return parts


def legend(sweeps: Sequence[Ridden]) -> list[tuple[str, Markup]]:
    """Each sweep's name with its line and mark."""
    found = []
    for k, sweep in enumerate(sweeps):
        line = f'<path class="fit" stroke-dasharray="{DASHES[k % len(DASHES)]}" d="M-20,0H20"/>'
        sample = f'{line}<path class="mark" d="{MARKS[k % len(MARKS)]}"/>'
        found.append((sweep.name, Markup(f'<svg viewBox="-20 -7 40 14" aria-hidden="true">{sample}</svg>')))
    return found


def _text(x: float, y: float, words: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'
