import math

import pytest

from daq.measure.calibration.weights import buoyancy_relative, certified, of_class, pull_n


def test_a_weight_pulls_a_little_less_in_air():
    # 10 kg at standard gravity, air 1.2 and weights 8000 kg/m^3 (conventional values, OIML D 28)
    assert pull_n(10.0, 9.80665) == pytest.approx(98.0665 * 0.99985, rel=1e-12)
    assert pull_n(10.0, 9.80665, air_kg_m3=0.0) == pytest.approx(98.0665, rel=1e-15)


def test_a_class_is_a_tolerance_any_value_in_it_as_likely():
    # M1: 500 mg on 10 kg, M2: 1.6 g on 10 kg (OIML R111-1:2004, from memory)
    assert of_class("M1").relative == pytest.approx(500e-6 / 10 / math.sqrt(3))
    assert of_class("M2").relative == pytest.approx(1.6e-3 / 10 / math.sqrt(3))


def test_a_certificate_states_an_expanded_uncertainty():
    assert certified(0.0005, 10.0, certificate="K 1234").relative == pytest.approx(2.5e-5)
    assert certified(0.0005, 10.0, certificate="K 1234").note == "K 1234"


def test_air_varies_by_a_hundred_thousandth_of_the_pull():
    assert buoyancy_relative() == pytest.approx(0.1 / 8000 / math.sqrt(3))


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda: of_class("M9"), "expected one of E2, F1, F2, M1, M2, M3, got 'M9'"),
        (lambda: certified(2.0, 10.0, certificate="gym plate"), "gym plates may be several per cent off"),
        (lambda: certified(0.1, 0.0, certificate="x"), "expected a mass and a coverage factor above 0"),
    ],
)
def test_weights_nobody_can_calibrate_with_are_refused(make, sentence):
    with pytest.raises(ValueError, match=sentence):
        make()
