import numpy as np
import pytest

from daq.sweep.hands import jump_n
from daq.sweep.progress import Notice
from daq.sweep.run import Trigger
from tests.sweep.pedalled import PLAN, begun, ride, stroke

STROKE_S = 60.0 / 90.0


def swaying(seed, n=38, sd_n=5.0, tau_s=4.0):
    """Hand loads of n strokes of a rider who sways, an Ornstein-Uhlenbeck process."""
    rng = np.random.default_rng(seed)
    decay = np.exp(-STROKE_S / tau_s)
    load = [rng.normal(80.0, sd_n)]
    for _ in range(n - 1):
        load.append(80.0 + decay * (load[-1] - 80.0) + rng.normal(0.0, sd_n * np.sqrt(1 - decay**2)))
    return np.array(load)


def strokes(hands_n):
    return [stroke(i * STROKE_S, float(n)) for i, n in enumerate(hands_n)]


def told_once(hands_n):
    return any(jump_n(strokes(hands_n[:k])) is not None for k in range(1, len(hands_n) + 1))


def test_a_rider_who_only_sways_is_seldom_asked_about_the_hands():
    asked = sum(told_once(swaying(seed)) for seed in range(200))

    assert asked <= 10


@pytest.mark.parametrize("shift_n", [40.0, -40.0])
def test_hands_that_move_by_forty_newtons_are_nearly_always_noticed(shift_n):
    def moved(seed):
        load = swaying(seed)
        load[20:] += shift_n
        return load

    assert sum(told_once(moved(seed)) for seed in range(100)) >= 90


def test_a_cough_of_one_stroke_is_no_move_of_the_hands():
    load = np.where(np.arange(38) == 25, 160.0, 80.0 + (np.arange(38) % 2))

    assert not told_once(load)


def test_a_sweep_tells_it_once_in_a_step_and_averages_on():
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0)
    quiet, t_s = ride(progress, 0.0, 20.0)

    loud, _ = ride(progress, t_s, 14.0, hands_n=120.0)

    assert not [one for one in quiet if isinstance(one, Notice)]
    (note,) = [one for one in loud if isinstance(one, Notice) and "hands move" in one.text]
    assert note.level == "caution"
    assert len(progress.steps) == 1
    assert PLAN.dwell_s == 20.0


def test_the_jump_is_that_of_the_last_five_strokes_from_the_fifteenth_on():
    before, now = [80.0, 81.0] * 5, [110.0, 112.0, 114.0, 116.0, 118.0]

    assert jump_n(strokes([*before, *now])) == pytest.approx(114.0 - 80.5)
    assert jump_n(strokes([*before[1:], *now])) is None


def test_a_step_of_wide_sway_has_to_jump_further_before_the_hands_are_asked_about():
    """20 N is beyond four standard deviations of 2 N by the median, and within those of 6 N."""
    before = np.array([0.0, 1.0, -1.0, 2.0, -2.0, 1.0, -1.0, 0.0, 1.5, -1.5])

    def jumps(spread):
        return jump_n(strokes([*(80.0 + spread * before), *[100.0] * 5]))

    assert jumps(1.0) == pytest.approx(20.0)
    assert jumps(6.0) is None
