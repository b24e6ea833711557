"""What the daemon answers, for pages on a stream that the test writes."""

import json
from pathlib import Path

from daq.fit.outcome import outcome
from daq.fit.sketch import Sketch
from daq.keep.json_text import plain
from daq.live.telling.deciding import answer_fields
from daq.sweep.onset import onset
from daq.sweep.run import fitter_may
from daq.sweep.validity.judged import judged
from tests.sweep.validity.sweeps import ON_THE_JIG, ride, sliding

ANSWERS = Path(__file__).parent / "answers.json"
"""What the daemon answered in one simulated job."""


def sweep_in(messages, state, **fields):
    return {**messages["sweep"], "state": str(state), "accepts": [str(e) for e in fitter_may(state)], **fields}


def plan_answer(**sketch):
    """What the daemon answers to a sketch of a plan."""
    return plain(outcome(Sketch(**{"rear_mm": 80, "front_mm": 30, "apart_mm": 5, **sketch})))


def without_verdict():
    """The same job, had the hips slid in its first sweep: a test takes the verdict, others failed beside it."""
    told = json.loads(ANSWERS.read_text())
    steps = ride(weight_line=sliding)
    answer = answer_fields(judged(onset(steps), steps, ON_THE_JIG))
    found = told["visit/evidence"]
    first = {**found["sweeps"][0], "onset": answer, "line": None}
    nothing = {"decision": None, "chosen_mm": None, "window_mm": None, "suggested": None, "differs": []}
    options = [{**one, "p_loaded": None, "cautions": []} for one in found["options"]]
    leanings = [one for one in found["leanings"] if "onset" not in one["number"]]
    told["visit/evidence"] = {**found, **nothing, "sweeps": [first], "main": first["sweep_id"]}
    told["visit/evidence"] |= {"options": options, "leanings": leanings}
    told["visit/evidence"]["found"] = "We could not tell from today's ride where your hands begin to carry more."
    told["visit"]["visit"]["decision"] = None
    told["visit/days"] = {"days": None, "why_not": "no onset is named, so nothing is foretold of another day"}
    return told
