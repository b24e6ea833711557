"""What the daemon answers, for pages on a stream that the test writes."""

from pathlib import Path

from daq.fit.outcome import outcome
from daq.fit.sketch import Sketch
from daq.keep.json_text import plain
from daq.sweep.run import fitter_may

ANSWERS = Path(__file__).parent / "answers.json"
"""What the daemon answered in one simulated job."""


def sweep_in(messages, state, **fields):
    return {**messages["sweep"], "state": str(state), "accepts": [str(e) for e in fitter_may(state)], **fields}


def plan_answer(**sketch):
    """What the daemon answers to a sketch of a plan."""
    return plain(outcome(Sketch(**{"rear_mm": 80, "front_mm": 30, "apart_mm": 5, **sketch})))
