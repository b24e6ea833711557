import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.measure.balance_report import BadState, balance_report, learned_report
from daq.rig import Unseen

STATE = {
    "mass_kg": 75, "gradient_pct": 5, "hand_load_n": 104.9, "saddle_load_n": 388.3, "bar_x_m": 0.57, "bar_y_m": 0.66,
    "saddle_x_m": -0.20, "saddle_y_m": 0.678, "power_w": 200, "cadence_rpm": 90, "g": 9.80665,
}  # fmt: skip
BICYCLE = {
    "wheelbase_m": 0.99, "chainstay_m": 0.41, "bb_drop_m": 0.07, "wheel_radius_m": 0.335, "mass_kg": 8.0,
    "com_x_m": 0.10, "com_y_m": 0.25,
}  # fmt: skip


def test_the_worked_example():
    """Worked by hand; 5 % is 2.8624052261 degrees by the gradient table, 200 W at 90 rpm are 21.2207 N m."""
    found = balance_report(STATE)

    assert found["tilt_deg"] == pytest.approx(2.8624052261, abs=1e-9)
    assert found["weight_normal_n"] == pytest.approx(734.581, abs=5e-4)
    assert found["foot_load_n"] == pytest.approx(241.381, abs=5e-4)
    assert found["shares"] == pytest.approx({"hands": 0.142803, "saddle": 0.528601, "feet": 0.328597}, abs=1e-6)
    assert found["crank_torque_nm"] == pytest.approx(21.2207, abs=5e-5)
    assert found["weight_line_x_mm"] == pytest.approx(4.565, abs=5e-4)
    assert found["single_axis"] is True
    assert found["front_share"] is None


@pytest.mark.parametrize(("gradient_pct", "way"), [(5, "34 mm too far forward"), (-5, "34 mm too far back")])
def test_which_way_the_bias_lies_is_said_without_a_sign(gradient_pct, way):
    """The saddle's height times the gradient, 0.678 m x 5 %."""
    assert way in " ".join(balance_report({**STATE, "gradient_pct": gradient_pct})["notes"])


def test_the_worked_example_with_tangential_forces():
    found = balance_report({**STATE, "hand_tangential_n": -12, "saddle_tangential_n": 41})

    assert found["weight_line_x_mm"] == pytest.approx(-22.495, abs=5e-4)
    assert found["single_axis"] is False


def test_a_bicycle_gives_its_front_share_and_a_height_the_flat_one():
    """By moments about the rear contact, written out in numbers: r = 0.403980 m, h = 0.265 m, tan t = 0.05."""
    tangential = {"hand_tangential_n": -12, "saddle_tangential_n": 41}
    found = balance_report({**STATE, **tangential, "bicycle": BICYCLE, "com_height_m": 0.83})
    x, r = -0.022494917, math.sqrt(0.41**2 - 0.07**2)

    rider = 75 * (x + r - 0.265 * 0.05)
    frame = 8 * (0.10 + r - (0.25 + 0.265) * 0.05)
    flat = 75 * (x + 0.83 * 0.05 + r) + 8 * (0.10 + r)

    assert found["front_share"] == pytest.approx((rider + frame) / (83 * 0.99), abs=1e-9)
    assert found["front_share_flat_estimate"] == pytest.approx(flat / (83 * 0.99), abs=1e-9)
    assert -0.008 < found["front_share_per_10mm_back"] < -0.006


def test_a_standing_crank_leaves_torque_and_weight_line_open():
    found = balance_report({**STATE, "cadence_rpm": 0, "bicycle": BICYCLE})

    assert found["crank_torque_nm"] is None
    assert found["weight_line_x_mm"] is None
    assert found["front_share"] is None
    assert any("torque is unknown" in note for note in found["notes"])


def test_more_than_the_weight_is_refused_and_no_number_given():
    with pytest.raises(BadState, match="together 805 N, more than the rider's weight along the jig, 735 N"):
        balance_report({**STATE, "saddle_load_n": 700})


def test_feet_that_carry_nearly_all_are_said_with_what_to_look_at():
    """The worked example in kilograms by mistake."""
    notes = balance_report({**STATE, "hand_load_n": 10.7, "saddle_load_n": 39.6})["notes"]

    assert any("the feet would carry 93 % of the weight; expected 10 to 60 %" in f"the {note}" for note in notes)
    assert any("look at the hands first" in note for note in notes)


def test_a_gradient_as_a_fraction_is_asked_about():
    assert any("write 5 for 5 %" in note for note in balance_report({**STATE, "gradient_pct": 0.05})["notes"])
    assert not any("write 5" in note for note in balance_report({**STATE, "gradient_pct": 0})["notes"])


def test_the_report_is_json():
    assert json.loads(json.dumps(balance_report({**STATE, "bicycle": BICYCLE}), allow_nan=False))


def test_what_is_assumed_of_the_hands_is_said_beside_the_line_and_can_be_told():
    assumed, told = balance_report(STATE), balance_report({**STATE, "hand_tangential_assumed_u_n": 60.0})
    measured = balance_report({**STATE, "hand_tangential_n": -12.0, "saddle_tangential_n": 41.0})

    assert "taken as 0 ± 20 N (standard uncertainty; an assumption, not a measurement)" in assumed["notes"][-1]
    assert "taken as 0 ± 60 N (standard uncertainty; as given with the state)" in told["notes"][-1]
    assert told["u_weight_line_mm"] > 2.0 * assumed["u_weight_line_mm"]
    assert not any("taken as" in note for note in measured["notes"])


def test_a_rig_with_tangential_cells_tells_what_others_may_assume():
    states = [{**STATE, "hand_tangential_n": t, "saddle_tangential_n": 40.0} for t in (-20, -10, 0, -15, -5, -10)]

    found = learned_report([*states, STATE])

    assert (found["hands_tangential_n"], found["source"]) == (-10.0, "from 6 states measured")
    assert Unseen.model_validate(found).hands_tangential_u_n == found["hands_tangential_u_n"] == 10.0
    with pytest.raises(BadState, match="hand_tangential_n: expected at least 5 measured states to learn from, got 1"):
        learned_report(states[:1])
    with pytest.raises(BadState, match="expected a list of states, got dict"):
        learned_report(STATE)


def test_optional_values_may_be_null():
    assert balance_report({**STATE, "hand_tangential_n": None, "g": None, "bicycle": None})["single_axis"] is True


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"mass_kg": "75"}, "mass_kg: expected a number, got '75'"),
        ({"mass_kg": True}, "mass_kg: expected a number, got True"),
        ({"mass_kg": -75}, "mass_kg: expected 20 to 250, got -75"),
        ({"mass_kg": None}, "mass_kg: expected a number, got None"),
        ({"power_w": math.nan}, "power_w: expected a number, got nan"),
        ({"power_w": math.inf}, "power_w: expected 0 to 2500, got a number beyond all bounds"),
        ({"mass_kg": 10**400}, "mass_kg: expected 20 to 250, got a number beyond all bounds"),
        ({"gradient_pct": 400}, "gradient_pct: expected -30 to 30, got 400"),
        ({"bar_x": 1}, "bar_x: no such key; known: mass_kg"),
        ({"hand_tangential_n": -12}, "expected both or neither"),
        ({"saddle_x_m": 0.20}, "saddle_x_m: expected -1 to 0.05, got 0.2; x is negative behind the BB"),
        ({"bicycle": 7}, "bicycle: expected an object with wheelbase_m"),
        ({"bicycle": {**BICYCLE, "mass_kg": "8"}}, "bicycle.mass_kg: expected a number, got '8'"),
        ({"bicycle": {**BICYCLE, "gears": 2}}, "bicycle.gears: no such key"),
        ({"bicycle": {**BICYCLE, "wheelbase_m": 9}}, "bicycle.wheelbase_m: expected 0.7 to 2.5, got 9"),
        ({"bicycle": {"wheelbase_m": 0.99}}, "bicycle.chainstay_m: missing"),
    ],
)
def test_a_wrong_value_says_what_was_expected(change, said):
    with pytest.raises(BadState) as error:
        balance_report({**STATE, **change})

    assert said in str(error.value)


@pytest.mark.parametrize("key", [key for key in STATE if key != "g"])
def test_every_missing_key_is_named(key):
    with pytest.raises(BadState, match=f"^{key}: missing$"):
        balance_report({name: value for name, value in STATE.items() if name != key})


def test_something_else_than_an_object_is_refused():
    with pytest.raises(BadState, match=r"state: expected an object with mass_kg.*got list"):
        balance_report([STATE])


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


@given(key=st.sampled_from([*STATE, "bicycle", "com_height_m", "nonsense"]), value=JSON)
def test_any_value_gives_a_report_or_a_sentence(key, value):
    try:
        said = json.dumps(balance_report({**STATE, key: value}), allow_nan=False)
    except BadState as error:
        said = str(error)

    assert said.startswith("{") or key in said
