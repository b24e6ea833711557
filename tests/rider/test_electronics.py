import numpy as np
import pytest

from daq.rider.electronics import HIGHEST, LOWEST, Electronics

QUIET = Electronics(noise_counts=(0.0,) * 5)


def read(cells_n, tilt_deg=0.0, electronics=QUIET):
    cells_n = np.atleast_2d(cells_n)
    return electronics.read(cells_n, np.full(len(cells_n), tilt_deg), np.zeros((len(cells_n), 5)))


def test_an_empty_level_jig_shows_its_zero():
    counts, saturated = read([0.0] * 4)

    assert counts[0] == pytest.approx(QUIET.zero_counts)
    assert not saturated.any()


def test_counts_and_sensitivities_give_the_forces_back():
    forces = np.array([[50.0, 60.0, 250.0, 130.0]])

    counts, _ = read(forces, tilt_deg=0.0)
    back = (counts[:, :4] - np.array(QUIET.zero_counts[:4])) * np.array(QUIET.newtons_per_count)

    # half a count at 4259 counts per newton
    assert back == pytest.approx(forces, abs=0.5 / 4259.0)


def test_a_converter_ends_at_24_bits_and_says_so():
    counts, saturated = read([[2000.0, 0.0, 0.0, 0.0], [-2000.0, 0.0, 0.0, 0.0]])

    assert list(counts[:, 0]) == [HIGHEST, LOWEST] == [8_388_607, -8_388_608]
    assert saturated.all()


def test_at_half_the_gain_counts_are_half_and_the_converter_ends_at_twice_the_load():
    half = Electronics(noise_counts=(0.0,) * 5, gains=(64, 128, 128, 128))
    counts, saturated = read([[1000.0, 0.0, 0.0, 0.0]], electronics=half)

    whole = QUIET.zero_counts[0] + 1000.0 / QUIET.newtons_per_count[0]
    assert whole > HIGHEST
    assert counts[0, 0] == pytest.approx(whole / 2, abs=1)
    assert not saturated.any()


def test_at_five_per_cent_the_empty_jig_is_off_by_a_newton_on_a_saddle_cell_and_little_in_sum():
    """Fixture weight F = a + b cos t + c sin t: on one cell about 1 N, in the sum of the normal cells 0.1 N."""
    tare = QUIET.tare_n(np.array([2.8624052261]))

    assert abs(tare[0, 2]) == pytest.approx(0.9, abs=0.2)
    assert abs(tare.sum()) < 0.1
    counts, _ = read([0.0] * 4, tilt_deg=2.8624052261)
    shown_n = (counts[0, :4] - np.array(QUIET.zero_counts[:4])) * np.array(QUIET.newtons_per_count)
    assert shown_n == pytest.approx(tare[0], abs=1.0 / 4259.0)


def test_noise_has_the_size_it_is_given():
    electronics = Electronics()
    counts, _ = electronics.read(
        np.zeros((4000, 4)), np.zeros(4000), np.random.default_rng(5).standard_normal((4000, 5))
    )

    # 4000 values tell a standard deviation within 1.1 %; four times that
    assert counts.std(axis=0) == pytest.approx(electronics.noise_counts, rel=0.045)


def test_a_missing_channel_is_refused():
    with pytest.raises(ValueError, match=r"zero_counts: expected 5 numbers, got 2"):
        Electronics(zero_counts=(0.0, 0.0))
