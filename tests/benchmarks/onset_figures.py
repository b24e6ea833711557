"""One figure for each thing the onset can say: `python -m tests.benchmarks.onset_figures [folder]` writes SVG files.

Made-up sweeps, seeded. Above: the steps with their standard errors, the fitted line, the 95 % interval shaded, the
suggested setback dashed. Below: the posterior of the bend, and the probabilities of the three explanations.
"""

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from daq.sweep.bend import bend_of
from daq.sweep.evidence import gathered
from daq.sweep.onset import fitted_line, onset
from tests.benchmarks.onset_rides import StepWorld, hand_load, out_and_back, step_of

WIDTH, HEIGHT, LEFT, RIGHT = 640, 440, 64, 16
TOP, MIDDLE, LOW, BOTTOM = 72, 284, 316, 384
INK, BLUE, ORANGE, GREEN = "#222", "#0072b2", "#d55e00", "#009e73"
"""Colours of Okabe & Ito, told apart by dash and mark as well."""
FIGURES = {
    "onset": (StepWorld("onset", sigma=1.2), 52.0, 1),
    "gradual": (StepWorld("gradual", sigma=0.7, bend_mm=44.0), 52.0, 1),
    "light-throughout": (StepWorld("light", added=0.0, sigma=0.8), 52.0, 3),
    "loaded-throughout": (StepWorld("loaded", added=0.0, behind=0.9, sigma=0.8), 52.0, 4),
    "undecided": (StepWorld("undecided", added=0.4, sigma=3.0), 52.0, 5),
}


@dataclass(frozen=True)
class Scale:
    """A straight map of numbers onto pixels."""

    low: float
    high: float
    first: float
    last: float

    def __call__(self, value):
        return self.first + (value - self.low) / (self.high - self.low) * (self.last - self.first)


def ridden(world, onset_mm, seed):
    rng = np.random.default_rng(seed)
    setbacks = out_and_back(80.0, 30.0, world.n)
    return [
        step_of(s, hand_load(world, onset_mm, s, 0.7 * i, rng), 0.7 * i, world.sigma, 21.0)
        for i, s in enumerate(setbacks)
    ]


def line(x1, y1, x2, y2, colour=INK, width=1.0, dash=""):
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}" stroke-width="{width}"'
        f"{f' stroke-dasharray={dash!r}' if dash else ''}/>"
    )


def text(x, y, words, anchor="start", size=13):
    words = words.replace("&", "&amp;").replace("<", "&lt;")
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size}">{words}</text>'


def drawn(steps):
    """The figure of one sweep as SVG."""
    answer, found = onset(steps), bend_of(gathered(steps))
    loads = np.array([step.hand_load_n for step in steps])
    x = Scale(82.0, 28.0, LEFT, WIDTH - RIGHT)
    y = Scale(loads.min() - 8.0, loads.max() + 8.0, MIDDLE, TOP)
    parts = [*axes(x, y, loads), *band(answer, x), *points(steps, x, y)]
    setback_mm, hand_load_n = fitted_line(steps, answer)
    corners = " ".join(f"{x(s):.1f},{y(n):.1f}" for s, n in zip(setback_mm, hand_load_n, strict=True))
    parts.append(f'<polyline points="{corners}" fill="none" stroke="{BLUE}" stroke-width="2"/>')
    parts += density(found, x)
    title = f"{answer.verdict}{', gradual' if answer.gradual else ''}"
    if answer.onset_mm is not None:
        title += f": {answer.onset_mm:.1f} mm, 95 % interval {answer.interval_95_mm[0]:.1f} to "
        title += f"{answer.interval_95_mm[1]:.1f} mm"
    parts += [text(LEFT, 22, title, size=16), text(LEFT, 42, answer.reasons[0], size=12)]
    parts.append(
        text(
            LEFT,
            HEIGHT - 8,
            f"probability: onset {100 * answer.p_onset:.1f} %, light {100 * answer.p_light:.1f} %, "
            f"loaded {100 * answer.p_loaded:.1f} %.  Made-up sweep.",
            size=12,
        )
    )
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="sans-serif" fill="{INK}" '
        f'role="img"><title>{title}</title><rect width="{WIDTH}" height="{HEIGHT}" fill="#fff"/>'
    )
    return "\n".join([head, *parts, "</svg>"]) + "\n"


def axes(x, y, loads):
    parts = [
        line(LEFT, MIDDLE, WIDTH - RIGHT, MIDDLE),
        line(LEFT, TOP, LEFT, MIDDLE),
        line(LEFT, BOTTOM, WIDTH - RIGHT, BOTTOM),
    ]
    parts += [text(x(s), BOTTOM + 16, f"{s:.0f}", "middle", 12) for s in range(80, 25, -10)]
    parts.append(text(WIDTH - RIGHT, BOTTOM + 32, "setback, mm behind the BB; forward to the right", "end", 12))
    every = 10 if np.ptp(loads) > 15 else 5
    ticks = range(int(np.ceil(y.low / every) * every), int(y.high) + 1, every)
    parts += [text(LEFT - 6, y(n) + 4, str(n), "end", 12) for n in ticks]
    parts.append(text(LEFT - 58, TOP - 8, "N at the hands", size=12))
    return parts


def band(answer, x):
    if answer.interval_95_mm is None:
        return []
    low, high = (x(mm) for mm in answer.interval_95_mm)
    suggested = x(answer.suggested_setback_mm)
    place = f'x="{high:.1f}" y="{TOP}" width="{low - high:.1f}" height="{BOTTOM - TOP}"'
    return [
        f'<rect {place} fill="{BLUE}" opacity="0.12"/>',
        line(suggested, TOP, suggested, MIDDLE, GREEN, 1.5, "6 4"),
        text(suggested - 4, TOP + 12, "suggested", "end", 12),
    ]


def points(steps, x, y):
    parts = []
    for step in steps:
        at, n, se = x(step.setback_mm), step.hand_load_n, step.se_n
        parts.append(line(at, y(n - se), at, y(n + se), ORANGE, 1.5))
        parts.append(f'<circle cx="{at:.1f}" cy="{y(n):.1f}" r="4" fill="{ORANGE}"/>')
    return parts


def density(found, x):
    height = Scale(0.0, float(found.p.max()), BOTTOM, LOW)
    keep = found.p[1:-1]  # the outermost cells are half cells
    curve = " ".join(f"{x(-c):.1f},{height(p):.1f}" for c, p in zip(found.c[1:-1], keep, strict=True))
    return [
        f'<polyline points="{curve}" fill="none" stroke="{BLUE}" stroke-width="1.5"/>',
        text(LEFT, LOW - 8, "where a bend would be, if there is one", size=12),
    ]


def main(folder):
    folder.mkdir(parents=True, exist_ok=True)
    for name, (world, onset_mm, seed) in FIGURES.items():
        (folder / f"{name}.svg").write_text(drawn(ridden(world, onset_mm, seed)), encoding="utf-8")
        print(folder / f"{name}.svg")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path("onset_figures"))
