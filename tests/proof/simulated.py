"""Many proofs at once: a jig, a dummy and an engineer's readings drawn for each, answered by least squares."""

from dataclasses import replace

import numpy as np

from daq.proof.dummy import Plank, Springs, onset_of_slack
from daq.proof.findings import ProofFigures, Uncertain
from daq.rider.proof_faults import FAULTS, JigFaults

RATE, PLACEMENTS, SWEEPS = 2.0, 4, 2
POSITIONS_MM = np.array([110.0, 90.0, 70.0, 50.0, 30.0, 10.0, 20.0, 40.0, 60.0, 80.0, 100.0])
FORWARD = np.array([True] * 6 + [False] * 5)
SCALE_MM = np.tile([100.0, 80.0, 60.0, 40.0, 20.0], 2)
SCALE_FORWARD = np.repeat([True, False], 5)
BAR_N = np.tile(np.array([0.0, 20.0, 40.0, 60.0, 80.0, 100.0, 120.0]), 2)
LAID_N = np.tile(np.array([0.0, 60.0, 120.0, 180.0, 240.0, 300.0]), 2)
U = Uncertain()
NAMED_BY = {
    "gain": "hands gain",
    "backlash": "backlash",
    "offset": "scale offset",
    "crosstalk": "crosstalk of saddle",
    "stop": "stop",
    "tilt": "tilt",
    "flex": "flex",
}
"""The part that has to be named for each fault."""
READ_N, CALIPER_MM, GAP_MM, SET_MM = 0.05, 0.05, 0.05, 0.1
"""Scatter of a reading of the cells, of a caliper's and a gap's value, and of setting the saddle to a mark."""


def proofs(number, fault=None, seed=20250304):
    """Figures of so many proofs, and the true bias of each jig, mm: offset and slope of its scale, by hand."""
    rng = np.random.default_rng([seed, *(fault or "none").encode()])
    wrong = drawn(rng, (number, 1), fault)
    weigh = 1.0 + rng.normal(0.0, U.weights, (number, 1))
    datum_mm = rng.uniform(-1.0, 1.0, (number, 1)) * U.datum_mm * np.sqrt(3.0)
    read = lambda *shape: rng.normal(0.0, READ_N, (number, *shape))  # noqa: E731

    caliper = wrong.setback_mm(SCALE_MM, SCALE_FORWARD) + rng.normal(0, CALIPER_MM, (number, len(SCALE_MM))) + datum_mm
    bar_hands, bar_saddle = wrong.shown_n(BAR_N * weigh, np.zeros_like(BAR_N))
    laid_hands, laid_saddle = wrong.shown_n(np.zeros_like(LAID_N), LAID_N * weigh)
    tilts = np.tile([0.0, 2.58], PLACEMENTS)
    level = tilts + rng.normal(0, U.level_deg, (number, 1)) + rng.normal(0, 0.02, (number, len(tilts)))
    shown = tilts + wrong.tilt_deg + rng.normal(0, 0.005, (number, len(tilts)))

    onset = rng.uniform(58.0, 62.0, (number, PLACEMENTS))
    placed = onset + rng.uniform(8.0, 12.0, onset.shape)
    told = onset_of_slack(
        placed + datum_mm + rng.normal(0, CALIPER_MM, onset.shape), placed - onset + rng.normal(0, GAP_MM, onset.shape)
    )
    rate = RATE * (1.0 + rng.normal(0.0, U.rate, (number, 1, 1, 1)))
    errors, rates = swept(rng, wrong, onset, told, rate)
    figures = ProofFigures(
        SCALE_MM, SCALE_FORWARD, caliper, BAR_N, bar_hands + read(len(BAR_N)), bar_saddle + read(len(BAR_N)),
        LAID_N, laid_hands + read(len(LAID_N)), laid_saddle + read(len(LAID_N)), level, shown, errors, rates,
    )  # fmt: skip
    on_scale = (onset - np.asarray(wrong.offset_mm) + 60.0 * np.asarray(wrong.slope)) / (1.0 + np.asarray(wrong.slope))
    return figures, np.mean(on_scale - onset, axis=1)


def swept(rng, wrong, onset, told, rate):
    """(proofs, placements, sweeps) errors of the onsets, and the rates found over the dummy's, flattened."""
    number = len(onset)
    each = (number, PLACEMENTS, SWEEPS, len(POSITIONS_MM))
    one = {
        name: np.asarray(getattr(wrong, name)) for name in ("gain", "crosstalk", "offset_mm", "slope", "backlash_mm")
    }
    wider = type(wrong)(
        **{name: value.reshape(value.shape + (1,) * (4 - value.ndim)) for name, value in one.items()},
        stop_n=wrong.stop_n,
    )
    at = wider.setback_mm(np.broadcast_to(POSITIONS_MM, each), FORWARD) + rng.normal(0.0, SET_MM, each)
    # spring and frame in series: 1/k = 1/rate + what the frame gives
    gives = np.asarray(wrong.gives_mm_per_n)
    pull = rate / RATE * Springs((RATE,)).hands_n(at, onset[..., None, None]) / (1.0 + rate * gives)
    shared_hands, shared_saddle = Plank(10.0, 0.15, 0.1, 0.54).loads_n(at, 0.0)
    hands, _ = wider.shown_n(pull + shared_hands, shared_saddle)
    hands = hands + rng.normal(0.0, READ_N, each)
    found, slope = hinges(hands, np.broadcast_to(onset[..., None], each[:-1]))
    return found - told[..., None], (slope / RATE).reshape(number, -1)


def hinges(y, start):
    """Least-squares hinges with a slope behind, by Gauss and Newton, of all sweeps at once."""
    c = start.copy()
    for _ in range(8):
        ahead = c[..., None] - POSITIONS_MM
        design = np.stack(
            [np.ones_like(y), np.broadcast_to(POSITIONS_MM - 60.0, y.shape), np.maximum(ahead, 0.0), ahead > 0], -1
        )
        normal = np.swapaxes(design, -1, -2) @ design
        b = np.linalg.solve(normal, np.swapaxes(design, -1, -2) @ y[..., None])[..., 0]
        c = c + np.clip(b[..., 3] / b[..., 2], -3.0, 3.0)
    return c, b[..., 2]


def drawn(rng, shape, fault=None):
    """Jigs as good workshops build them, each with small errors of every kind, plus this fault.

    Sizes: cells within 0.1 %, a scale within 0.3 mm, 0.2 mm of play. Judgement, no source.
    """
    good = JigFaults(
        gain=rng.normal(0.0, 5e-4, shape),
        crosstalk=rng.normal(0.0, 1e-3, shape),
        offset_mm=rng.normal(0.0, 0.15, shape),
        slope=rng.normal(0.0, 5e-4, shape),
        backlash_mm=rng.uniform(0.0, 0.2, shape),
        tilt_deg=rng.normal(0.0, 0.03, shape),
    )
    if fault is None:
        return good
    more = FAULTS[fault]
    added = ("gain", "crosstalk", "offset_mm", "backlash_mm", "tilt_deg")
    return replace(
        good,
        stop_n=more.stop_n,
        gives_mm_per_n=more.gives_mm_per_n,
        **{name: np.asarray(getattr(good, name)) + getattr(more, name) for name in added},
    )
