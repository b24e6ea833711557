import csv
from pathlib import Path

import numpy as np
import pytest

from daq.rider.body import TURN_DEG, Body, CannotReach, leg, pedal_at, third_corner, upper_body
from daq.rider.jig_geometry import JigGeometry

WINTER = Path(__file__).parent.parent / "published" / "body" / "dempster_winter.csv"
GEOMETRY = JigGeometry()


def whole(body, crank_deg, setback_mm=55.0):
    hip, grip = GEOMETRY.hip_m(setback_mm), GEOMETRY.grip_m(setback_mm)
    legs = [leg(body, hip, pedal_at(np.array(a), GEOMETRY.crank_m)) for a in (crank_deg, crank_deg + 180.0)]
    return [upper_body(body, hip, grip), *legs]


@pytest.mark.parametrize("sex", ["female", "male"])
def test_the_placed_segments_weigh_what_the_body_weighs(sex):
    body = Body(mass_kg=68.0, sex=sex)

    assert sum(part.mass_kg for part in whole(body, 40.0)) == pytest.approx(68.0, abs=1e-9)
    assert body.upper_mass_kg + body.leg_mass_kg == pytest.approx(68.0, abs=1e-9)


def test_links_keep_their_lengths():
    start, end = np.array([-0.2, 0.8]), np.array([[0.1, 0.0], [-0.1, 0.2]])

    corner = third_corner(start, end, 0.43, 0.44, side=1.0, limb="leg")

    assert np.linalg.norm(corner - start, axis=1) == pytest.approx([0.43, 0.43], abs=1e-12)
    assert np.linalg.norm(end - corner, axis=1) == pytest.approx([0.44, 0.44], abs=1e-12)
    assert (corner[:, 0] > 0.5 * (start[0] + end[:, 0])).all()  # knees bend forward


def test_a_limb_that_cannot_span_says_what_to_change():
    with pytest.raises(CannotReach, match=r"leg: links of 0.430 and 0.440 m cannot span 1.0.*stature"):
        third_corner(np.array([0.0, 0.0]), np.array([1.0, 0.0]), 0.43, 0.44, side=1.0, limb="leg")
    with pytest.raises(CannotReach, match=r"cannot span 0\.1"):
        third_corner(np.array([0.0, 0.0]), np.array([0.1, 0.0]), 0.43, 0.25, side=1.0, limb="arm")


def test_the_centre_of_mass_agrees_with_another_table_of_segments():
    """Winter's (Dempster's) fractions on the same joints; the two tables of segments differ by less than 2.5 cm."""
    body, mean = Body(), []
    for crank_deg in TURN_DEG:
        parts = whole(body, crank_deg)
        mean.append(sum(p.mass_kg * p.com_m for p in parts) / body.mass_kg)
    with WINTER.open() as file:
        winter = {row["segment"]: row for row in csv.DictReader(file)}
    hip, grip = GEOMETRY.hip_m(55.0), GEOMETRY.grip_m(55.0)
    arm_m = body.length_m("upper_arm") + body.length_m("forearm") + body.length_m("hand")
    shoulder = third_corner(hip, grip, body.length_m("trunk"), body.arm_extension * arm_m, side=1.0, limb="arm")
    fraction = {n: float(winter[n]["mass_frac"]) for n in ("Trunk head neck", "Total arm", "Thigh", "Foot leg")}
    trunk = hip + (1.0 - float(winter["Trunk head neck"]["com_dist"])) * (shoulder - hip)
    arms = shoulder + float(winter["Total arm"]["com_prox"]) * (grip - shoulder)
    knees = hip + np.mean(
        [
            (leg(body, hip, pedal_at(np.array(a), GEOMETRY.crank_m)).centres_m[0] - hip)
            / body.segment("thigh").com_fraction
            for a in TURN_DEG
        ],
        axis=0,
    )
    ankles = np.mean(pedal_at(TURN_DEG, GEOMETRY.crank_m), axis=0) + np.array([-0.1, 0.12])
    thighs = hip + float(winter["Thigh"]["com_prox"]) * (knees - hip)
    shanks = knees + float(winter["Foot leg"]["com_prox"]) * (ankles - knees)
    other = (
        fraction["Trunk head neck"] * trunk
        + 2.0 * fraction["Total arm"] * arms
        + 2.0 * fraction["Thigh"] * thighs
        + 2.0 * fraction["Foot leg"] * shanks
    )

    assert np.mean(mean, axis=0) == pytest.approx(other, abs=0.025)


def knee_angle_deg(body, hip_m, pedal_m):
    """Knee flexion, degrees, 0 for the straight leg."""
    thigh, shank, _ = leg(body, hip_m, pedal_m).centres_m
    knee = hip_m + (thigh - hip_m) / body.segment("thigh").com_fraction
    to_ankle = (shank - knee) / body.segment("shank").com_fraction
    to_hip = hip_m - knee
    cosine = np.sum(to_ankle * to_hip, axis=-1) / (body.length_m("thigh") * body.length_m("shank"))
    return 180.0 - np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))


def test_the_knee_at_the_bottom_is_bent_as_saddle_heights_are_set():
    """25-35 degrees of knee flexion with the foot at the bottom: Peveler et al. 2005, JEPonline 8(1):51-55."""
    hip = GEOMETRY.hip_m(55.0)

    flexion = knee_angle_deg(Body(), hip, pedal_at(TURN_DEG, GEOMETRY.crank_m))

    assert 20.0 < flexion.min() < 35.0
    assert 100.0 < flexion.max() < 120.0


def test_moving_back_keeps_hip_to_bottom_bracket_and_reach():
    for setback_mm in (20.0, 55.0, 90.0):
        hip, grip = GEOMETRY.hip_m(setback_mm), GEOMETRY.grip_m(setback_mm)

        assert np.hypot(*hip) == pytest.approx(np.hypot(*GEOMETRY.hip_m(55.0)), abs=1e-12)
        assert grip - hip == pytest.approx(GEOMETRY.grip_m(55.0) - GEOMETRY.hip_m(55.0), abs=1e-12)
        assert hip[0] == pytest.approx(-(setback_mm + GEOMETRY.sit_behind_mm) / 1000.0)


def test_an_impossible_body_is_refused():
    with pytest.raises(ValueError, match=r"mass_kg: expected 30 to 200, got 7"):
        Body(mass_kg=7.0)


def test_the_arm_is_one_chain_from_shoulder_to_grip_and_the_head_sits_on_it():
    body, hip, grip = Body(), GEOMETRY.hip_m(55.0), GEOMETRY.grip_m(55.0)
    head, trunk, upper_arm, forearm, hand = upper_body(body, hip, grip).centres_m
    shoulder = hip + (trunk - hip) / (1.0 - body.segment("trunk").com_fraction)
    elbow = shoulder + (upper_arm - shoulder) / body.segment("upper_arm").com_fraction
    wrist = elbow + (forearm - elbow) / body.segment("forearm").com_fraction

    assert np.linalg.norm(elbow - shoulder) == pytest.approx(body.length_m("upper_arm"), abs=1e-9)
    assert np.linalg.norm(wrist - elbow) == pytest.approx(body.length_m("forearm"), abs=1e-9)
    assert np.linalg.norm(grip - wrist) == pytest.approx(body.length_m("hand"), abs=1e-9)
    assert hand == pytest.approx(wrist + body.segment("hand").com_fraction * (grip - wrist), abs=1e-9)
    # de Leva 1996: seventh cervical 603.3 - 515.5 mm beyond the shoulders, half of 242.9 mm of head beyond it
    assert 0.15 < np.linalg.norm(head - shoulder) < (0.0878 + 0.1215) * 1.78 / 1.741
