"""Thousands of simulated proofs: each fault is named, a sound jig is not, and what is stated of the bias holds."""

import numpy as np
import pytest

from daq.measure.calibration.coverage import half_width
from daq.proof.findings import CONFIDENCE, PARTS, ProofFinding, measured, named
from daq.proof.hung import hung
from daq.proof.trueness import trueness
from tests.proof.simulated import BAR_N, NAMED_BY, U, proofs

NUMBER = 2000


@pytest.fixture(scope="module")
def sound():
    return proofs(NUMBER)


@pytest.mark.study
def test_a_sound_jig_is_blamed_in_at_most_5_of_100_proofs(sound):
    blamed = named(measured(sound[0], U))

    assert np.any(list(blamed.values()), axis=0).mean() <= 0.05


@pytest.mark.study
@pytest.mark.parametrize("fault", sorted(NAMED_BY))
def test_each_fault_is_found_and_its_part_named_in_95_of_100_proofs(fault):
    figures, _ = proofs(NUMBER, fault)
    one = measured(figures, U)

    found = named({part: one[part] for part in (NAMED_BY[fault],)})

    assert found[NAMED_BY[fault]].mean() >= 0.95


@pytest.mark.study
def test_the_true_bias_lies_within_what_is_stated_in_93_to_97_of_100_proofs(sound):
    figures, bias_mm = sound
    found = trueness(figures.error_mm)

    half_mm = np.array(
        [half_width([(float(u), found.dof, "normal"), (U.datum_mm, None, "rectangular")]) for u in found.u_mm]
    )
    held = np.mean(np.abs(found.bias_mm - bias_mm) <= half_mm)

    assert 0.93 <= held <= 0.97


def test_a_fault_of_the_scale_does_not_blame_a_cell():
    figures, _ = proofs(200, "offset")

    blamed = {part for part, flags in named(measured(figures, U)).items() if flags.mean() > 0.05}

    assert blamed == {"scale offset", "bias"}


def test_all_figures_together_err_in_five_of_a_hundred():
    # Bonferroni's inequality: eleven figures at 1 - 0.05/11 each
    assert len(PARTS) * (1.0 - CONFIDENCE) == pytest.approx(0.05)


def test_weights_tell_gain_crosstalk_and_stop_apart():
    beyond = np.maximum(BAR_N - 80.0, 0.0)

    found = hung(BAR_N, 1.02 * (BAR_N - 0.5 * beyond), 0.03 * BAR_N)

    # a stop at 80 N that takes half: at 80, 100, 120 N, 20, 40, 60 beyond the light ones, it takes 0, 10, 20;
    # by least squares through 60 N (40 x 10 + 60 x 20) / (20^2 + 40^2 + 60^2)
    assert found.gain_error == pytest.approx(0.02)
    assert found.crosstalk == pytest.approx(0.03)
    assert found.lost == pytest.approx(1600.0 / 5600.0)


def test_too_few_weights_are_refused():
    with pytest.raises(ValueError, match="two above it"):
        hung([0.0, 10.0, 20.0, 100.0], np.zeros(4), np.zeros(4))


def test_a_figure_that_rounds_to_nothing_has_no_minus():
    assert ProofFinding("hands gain", -0.00002, 0.0015, named=False).shown == "+0.00 ± 0.15 %"
