"""Methods that have answered stored sweeps answer them as they did: numbers written down when the
version after them was made.

Nine digits, not bits: linear algebra differs in the last ones from one processor to the next.
"""

import json
from pathlib import Path

import pytest

from daq.sweep.onset import BEND_FIRST, EXPECTS_STEEPER, FALLS_COUNT, LEAST_SQUARES, STROKES_ONLY, onset
from tests.benchmarks.onset_rides import StepWorld, StrokeWorld, step_sweep, stroke_sweep
from tests.sweep.rides import silent

SWEEPS = {
    "step values": lambda: step_sweep(StepWorld("sigma 2"), 1)[1],
    "errors given": lambda: step_sweep(StepWorld("sigma 2, errors given", errors_given=True), 2)[1],
    "flat": lambda: step_sweep(StepWorld("flat", added=0.0), 3)[1],
    "strokes": lambda: stroke_sweep(StrokeWorld("steep", added=(1.0, 1.5)), 4)[1],
    "a step without torque": lambda: silent(stroke_sweep(StrokeWorld("steep", added=(1.0, 1.5)), 4)[1], 4),
}
NUMBERS = ("onset_mm", "p_onset", "p_light", "p_loaded", "least_squares_mm", "rss", "suggested_setback_mm",
           "light_load_n", "slope_n_per_mm")  # fmt: skip
STORED = json.loads((Path(__file__).parent / "earlier_answers.json").read_text())


def told(answer):
    """What is kept of an answer; NaN as None."""
    numbers = {name: getattr(answer, name) for name in NUMBERS}
    numbers = {name: None if value != value else value for name, value in numbers.items()}
    said = {"verdict": str(answer.verdict), "interval": answer.interval_95_mm, "reasons": list(answer.reasons)}
    return said | numbers


@pytest.mark.parametrize("method", [EXPECTS_STEEPER, BEND_FIRST, STROKES_ONLY, FALLS_COUNT, LEAST_SQUARES])
@pytest.mark.parametrize("sweep", SWEEPS)
def test_an_earlier_method_answers_as_it_did(sweep, method):
    now, then = told(onset(SWEEPS[sweep](), method=method)), STORED[sweep][method]

    assert now["verdict"] == then["verdict"]
    # what the last sentences said of order and effort is said by the tests of validity now
    assert now["reasons"] == then["reasons"][: len(now["reasons"])]
    assert len(then["reasons"]) - len(now["reasons"]) <= 1
    assert (now["interval"] is None) == (then["interval"] is None)
    if now["interval"] is not None:
        assert now["interval"] == pytest.approx(tuple(then["interval"]), rel=1e-9)
    for name in NUMBERS:
        assert now[name] == (None if then[name] is None else pytest.approx(then[name], rel=1e-9, abs=1e-9))
