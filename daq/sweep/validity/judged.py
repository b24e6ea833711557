"""The answer of the statistics, judged by all tests of validity: an onset has to be true, not only precise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from daq.sweep.validity.conditions import Conditions
from daq.sweep.validity.grade import graded
from daq.sweep.validity.saying import listed
from daq.sweep.validity.seen import Seen, seen
from daq.sweep.validity.table import TESTS
from daq.values import Onset, Result, StepMean, Validity, Verdict

PLAIN = ("computation", "calibration", "cells", "feet", "tilt", "torque", "direction")
"""Tests of the jig and of how the sweep was ridden: when one of these fails, nothing else need be suspected."""


def judged(answer: Onset, steps: Sequence[StepMean], conditions: Conditions) -> Onset:
    """The answer with every test's finding; without its numbers, undecided, when one of them forbids a verdict. An
    onset against which only an effort speaks that nobody measured is a rise that was seen.

    What was said of an onset names its place, so it goes too: no setback is read off a sweep without a verdict. What
    failed without forbidding, and what could not be tested, is said beside the onset.
    """
    sweep = seen(answer, steps, conditions)
    found = tuple(test(sweep) for test in TESTS)
    forbidding = [one.test for one in found if one.forbids]
    unmeasured = answer.verdict is Verdict.ONSET and forbidding == ["torque"]
    if forbidding and not unmeasured:
        found = _with_suspicions(found, sweep)
    answer = replace(answer, validity=found, evidence=evidence(found), grade=graded(sweep))
    answer = _by_this_jig(answer, conditions)
    against = [_sentence(one) for one in found if one.test in forbidding]
    beside = [_sentence(one) for one in found if one.result is Result.FAILED and one.test not in forbidding]
    if against or not sweep.decided:
        beside += _unseen(found, sweep)
    if against:
        return replace(
            answer,
            verdict=Verdict.RISE_SEEN if unmeasured else Verdict.UNDECIDED,
            onset_mm=None,
            interval_95_mm=None,
            suggested_setback_mm=None,
            p_loaded_at=(),
            reasons=(*against, *beside, *(() if answer.onset_mm is not None else answer.reasons)),
        )
    untested = listed([brief(one) for one in found if one.result is Result.NOT_MADE and _sentence(one) not in beside])
    if untested:
        beside.append(f"not tested: {untested}")
    return replace(answer, reasons=(*answer.reasons, *beside))


def _with_suspicions(found: Sequence[Validity], sweep: Seen) -> tuple[Validity, ...]:
    """What forbids, and of the other tests what they suspect now that the verdict is lost: a rider's numbers may mean
    something else than they seem to."""
    if not sweep.decided or any(one.test in PLAIN for one in found if one.forbids):
        return tuple(found)
    again = (test(replace(sweep, withheld=True)) for test in TESTS)
    return tuple(one if one.forbids else replace(other, forbids=False) for one, other in zip(found, again, strict=True))


def _unseen(found: Sequence[Validity], sweep: Seen) -> list[str]:
    """What could not be measured and looks like a rise: without a verdict, the eye has to do what no cell can."""
    if not replace(sweep, withheld=True).rise_suspected:
        return []
    return [_sentence(one) for one in found if one.test == "hips" and one.result is Result.NOT_MADE and one.cure]


def _by_this_jig(answer: Onset, conditions: Conditions) -> Onset:
    """The answer with what is known of the jig beside, and what is not known of its scale within the interval."""
    scale, interval_mm = conditions.scale, answer.interval_95_mm
    return replace(
        answer,
        evidence=(*answer.evidence, *conditions.jig_said),
        interval_95_mm=interval_mm if scale is None or interval_mm is None else scale.widened(interval_mm),
    )


def evidence(found: Sequence[Validity]) -> tuple[str, ...]:
    """What was tested and held, what failed, and what was not measured: the grade of an answer, in a few words each."""
    words = {Result.PASSED: "held", Result.FAILED: "failed"}
    return tuple(brief(one) if one.result is Result.NOT_MADE else f"{one.test}: {words[one.result]}" for one in found)


def brief(one: Validity) -> str:
    """A test that was not made in a few words."""
    return one.means.partition(":")[0]


def _sentence(one: Validity) -> str:
    return f"{one.means}: {one.cure}" if one.cure else one.means
