"""Drift within the dwells: how many steps have to have strokes before it is judged."""

from dataclasses import replace

import numpy as np
import pytest

from daq.sweep.validity.dwell import drift
from daq.sweep.validity.seen import seen
from daq.values import Result
from tests.sweep.validity import sweeps
from tests.sweep.validity.sweeps import ON_THE_JIG, answer


@pytest.mark.parametrize(("known", "result"), [(1, Result.NOT_MADE), (5, Result.NOT_MADE), (6, Result.PASSED)])
def test_strokes_of_a_few_steps_do_not_tell_a_drift_within_the_dwells(known, result):
    steps = sweeps.sweep(np.random.default_rng(4), sway_n=1.5)
    cut = [step if i < known else replace(step, strokes=step.strokes[:7]) for i, step in enumerate(steps)]

    assert drift(seen(answer(), cut, ON_THE_JIG)).result is result
