import numpy as np
import pytest

from daq.measure.calibration.crosstalk import CrossTalkError, crosstalk

NAMES = ["hands_left", "hands_right", "saddle_nose", "saddle_rear"]
MATRIX = np.array(
    [[1.0, 0.012, -0.003, 0.0], [0.008, 0.998, 0.001, 0.0], [0.0, 0.002, 1.001, 0.015], [-0.004, 0.0, 0.02, 1.0]]
)


def placements(repeats=3, loads=(100.0, 300.0)):
    return np.array([load * np.eye(4)[j] for _ in range(repeats) for load in loads for j in range(4)])


def test_noise_free_placements_give_the_matrix_and_its_inverse():
    true = placements()

    found = crosstalk(NAMES, true, true @ MATRIX.T)

    assert found.matrix == pytest.approx(MATRIX, abs=1e-12)
    assert found.correction @ (MATRIX / np.diag(MATRIX)[:, None]) == pytest.approx(np.eye(4), abs=1e-12)
    assert found.own == pytest.approx((1.0, 0.998, 1.001, 1.0))
    assert found.worst == ("saddle_nose", "saddle_rear", pytest.approx(0.02))


def test_a_load_on_the_bar_no_longer_shows_at_the_saddle():
    true = placements()
    rows = np.array(crosstalk(NAMES, true, true @ MATRIX.T).rows)

    corrected = rows @ (MATRIX @ np.array([200.0, 150.0, 0.0, 0.0]))

    # the right bar cell keeps its own sensitivity, of which the placements say 0.998
    assert corrected == pytest.approx([200.0, 0.998 * 150.0, 0.0, 0.0], abs=0.01)


def test_its_uncertainty_is_the_scatter_of_repeated_determinations():
    true = placements()
    rng = np.random.default_rng(1)
    found = [crosstalk(NAMES, true, true @ MATRIX.T + rng.normal(0.0, 0.2, true.shape)) for _ in range(2000)]

    stated = np.sqrt(np.mean([one.standard_uncertainty**2 for one in found], axis=0))

    # 2000 scatters are known to 1.6 % each; four of these
    assert np.std([one.matrix for one in found], axis=0) == pytest.approx(stated, rel=0.065)
    assert found[0].dof == 20


def test_what_the_correction_leaves_grows_with_the_loads_elsewhere():
    true = placements()
    shown = true @ MATRIX.T + np.random.default_rng(2).normal(0.0, 0.2, true.shape)
    found = crosstalk(NAMES, true, shown)

    left = found.left_over_n([0.0, 0.0, 300.0, 0.0])

    assert left[2] == 0.0
    assert left[0] == pytest.approx(300.0 * found.standard_uncertainty[0, 2])


def test_without_repeats_the_scatter_of_the_readings_is_that_of_the_correction():
    true = placements(1, [200.0])
    rng = np.random.default_rng(3)
    found = [
        crosstalk(NAMES, true, true @ MATRIX.T + rng.normal(0.0, 0.2, true.shape), scatter_n=[0.2] * 4)
        for _ in range(2000)
    ]

    assert found[0].dof == 0
    # 0.2 N in 200 N; 2000 scatters are known to 1.6 % each; four of these
    assert np.std([one.matrix for one in found], axis=0) == pytest.approx(np.full((4, 4), 1e-3), rel=0.065)
    assert found[0].standard_uncertainty == pytest.approx(np.full((4, 4), 1e-3))


def test_placements_between_two_cells_count_by_their_true_shares():
    true = np.vstack([placements(1), [[100.0, 100.0, 0.0, 0.0], [0.0, 0.0, 120.0, 80.0]]])

    assert crosstalk(NAMES, true, true @ MATRIX.T).matrix == pytest.approx(MATRIX, abs=1e-12)


@pytest.mark.parametrize(
    ("true", "shown", "sentence"),
    [
        (placements()[:, :3], placements()[:, :3], "expected true and shown loads of 4 cells"),
        (placements(), placements()[:5], "expected true and shown loads"),
        (placements(), placements() * np.nan, "expected finite loads"),
        (placements() * [1, 1, 1, 0], placements(), "no weight was put on saddle_rear"),
        (placements(1, [100.0])[:3] + 1.0, placements(1, [100.0])[:3], "3 placements for 4 cells"),
        (np.tile([[100.0, 100.0, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]], (3, 1)), np.ones((9, 4)), "loaded together"),
        (placements(), placements()[:, [1, 0, 2, 3]], "a load on hands_left shows most on hands_right.*mixed up"),
        (placements(), placements() * [-1, 1, 1, 1], "a load on hands_left shows as a pull"),
    ],
)
def test_placements_that_do_not_tell_say_what_is_missing(true, shown, sentence):
    with pytest.raises(CrossTalkError, match=sentence):
        crosstalk(NAMES, true, shown)
