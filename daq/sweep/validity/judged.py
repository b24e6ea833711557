"""The answer of the statistics, judged by all tests of validity: an onset has to be true, not only precise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from daq.sweep.next_ride import AT_THIS_SCATTER, TO_SETTLE
from daq.sweep.validity.conditions import Conditions
from daq.sweep.validity.grade import graded
from daq.sweep.validity.habit import habit
from daq.sweep.validity.saying import listed
from daq.sweep.validity.seen import Seen, seen
from daq.sweep.validity.table import TESTS
from daq.values import Onset, Result, StepMean, Validity, Verdict

OF_THE_JIG = ("computation", "calibration", "cells", "feet", "tilt")
"""When one of these fails, the numbers themselves are in doubt: neither the eye nor more riding mends that."""
ENOUGH = (*OF_THE_JIG, "torque")
"""When one of these takes a verdict, nothing else need be suspected. A sweep ridden one way may have been wrong in
other ways too, and then the next one would be."""


def judged(answer: Onset, steps: Sequence[StepMean], conditions: Conditions) -> Onset:
    """The answer with every test's finding; without its numbers, undecided, when one of them forbids a verdict. An
    onset against which only an effort speaks that nobody measured is a rise that was seen.

    Without a verdict the tests also tell what they suspect, a rider's numbers may mean something else than they seem
    to; a fault of the jig that was seen needs no other.

    What was said of an onset names its place, so it goes too: no setback is read off a sweep without a verdict. What
    failed without forbidding, and what could not be tested, is said beside the onset; first, what load alone can never
    tell.
    """
    sweep = seen(answer, steps, conditions)
    found = _tested(sweep)
    faulty = any(one.forbids and one.test in OF_THE_JIG for one in found)
    if faulty and not sweep.decided:
        found = _tested(replace(sweep, blamed=True))
    forbidding = [one.test for one in found if one.forbids]
    if forbidding and sweep.decided and not set(forbidding) & set(ENOUGH):
        found = _with_suspicions(found, sweep)
    if forbidding:
        without = habit(replace(sweep, answer=replace(answer, onset_mm=None)))
        found = tuple(without if one.test == "habit" else one for one in found)
    unmeasured = answer.verdict is Verdict.ONSET and forbidding == ["torque"]
    answer = replace(answer, validity=found, evidence=evidence(found), grade=graded(sweep, found))
    answer = _by_this_jig(answer, conditions)
    against = [_sentence(one) for one in found if one.test in forbidding]
    beside = [_sentence(one) for one in found if one.result is Result.FAILED and one.test not in forbidding]
    if (against or not sweep.decided) and not faulty:
        beside += _unseen(found, sweep)
    if against:
        return replace(
            answer,
            verdict=Verdict.RISE_SEEN if unmeasured else Verdict.UNDECIDED,
            onset_mm=None,
            interval_95_mm=None,
            suggested_setback_mm=None,
            p_loaded_at=(),
            reasons=(*against, *beside, *_of_the_statistics(answer, faulty=faulty)),
        )
    caution = _caution(found, sweep)
    told = [caution, *beside]
    untested = listed([brief(one) for one in found if one.result is Result.NOT_MADE and _sentence(one) not in told])
    if untested:
        beside.append(f"not tested: {untested}")
    reasons = tuple(filter(None, (caution, *answer.reasons, *beside)))
    return replace(answer, caution=caution, reasons=reasons)


def _tested(sweep: Seen) -> tuple[Validity, ...]:
    return tuple(test(sweep) for test in TESTS)


def _with_suspicions(found: Sequence[Validity], sweep: Seen) -> tuple[Validity, ...]:
    """What forbids, and of the other tests what they suspect now that the verdict is lost."""
    again = _tested(replace(sweep, withheld=True))
    return tuple(one if one.forbids else replace(other, forbids=False) for one, other in zip(found, again, strict=True))


def _of_the_statistics(answer: Onset, *, faulty: bool) -> tuple[str, ...]:
    """Reasons that stay without a verdict: those of an onset name its place, and more riding mends no faulty jig."""
    if answer.onset_mm is not None:
        return ()
    return tuple(one for one in answer.reasons if not (faulty and one.startswith((TO_SETTLE, AT_THIS_SCATTER))))


def _unseen(found: Sequence[Validity], sweep: Seen) -> list[str]:
    """What could not be measured and looks like a rise: without a verdict, the eye has to do what no cell can."""
    if not replace(sweep, withheld=True).rise_suspected:
        return []
    return [_sentence(one) for one in found if one.test == "hips" and one.result is Result.NOT_MADE and one.cure]


def _caution(found: Sequence[Validity], sweep: Seen) -> str:
    """What a named onset may be instead, of a rider who may have expected it and did not ride a sham step: in a list of
    what was not tested nobody would read that."""
    if sweep.answer.onset_mm is None or not sweep.may_expect:
        return ""
    return next((_sentence(one) for one in found if one.test == "sham" and one.result is Result.NOT_MADE), "")


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
