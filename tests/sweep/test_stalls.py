"""Every stall of a sweep has a cause, and names it within five seconds."""

from dataclasses import replace

import pytest

from daq.sweep.run import State
from daq.sweep.stalls import StallWatch
from daq.values import Status, Stroke

NONE = Status(0)
STROKE = Stroke(0.0, 0.0, 80.0, 400.0, 250.0, 0.0, 21.0, 200.0, (), 53, NONE)


def ridden(until_s, *, marks=True, sensor=False, flags=NONE, scans=True, turns=True):
    """A saddle confirmed at 100 s, then so much as is still there; scans and strokes came before."""
    watch = StallWatch()
    watch.scan(99.9, marked=marks)
    if sensor:
        watch.turn_told()
    watch.act(100.0)
    i = 0
    while (t_s := 100.0 + i * 2 / 3) < until_s:
        if scans:
            watch.scan(t_s, marked=marks)
        if turns:
            watch.stroke(replace(STROKE, start_s=t_s - 2 / 3, end_s=t_s, flags=flags))
        i += 1
    if scans:
        watch.scan(until_s, marked=marks)
    return watch


@pytest.mark.parametrize("state", [State.SETTLING, State.AVERAGING])
def test_a_sweep_that_goes_on_has_no_stall(state):
    for until_s in (100.1, 103.0, 106.0, 160.0):
        assert ridden(until_s).why(state, until_s) == ""


@pytest.mark.parametrize(
    ("missing", "cause"),
    [
        ({"scans": False, "turns": False}, "no loads arrive"),
        ({"turns": False, "marks": False}, "no crank mark, and no sensor tells of revolutions: connect one"),
        ({"turns": False}, "pedal, or check the crank mark and its magnet"),
        ({"turns": False, "marks": False, "sensor": True}, "pedal, or check the sensor that tells"),
        ({"flags": Status.SATURATED}, "a channel is at the end of its scale"),
        ({"flags": Status.ADC_ERROR | Status.CRANK_MARK}, "a converter cannot be read"),
    ],
)
def test_what_is_missing_is_named_within_five_seconds(missing, cause):
    assert cause in ridden(104.9, **missing).why(State.SETTLING, 104.9)
    assert cause in ridden(130.0, **missing).why(State.AVERAGING, 130.0)


@pytest.mark.parametrize("state", [State.WAITING, State.MOVING, State.PAUSED, State.FINISHED])
def test_a_sweep_that_waits_for_the_fitter_is_no_stall(state):
    assert ridden(160.0, scans=False, turns=False).why(state, 160.0) == ""


def test_one_stroke_with_a_fault_is_no_stall():
    watch = ridden(110.0)
    watch.stroke(replace(STROKE, start_s=109.5, end_s=110.1, flags=Status.SATURATED))

    assert watch.why(State.AVERAGING, 110.2) == ""
