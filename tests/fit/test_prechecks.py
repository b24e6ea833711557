import dataclasses

import pytest

from daq.fit.intake import Saddle, both_references_mm, clinician_advice
from daq.fit.prechecks import CheckState, JigReadings, Measured, open_in_the_way, prechecks
from daq.measure.sum_check import SumCheck
from daq.values import NAN
from tests.fit.intakes import INTAKE

DONE = Measured(height_mm=733.0, saddle_tilt_deg=-0.5, cleats_set=True, hands_marked=True)
WELL = JigReadings(
    troubles={"board": "", "power": ""},
    calibration="checked today",
    calibration_holds=True,
    zero_age_s=600.0,
    weights=SumCheck(True, (), "feet carry 33 %, as a remainder; the sum is plausible"),
    tilt_deg=0.0,
    gradient_pct=0.0,
    power_w=201.0,
    cadence_rpm=90.0,
    power_band_w=(195.0, 205.0),
)


def checks_by_key(measured=DONE, now=WELL, reasons=None):
    return {check.key: check for check in prechecks(INTAKE, measured, now, reasons or {})}


def test_what_disturbs_is_looked_after_before_setback_is_blamed():
    order = list(checks_by_key())

    # Feet, then height, then saddle tilt, then setback: common practice, no source.
    assert order == ["cells", "calibration", "zero", "weights", "level", "cleats", "height", "tilt", "hands", "effort"]


def test_with_everything_seen_to_nothing_stands_in_the_way():
    assert {check.state for check in checks_by_key().values()} == {CheckState.DONE}
    assert open_in_the_way(tuple(checks_by_key().values())) == ""


@pytest.mark.parametrize(
    ("key", "change"),
    [
        ("cells", {"troubles": {"hands_left": "reads nothing"}}),
        ("calibration", {"calibration_holds": False}),
        ("zero", {"zero_age_s": None}),
        ("zero", {"zero_age_s": 3601.0}),
        ("weights", {"weights": None}),
        ("weights", {"weights": SumCheck(False, (), "the feet would carry 70 % of the weight")}),
        ("level", {"tilt_deg": 0.5}),
        ("level", {"tilt_deg": NAN}),
        ("level", {"gradient_pct": 4.0}),
        ("effort", {"power_w": NAN}),
        ("effort", {"cadence_rpm": NAN}),
        ("effort", {"power_band_w": None}),
    ],
)
def test_each_reading_that_is_not_right_keeps_its_check_open(key, change):
    checks = checks_by_key(now=dataclasses.replace(WELL, **change))

    assert [one.key for one in checks.values() if one.state is CheckState.OPEN] == [key]
    assert checks[key].todo
    assert checks[key].title.lower() in open_in_the_way(tuple(checks.values()))


@pytest.mark.parametrize(
    ("key", "change"),
    [
        ("cleats", {"cleats_set": False}),
        ("height", {"height_mm": None}),
        ("tilt", {"saddle_tilt_deg": None}),
        ("hands", {"hands_marked": False}),
    ],
)
def test_each_thing_not_measured_keeps_its_check_open(key, change):
    checks = checks_by_key(measured=DONE.model_copy(update=change))

    assert [one.key for one in checks.values() if one.state is CheckState.OPEN] == [key]


def test_a_gradient_of_four_per_cent_is_level_when_the_jig_stands_at_2_3_degrees():
    # atan(0.04) = 2.29 deg
    checks = checks_by_key(now=dataclasses.replace(WELL, gradient_pct=4.0, tilt_deg=2.3))

    assert checks["level"].state is CheckState.DONE


def test_a_reason_lifts_an_open_check_and_stays_with_it():
    checks = checks_by_key(now=dataclasses.replace(WELL, zero_age_s=None), reasons={"zero": "rider cannot step off"})

    assert checks["zero"].state is CheckState.OVERRIDDEN
    assert checks["zero"].reason == "rider cannot step off"
    assert open_in_the_way(tuple(checks.values())) == ""


def test_a_reason_given_for_a_check_that_is_done_by_now_is_not_shown():
    assert checks_by_key(reasons={"zero": "rider cannot step off"})["zero"].state is CheckState.DONE


def test_heights_stand_beside_their_references_and_are_no_reason_to_stop():
    height = checks_by_key(measured=DONE.model_copy(update={"height_mm": 800.0, "knee_deg": 12.0}))["height"]

    assert height.state is CheckState.DONE
    assert "0.883 × inseam 733 mm (+67 mm)" in height.said
    assert "outside 25–35°. References, not orders: Hamley" in height.said


@pytest.mark.parametrize(
    ("tilt_deg", "said"), [(0.04, "+0.0°, nose level"), (-0.04, "+0.0°, nose level"), (0.06, "+0.1°, nose up")]
)
def test_a_tilt_that_reads_nought_is_level(tilt_deg, said):
    assert checks_by_key(measured=DONE.model_copy(update={"saddle_tilt_deg": tilt_deg}))["tilt"].said == said


def test_both_references_are_given_when_the_saddle_was_measured():
    assert both_references_mm(Saddle(reference="nose", nose_to_width_mm=75.0), 60.0) == (60.0, 135.0)
    assert both_references_mm(Saddle(reference="80 mm width", nose_to_width_mm=75.0), 135.0) == (60.0, 135.0)
    assert both_references_mm(Saddle(reference="nose"), 60.0) == (60.0, None)


def test_without_a_red_flag_no_clinician_is_named():
    assert clinician_advice(INTAKE) == ""
    assert "clinician" in clinician_advice(INTAKE.model_copy(update={"red_flags": ("chest",)}))


def test_a_jig_off_level_is_told_what_that_does_to_the_setback():
    """700 mm times the sine of 0.5 degrees is 6.1 mm; 700 mm over the BB are 730 mm along a tube of 73.5 degrees."""
    off = dataclasses.replace(WELL, tilt_deg=-0.5)

    for height_mm in (730.0, None):
        level = checks_by_key(measured=DONE.model_copy(update={"height_mm": height_mm}), now=off)["level"]
        assert "this error is 6.1 mm of setback against gravity at 700 mm height" in level.todo
    assert "5.0 mm" in checks_by_key(measured=DONE.model_copy(update={"height_mm": 600.0}), now=off)["level"].todo


@pytest.mark.parametrize(
    ("also", "said"), [(set(), "no cell under the saddle"), ({"saddle, read"}, "by the readings of both scales")]
)
def test_the_sum_of_loads_that_are_read_off_scales_waits_for_nothing(also, said):
    weights = checks_by_key(now=dataclasses.replace(WELL, weights=None, measures=frozenset({"effort", *also})))[
        "weights"
    ]

    assert weights.state is CheckState.NOT_MEASURED
    assert said in weights.said
