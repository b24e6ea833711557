import itertools

import numpy as np
import pytest

from daq.sweep.order import ordered, spaced, with_repeats, with_sham
from daq.sweep.plan import BadPlan, out_and_back


def order(kind, seed=1):
    return ordered(spaced(80.0, 30.0, 5.0), kind, np.random.default_rng(seed))


def test_positions_run_from_the_rear_end_to_the_front_end_evenly():
    assert spaced(80.0, 30.0, 5.0) == tuple(float(x) for x in range(80, 25, -5))
    assert spaced(70.0, 40.0, 7.5) == (70.0, 62.5, 55.0, 47.5, 40.0)


def test_out_and_back_is_the_order_of_the_plan():
    assert order("out and back") == out_and_back(80.0, 30.0, 11)


def test_a_shuffle_visits_every_position_once_and_its_seed_draws_it_again():
    assert sorted(order("shuffled")) == sorted(order("one way"))
    assert order("shuffled") == order("shuffled")
    assert order("shuffled", seed=2) != order("shuffled")


def test_a_sham_asks_the_same_position_twice_in_a_row():
    positions = with_sham((80.0, 60.0, 40.0, 30.0, 50.0))

    assert [a for a, b in itertools.pairwise(positions) if a == b] == [40.0]
    assert with_sham(out_and_back(80.0, 30.0, 11))[:6] == (80.0, 70.0, 60.0, 50.0, 40.0, 40.0)


def test_a_sham_comes_where_one_more_move_like_the_last_would_still_end_on_a_ridden_position():
    """There a rider who expects a rise, and takes the sham for such a move, shows it. Of these seeds 29 draw an order
    that has no such place, and are drawn again."""
    for seed in range(200):
        positions = ordered(spaced(80.0, 30.0, 5.0), "shuffled", np.random.default_rng(seed), sham=True)
        at = next(i for i, (a, b) in enumerate(itertools.pairwise(positions)) if a == b)
        assert 40.0 <= positions[at] <= 45.0
        assert positions[at - 1] - positions[at] >= 10.0
        assert sorted(set(positions)) == sorted(spaced(80.0, 30.0, 5.0))


@pytest.mark.parametrize("count", [5, 6, 7, 9])
def test_of_few_positions_the_sham_also_follows_a_move_forward_and_leaves_room_ahead(count):
    apart = spaced(80.0, 30.0, 50.0 / (count - 1))
    for seed in range(20):
        positions = ordered(apart, "shuffled", np.random.default_rng(seed), sham=True)
        at = next(i for i, (a, b) in enumerate(itertools.pairwise(positions)) if a == b)
        assert positions[at - 1] > positions[at] > 30.0


@pytest.mark.parametrize(
    ("positions_mm", "at"),
    [
        ((80.0, 60.0, 40.0, 70.0, 45.0, 30.0, 75.0, 65.0, 55.0, 50.0, 35.0), 2),
        (spaced(80.0, 30.0, 3.3), 11),
        ((80.0, 30.0, 40.0, 50.0, 60.0, 70.0), 1),
    ],
    ids=["a longer move tells no more", "nor does a rounding error", "behind most onsets it tells nothing"],
)
def test_a_sham_comes_at_the_first_of_the_positions_that_are_as_good(positions_mm, at):
    assert with_sham(positions_mm) == (*positions_mm[: at + 1], *positions_mm[at:])


def test_without_a_sham_a_seed_draws_the_order_it_always_drew():
    """Also one that is drawn again where there is a sham."""
    for seed in (4, 12):
        assert order("shuffled", seed=seed) == tuple(np.random.default_rng(seed).permutation(spaced(80.0, 30.0, 5.0)))


def test_the_first_position_comes_again_at_the_end():
    assert with_repeats((80.0, 60.0), middle=False) == (80.0, 60.0, 80.0)


@pytest.mark.parametrize(
    ("rear", "front", "apart", "named"),
    [(30, 80, 5, "rear_mm"), (80, 30, 0, "apart_mm"), (80, 30, 20, "3 positions"), (200, 30, 1, "171 positions")],
)
def test_a_range_that_makes_no_sense_is_refused_with_the_reason(rear, front, apart, named):
    with pytest.raises(BadPlan, match=named):
        spaced(rear, front, apart)


def test_repeats_bring_the_middle_and_then_the_first_place_again():
    assert with_repeats((80.0, 70.0, 60.0, 50.0, 65.0)) == (80.0, 70.0, 60.0, 50.0, 65.0, 80.0)
    assert with_repeats((80.0, 60.0, 40.0, 50.0, 70.0)) == (80.0, 60.0, 40.0, 50.0, 70.0, 60.0, 80.0)


def test_a_first_place_in_the_middle_comes_again_once():
    """Twice in a row would be a second sham, and what is ridden by hand calls it one."""
    assert with_repeats((60.0, 80.0, 40.0, 50.0, 70.0)) == (60.0, 80.0, 40.0, 50.0, 70.0, 60.0)
