"""What the daemon answers, for pages on a stream that the test writes."""

from pathlib import Path

from daq.sweep.run import fitter_may

ANSWERS = Path(__file__).parent / "answers.json"
"""What the daemon answered in one simulated job."""


def sweep_in(messages, state, **fields):
    return {**messages["sweep"], "state": str(state), "accepts": [str(e) for e in fitter_may(state)], **fields}
