"""How the confounds benchmark judges one sweep: the one place that changes when the judging does."""

from __future__ import annotations

from dataclasses import replace

from daq.jig import conditions_of
from daq.rider.confounds import FAULT_AFTER_S
from daq.sweep.onset import onset
from daq.sweep.validity.conditions import Fault
from daq.sweep.validity.judged import judged as judged_by_tests
from daq.values import Onset
from tests.benchmarks.confound_rides import MOVING_S, RIG, Ridden

BEFORE = "hinge-posterior/2"
"""What the benchmark's gains and losses are counted against, without any test of validity."""
TRUSTED = {"allows_verdict": True, "sentence": ""}


def judged(sweep: Ridden) -> Onset:
    """The answer a fitter is given."""
    begun = {"mass_kg": sweep.mass_kg, "calibration": TRUSTED}
    known = conditions_of(RIG, sweep.plan, begun, watched=True)
    if not sweep.line.nose_and_rear:
        known = replace(known, saddle_cells=())
    return judged_by_tests(plain(sweep), sweep.steps, replace(known, faults=faults(sweep)))


def faults(sweep: Ridden) -> tuple[Fault, ...]:
    """What the watch over the scans sees of a cell that froze or stands at its end; it is not simulated here."""
    wrong = sweep.wrong
    found = []
    for place, part, sentence in (
        (wrong.frozen_hand_place, "hands_right", "has not changed by one count for 3 s"),
        (wrong.frozen_nose_place, "saddle_nose", "has not changed by one count for 3 s"),
        (wrong.saturated_place, "hands_right", "the converter stands at its end"),
    ):
        begins_s = {i + 1: step.strokes[0].start_s + FAULT_AFTER_S for i, step in enumerate(sweep.steps)}
        if sweep.steps and not sweep.finished:
            begins_s[len(sweep.steps) + 1] = sweep.steps[-1].strokes[-1].end_s + MOVING_S + FAULT_AFTER_S
        found += [Fault(part, sentence, t_s) for i, t_s in begins_s.items() if i >= place]
    return tuple(found)


def plain(sweep: Ridden) -> Onset:
    """The answer of the statistics alone."""
    return onset(sweep.steps)


def before(sweep: Ridden) -> Onset:
    """The answer there was before."""
    return onset(sweep.steps, method=BEFORE)
