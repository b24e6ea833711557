import numpy as np
import pytest

from daq.fit.expectation import duration_s, step_sd_n, widths
from daq.sweep.hinge import least_squares


def test_the_width_to_expect_is_that_of_the_limit_for_a_bend_in_the_middle():
    """Cramer-Rao by its definition: invert the information of a hinge with level, slope, added slope and bend."""
    n, sigma, added = 11, 2.0, 1.5
    x = np.linspace(-25.0, 25.0, n)
    ahead = (x > 0.0).astype(float)
    jacobian = np.column_stack([np.ones(n), x, np.maximum(x, 0.0), -added * ahead])
    sd_mm = sigma * np.sqrt(np.linalg.inv(jacobian.T @ jacobian)[3, 3])

    (width,) = widths(n, sigma, (added,))

    assert 3.9 * sd_mm < width.width_mm < 2.0 * 3.9 * sd_mm


def test_estimates_of_simulated_sweeps_scatter_less_than_the_width_promises():
    rng = np.random.default_rng(5)
    x = np.linspace(80.0, 30.0, 11)
    truth = 55.0
    found = [
        least_squares(x, 70.0 + 1.5 * np.maximum(truth - x, 0.0) + rng.normal(0.0, 2.0, 11)).breakpoint
        for _ in range(400)
    ]

    (width,) = widths(11, 2.0, (1.5,))

    inside = np.mean(np.abs(np.array(found) - truth) < width.width_mm / 2)
    assert 0.80 < inside <= 1.0


def test_a_mean_over_a_longer_dwell_scatters_less():
    """Variance of the mean of an Ornstein-Uhlenbeck process over T much longer than tau: 2 tau s^2 / T."""
    rng = np.random.default_rng(2)
    dt_s, tau_s, n = 0.05, 4.0, 2000
    decay = np.exp(-dt_s / tau_s)
    noise = rng.normal(0.0, 5.0 * np.sqrt(1 - decay**2), (400, n))
    load = np.empty((400, n))
    load[:, 0] = rng.normal(0.0, 5.0, 400)
    for i in range(1, n):
        load[:, i] = decay * load[:, i - 1] + noise[:, i]

    assert load.mean(axis=1).std() == pytest.approx(step_sd_n(n * dt_s), rel=0.12)


def test_a_plan_takes_its_steps_times_moving_settling_and_recording():
    assert duration_s(12, 6.0, 25.0) == 12 * (20.0 + 6.0 + 25.0)
