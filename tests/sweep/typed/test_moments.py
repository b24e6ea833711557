import numpy as np
import pytest

from daq.sweep.onset import onset
from daq.sweep.typed.moments import SETTLES_IN, moments_s
from tests.benchmarks.less_rides import Display, read_off, world_of
from tests.benchmarks.onset_rides import stroke_sweep


def test_the_same_seed_gives_the_same_moments_and_another_others():
    first, again, other = (moments_s(seed, 5, dwell_s=25.0, settle_s=6.0) for seed in ("1:0:7", "1:0:7", "1:1:7"))

    assert first == again
    assert first != other


@pytest.mark.parametrize("count", [3, 5, 10])
def test_there_is_time_to_type_between_two_calls(count):
    found = [moments_s(str(i), count, dwell_s=25.0, settle_s=6.0) for i in range(200)]

    assert min(np.diff(one).min() for one in found) > 1.5
    assert min(one[0] for one in found) > 6.0


def test_a_damped_scale_is_given_its_time():
    first, *_ = moments_s("1", 5, dwell_s=25.0, settle_s=6.0, damping_s=4.0)

    assert first > SETTLES_IN * 4.0


def test_the_moments_meet_the_pedalling_at_every_phase():
    """Twice a turn at 90 rpm is 3 Hz; phases all alike have a mean vector of length 1, even ones of 0."""
    at_s = np.concatenate([moments_s(f"s:{i}", 5, dwell_s=25.0, settle_s=6.0) for i in range(100)])

    assert abs(np.exp(2j * np.pi * 3.0 * at_s).mean()) < 0.1


def test_even_moments_lean_and_irregular_ones_do_not():
    """Without damping, readings 5 s apart meet a ripple of 3 Hz at one phase: all of a step lean the same way."""
    _, steps = stroke_sweep(world_of("less 1", 1.0), 3)
    truth = np.array([step.hand_load_n for step in steps])

    def off(evenly):
        read = read_off(steps, Display(0.1, 5, damping_s=0.0, evenly=evenly), 3)
        return np.array([step.hand_load_n for step in read]) - truth

    assert np.abs(off(evenly=True)).mean() > 15.0
    assert np.abs(off(evenly=False).mean()) < 5.0


def test_a_typed_sweep_finds_a_clear_onset():
    truth_mm, steps = stroke_sweep(world_of("less 1.5", 1.5), 11)

    answer = onset(read_off(steps, Display(0.1, 5), 11))

    low_mm, high_mm = answer.interval_95_mm
    assert low_mm <= truth_mm <= high_mm
