import pytest

from daq.refusals import NotNow
from daq.sweep.run import FITTERS_TRIGGERS, TRANSITIONS, State, Trigger, after, fitter_may

ENDED = {State.FINISHED, State.STOPPED}


def test_stop_is_possible_in_every_state_that_has_not_ended():
    for state in set(State) - ENDED:
        assert after(state, Trigger.STOP) is State.STOPPED


def test_every_state_is_reached_from_waiting():
    reached, border = {State.WAITING}, [State.WAITING]
    while border:
        new = set(TRANSITIONS[border.pop()].values()) - reached
        reached |= new
        border += new

    assert reached == set(State)


def test_an_ended_sweep_takes_nothing():
    for state in ENDED:
        assert not TRANSITIONS[state]


def test_a_refusal_names_what_would_be_accepted():
    with pytest.raises(NotNow, match="saddle_moved while waiting; a sweep here accepts: begin, stop"):
        after(State.WAITING, Trigger.SADDLE_MOVED)


def test_buttons_never_offer_what_only_the_strokes_can_tell():
    for state in State:
        assert set(fitter_may(state)) <= FITTERS_TRIGGERS
