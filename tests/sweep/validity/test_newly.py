"""What is said at once, while the step can still be ridden again."""

from dataclasses import replace

import numpy as np

from daq.sweep.validity.judged import judged
from daq.sweep.validity.newly import newly_failed, said
from daq.values import Result, Validity, Verdict
from tests.sweep.validity.sweeps import ON_THE_JIG, OUT_AND_BACK, answer, sliding, sweep

AGAIN = (*OUT_AND_BACK, 80.0)


def test_a_repeat_that_disagrees_is_told_once_with_the_step_to_redo():
    steps = sweep(np.random.default_rng(5), order=AGAIN, more=lambda u, i: 25.0 * (i == len(AGAIN) - 1))
    told = set()

    found = newly_failed(judged(answer(), steps, ON_THE_JIG), told)

    assert "first position again" in [one.test for one in found]
    (again,) = [said(one) for one in found if one.test == "first position again"]
    assert "80 mm" in again
    assert "redo the step" in again
    assert newly_failed(judged(answer(), steps, ON_THE_JIG), told) == []


def test_what_forbids_is_told_with_its_cure():
    found = newly_failed(judged(answer(), sweep(np.random.default_rng(5), weight_line=sliding), ON_THE_JIG), set())

    assert [one.test for one in found] == ["hips"]
    assert "seat bones" in said(found[0])


def test_a_mere_suspicion_and_a_clean_sweep_are_told_nothing():
    suspicion = Validity("fatigue", 9.0, "N", (2.0, 16.0), Result.FAILED, False, "changed by 9 N", "rest")
    undecided = replace(answer(), verdict=Verdict.UNDECIDED, validity=(suspicion,))

    assert newly_failed(undecided, set()) == []
    assert newly_failed(judged(answer(), sweep(np.random.default_rng(5), order=AGAIN), ON_THE_JIG), set()) == []
