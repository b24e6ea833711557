import pytest

from daq.sweep.typed.blunders import blunder

KILOGRAMS = ["9.4", "9.1", "9.8", "9.3", "9.6"]
NEWTONS = ["92.1", "89.3", "95.0", "91.8", "94.2"]


@pytest.mark.parametrize(
    ("typed", "before", "word"),
    [
        ("92.2", KILOGRAMS, "newtons typed for kilograms"),
        ("122.6", KILOGRAMS, "newtons typed for kilograms"),
        ("20.7", KILOGRAMS, "pounds typed for kilograms"),
        ("27.6", KILOGRAMS, "pounds typed for kilograms"),
        ("94.0", KILOGRAMS, "a decimal point left out"),
        ("9.4", NEWTONS, "kilograms typed for newtons"),
        ("4.1", ["20.2", "21.0", "20.7"], "pounds typed for newtons"),
        ("9.2", [*NEWTONS[:1], "91.2", "92.3"], "a digit dropped"),
        ("0.1", NEWTONS, "a digit too many or too few"),
    ],
)
def test_a_slip_is_named_at_once(typed, before, word):
    assert word in blunder(typed, before, [], [])


@pytest.mark.parametrize("typed", ["7.1", "9.4", "12.9", "15.0"])
def test_hands_that_lighten_or_load_are_no_slip(typed):
    assert blunder(typed, KILOGRAMS, [], []) == ""


def test_the_first_readings_are_judged_by_nothing():
    assert blunder("920.0", ["9.2", "9.3"], [], []) == ""


def test_readings_copied_from_the_step_before_are_named():
    assert "copied" in blunder("9.1", KILOGRAMS, ["9.4"], ["9.4", "9.1", "9.8"])
    assert blunder("9.1", KILOGRAMS, ["9.5"], ["9.4", "9.1", "9.8"]) == ""
    assert blunder("9.4", KILOGRAMS, [], ["9.4", "9.1", "9.8"]) == ""


def test_a_coarse_display_shows_the_same_twice_by_chance():
    assert blunder("9.0", ["9.0", "9.5"] * 5, ["9.5"], ["9.5", "9.0", "9.5"]) == ""
