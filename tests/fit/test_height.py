import pytest

from daq.fit.height import height_said, knee_said, references


def test_the_inseam_rules_give_the_heights_of_the_paper():
    # Hamley & Thomas 1967 as quoted in Peveler et al. 2005: 0.883 x inseam from the BB, 1.09 x inseam to the pedal.
    bb, pedal = references(800.0, 170.0, 700.0)

    assert bb.height_mm == pytest.approx(706.4)
    assert pedal.height_mm == pytest.approx(872.0 - 170.0)
    assert bb.off_mm == pytest.approx(-6.4)


def test_the_two_rules_nearly_agree_at_a_usual_inseam_and_crank():
    # Peveler et al. 2005: no significant difference between the two rules (p = 0.917).
    bb, pedal = references(830.0, 172.5, None)

    assert abs(bb.height_mm - pedal.height_mm) < 5.0


def test_without_an_inseam_nothing_is_named():
    assert references(None, 170.0, 700.0) == ()
    assert height_said(None, None, None, None) == "not measured"


@pytest.mark.parametrize(("deg", "where"), [(24.9, "outside"), (25.0, "inside"), (35.0, "inside"), (36.0, "outside")])
def test_a_knee_is_said_to_lie_inside_or_outside_25_to_35_degrees(deg, where):
    # Static knee flexion recommended in Peveler et al. 2005.
    assert f", {where} 25–35°" in knee_said(deg)
