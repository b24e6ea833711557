import numpy as np
import pytest

from daq.sweep.typed.blunders import TypedReadings, blunder

KILOGRAMS = ["9.4", "9.1", "9.8", "9.3", "9.6"]
NEWTONS = ["92.1", "89.3", "95.0", "91.8", "94.2"]
POUNDS = ["20.2", "21.0", "20.7"]
SADDLE = ["41.2", "40.8", "41.5"]


def said(typed, unit, before, step=(), step_before=(), **more):
    return blunder(typed, TypedReadings(unit, before, step, step_before, **more))


@pytest.mark.parametrize(
    ("typed", "unit", "before", "word"),
    [
        ("92.2", "kg", KILOGRAMS, "newtons typed for kilograms"),
        ("122.6", "kg", KILOGRAMS, "newtons typed for kilograms"),
        ("20.7", "kg", KILOGRAMS, "pounds typed for kilograms"),
        ("27.6", "kg", KILOGRAMS, "pounds typed for kilograms"),
        ("94.0", "kg", KILOGRAMS, "a decimal point left out"),
        ("9.4", "N", NEWTONS, "kilograms typed for newtons"),
        ("20.5", "N", NEWTONS, "pounds typed for newtons"),
        ("921.0", "N", NEWTONS, "a decimal point left out"),
        ("9.3", "lb", POUNDS, "kilograms typed for pounds"),
        ("91.5", "lb", POUNDS, "newtons typed for pounds"),
        ("207", "lb", POUNDS, "a decimal point left out"),
        ("9.2", "N", [*NEWTONS[:1], "91.2", "92.3"], "a digit dropped"),
        ("0.1", "N", NEWTONS, "a digit too many or too few"),
    ],
)
def test_a_slip_is_named_at_once(typed, unit, before, word):
    assert word in said(typed, unit, before)


def test_a_unit_the_rig_does_not_have_is_never_named():
    assert "pounds typed for kilograms" not in said("203.0", "N", NEWTONS)


@pytest.mark.parametrize("typed", ["7.1", "9.4", "12.9", "15.0"])
def test_hands_that_lighten_or_load_are_no_slip(typed):
    assert said(typed, "kg", KILOGRAMS) == ""


def test_a_saddle_that_lightens_as_it_comes_forward_is_no_slip():
    lightened = "31.0"

    assert said(lightened, "kg", SADDLE, loads_forward=False) == ""
    assert "a digit" in said("4.1", "kg", SADDLE, loads_forward=False)
    assert "pounds typed for kilograms" in said("90.1", "kg", SADDLE, loads_forward=False)


def test_the_first_readings_are_judged_by_what_riders_load():
    newtons, kilograms = {"newtons_per_unit": 1.0}, {"newtons_per_unit": 9.80665}

    assert "92.0 is 902 N at the hands" in said("92.0", "kg", [], **kilograms)
    assert "newtons typed for kilograms" in said("92.0", "kg", [], **kilograms)
    assert "kilograms typed for newtons" in said("9.2", "N", ["90.1"], **newtons)
    assert "kilograms typed for newtons" in said("41.2", "N", [], loads_forward=False, **newtons)
    assert "a digit too many or too few" in said("0.1", "kg", [], **kilograms)
    for shown, per in (("9.2", kilograms), ("38.0", kilograms), ("92.0", newtons), ("40.1", newtons)):
        assert said(shown, "N", [], **per) == ""


def test_the_first_readings_are_not_judged_where_nothing_is_known_of_the_scale():
    assert said("920.0", "kg", ["9.2", "9.3"]) == ""


def test_readings_copied_from_the_step_before_are_named():
    assert "9.4 and 9.1 are the readings of the step before" in said(
        "9.1", "kg", KILOGRAMS, ["9.4"], ["9.4", "9.1", "9.8"]
    )
    assert said("9.1", "kg", KILOGRAMS, ["9.5"], ["9.4", "9.1", "9.8"]) == ""
    assert said("9.4", "kg", KILOGRAMS, [], ["9.4", "9.1", "9.8"]) == ""


def test_a_coarse_display_shows_the_same_twice_by_chance():
    assert said("9.0", "kg", ["9.0", "9.5"] * 5, ["9.5"], ["9.5", "9.0", "9.5"]) == ""


@pytest.mark.parametrize("step", [0.1, 0.2, 0.5])
def test_readings_honestly_taken_are_seldom_called_copied(step):
    """Of 200 sweeps of a rider who sways by 3 N, on displays in kilograms."""
    rng = np.random.default_rng(4)
    called = 0
    for _ in range(200):
        rows = step * np.round((9.0 + 0.3 * rng.standard_normal((11, 5))) / step)
        shown = [[f"{one:.1f}" for one in row] for row in rows]
        for at in range(1, 11):
            before = [one for row in shown[:at] for one in row]
            for i in range(5):
                told = TypedReadings("kg", before + shown[at][:i], shown[at][:i], shown[at - 1])
                called += "copied" in blunder(shown[at][i], told)

    assert called <= 20


def test_where_a_display_showed_nothing_or_less_no_slip_can_be_told_by_ratios():
    assert said("9.4", "kg", ["0.0", "0.1", "0.2", "0.1"]) == ""
    assert said("9.4", "kg", ["-0.2", "0.3", "0.2", "0.4"]) == ""
