"""The answer of the statistics, judged by all tests of validity: an onset has to be true, not only precise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from daq.sweep.next_ride import AT_THIS_SCATTER, TO_SETTLE, in_words
from daq.sweep.validity.conditions import Conditions
from daq.sweep.validity.cures import OF_THE_JIG, comes_first, in_one_list, in_one_sweep, in_order, ordered
from daq.sweep.validity.explained import explained
from daq.sweep.validity.figures import ENDED
from daq.sweep.validity.grade import graded
from daq.sweep.validity.habit import habit
from daq.sweep.validity.seen import Seen, seen
from daq.sweep.validity.table import TESTS
from daq.sweep.validity.unread import unread
from daq.values import Onset, Result, StepMean, Validity, Verdict
from daq.words import listed

ENOUGH = (*OF_THE_JIG, "torque")
"""When one of these takes a verdict, nothing else need be suspected. A sweep ridden one way may have been wrong in
other ways too, and then the next one would be."""


def judged(answer: Onset, steps: Sequence[StepMean], conditions: Conditions) -> Onset:
    """The answer with every test's finding; without its numbers, undecided, when one of them forbids a verdict. An
    onset against which only an effort speaks that nobody measured is a rise that was seen.

    Without a verdict the tests also tell what they suspect, a rider's numbers may mean something else than they seem
    to; a fault of the jig that was seen needs no other. What to do is told in one order, and asks for one ride.

    What was said of an onset names its place, so it goes too; the plain least-squares fit, which every answer has for
    comparison with other programs, stays and claims nothing. What failed without forbidding, and what could not be
    tested, is said beside the onset; first, what load alone can never tell.
    """
    sweep = seen(answer, steps, conditions)
    found = _tested(sweep)
    faulty = any(one.forbids and one.test in OF_THE_JIG for one in found)
    if faulty:
        found = unread(_tested(sweep.asked_again(blamed=True)), sweep)
    forbidding = [one.test for one in found if one.forbids]
    if forbidding and sweep.decided and not set(forbidding) & set(ENOUGH):
        found = _with_suspicions(found, sweep)
    if forbidding:
        without = habit(replace(sweep, answer=replace(answer, onset_mm=None)))
        found = tuple(without if one.test == "habit" else one for one in found)
    unmeasured = answer.verdict is Verdict.ONSET and forbidding == ["torque"]
    grade, measured = graded(sweep, found)
    answer = replace(answer, validity=found, evidence=evidence(found), grade=grade, all_measured=measured)
    answer = _by_this_jig(answer, conditions)
    if forbidding or not sweep.decided:
        answer = _with_cures(answer, sweep, faulty=faulty)
        return replace(answer, verdict=Verdict.RISE_SEEN) if unmeasured else answer
    beside = [_sentence(one) for one in found if one.result is Result.FAILED]
    caution = _caution(found, sweep)
    return replace(answer, caution=caution, reasons=_told(caution, answer.reasons, beside, found))


def _with_cures(answer: Onset, sweep: Seen, *, faulty: bool) -> Onset:
    """The answer without a verdict, with what to do: what has to be cured first asks for a sweep, and nothing else for
    single positions; without such a thing, all that are asked for are in one list."""
    found, asked, of = answer.validity, answer.next_ride, explained(sweep)
    withheld, first = any(one.forbids for one in found), comes_first(found, of)
    statistics = () if sweep.decided else answer.reasons
    if first:
        found, asked = in_one_sweep(found), None
        statistics = tuple(one for one in statistics if not one.startswith((TO_SETTLE, AT_THIS_SCATTER)))
    elif asked is not None:
        found, together = in_one_list(found, asked)
        statistics = tuple(one.replace(in_words(asked), in_words(together)) for one in statistics)
        asked = together
    opened = ordered(found, of, [] if faulty else _unseen(found, sweep))
    told = [_sentence(one) for one in opened]
    reasons = (*told, *statistics) if withheld else _told("", statistics, told, found)
    return replace(
        answer,
        verdict=Verdict.UNDECIDED,
        onset_mm=None,
        interval_95_mm=None,
        suggested_setback_mm=None,
        p_loaded_at=() if withheld else answer.p_loaded_at,
        validity=found,
        next_ride=asked,
        cures=in_order(opened, asked),
        reasons=reasons,
    )


def _told(caution: str, reasons: Sequence[str], beside: list[str], found: Sequence[Validity]) -> tuple[str, ...]:
    """All reasons, with what was not tested last."""
    told = [caution, *beside]
    untested = listed([brief(one) for one in found if one.result is Result.NOT_MADE and _sentence(one) not in told])
    return tuple(filter(None, (caution, *reasons, *beside, untested and f"not tested: {untested}")))


def _tested(sweep: Seen) -> tuple[Validity, ...]:
    return tuple(test(sweep) for test in TESTS)


def _with_suspicions(found: Sequence[Validity], sweep: Seen) -> tuple[Validity, ...]:
    """What forbids, and of the other tests what they suspect now that the verdict is lost."""
    again = _tested(sweep.asked_again(withheld=True))
    return tuple(one if one.forbids else replace(other, forbids=False) for one, other in zip(found, again, strict=True))


def _unseen(found: Sequence[Validity], sweep: Seen) -> list[Validity]:
    """What could not be measured and looks like a rise: without a verdict, the eye has to do what no cell can."""
    if not sweep.asked_again(withheld=True).rise_suspected:
        return []
    return [one for one in found if one.test == "hips" and one.result is Result.NOT_MADE and one.cure]


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
    return tuple(brief(one) if one.result is Result.NOT_MADE else f"{one.test}: {ENDED[one.result]}" for one in found)


def brief(one: Validity) -> str:
    """A test that was not made in a few words."""
    return one.means.partition(":")[0]


def _sentence(one: Validity) -> str:
    return f"{one.means}: {one.cure}" if one.cure else one.means
