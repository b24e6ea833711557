import pytest

from daq.measure.calibration import CalibratedChannel, Calibration
from daq.measure.calibration.doubts import Doubt, doubts_of_loads, doubts_of_zero
from tests.measure.calibration.jig import cell, jig

LEVEL = [41_211, -18_302, 90_331, 12_007, -137, 0]


def loads(**newtons):
    """Counts of the test jig without cross-talk, these loads on it."""
    per_n = {"hands_left": 8512.4, "hands_right": 8597.1, "saddle_nose": 4291.8, "saddle_rear": 4259.3}
    return [zero + per_n.get(name, 0.0) * newtons.get(name, 0.0) for name, zero in zip(jig().names, LEVEL, strict=True)]


def kinds(counts, calibration=None):
    return [(doubt.kind, doubt.channel) for doubt in doubts_of_loads(calibration or jig(crosstalk=None), counts)]


SPARE = (Doubt.NOT_CALIBRATED, "spare")


def test_a_rider_on_a_calibrated_jig_raises_no_doubt_but_about_the_spare_channel():
    assert kinds(loads(hands_left=80.0, hands_right=75.0, saddle_nose=200.0, saddle_rear=250.0)) == [SPARE]


def test_a_pull_beyond_what_noise_explains_is_below_zero():
    assert kinds(loads(hands_left=-1.5)) == [SPARE]
    assert (Doubt.BELOW_ZERO, "hands_left") in kinds(loads(hands_left=-2.5))


def test_a_load_beyond_the_span_is_told():
    assert kinds(loads(saddle_rear=520.0)) == [SPARE]
    (doubt,) = (d for d in doubts_of_loads(jig(crosstalk=None), loads(saddle_rear=700.0)) if d.channel != "spare")
    assert doubt.kind is Doubt.ABOVE_SPAN
    assert doubt.sentence == "saddle_rear: 700 N is beyond the 500 N it was calibrated to"


@pytest.mark.parametrize("end", [8_388_607, -8_388_608, 2_147_483_647, -2_147_483_648])
def test_a_converter_at_its_end_is_saturated(end):
    counts = loads()
    counts[1] = end

    assert (Doubt.SATURATED, "hands_right") in kinds(counts)


def test_every_cell_with_a_tare_doubts_at_a_tilt_it_does_not_cover():
    counts = loads()
    counts[4] = 13_863

    found = [doubt for doubt in doubts_of_loads(jig(crosstalk=None), counts) if doubt.kind is Doubt.OUTSIDE_TILTS]

    assert [doubt.channel for doubt in found] == ["hands_left", "hands_right", "saddle_nose", "saddle_rear"]
    assert "at 14.0 deg, outside the tilts of its tare (0.0 to 11.0 deg)" in found[0].sentence


def test_a_channel_without_a_budget_says_so():
    bare = Calibration("bare", "2025-01-01T00:00:00Z", (CalibratedChannel("bar", "force", (0.0, 0.001)),))

    assert kinds([5000], bare) == [(Doubt.NO_BUDGET, "bar")]


def test_a_zero_that_moved_and_one_that_is_old():
    calibration = Calibration("one", "2025-01-01T00:00:00Z", (cell("bar", 0.001, 1000.0, tare=False),))

    # the budget of the test jig is 0.054 N at zero load, expanded 0.13 N: the floor is higher
    assert doubts_of_zero(calibration, [1000.0], [1450.0], hours=1.0) == ()
    assert doubts_of_zero(calibration, [1000.0], [1100.0], hours=1.0) == ()
    (moved,) = doubts_of_zero(calibration, [1000.0], [400.0], hours=1.0)
    (old,) = doubts_of_zero(calibration, [1000.0], [1100.0], hours=2.5)
    assert (moved.kind, old.kind) == (Doubt.ZERO_MOVED, Doubt.ZERO_OLD)
    assert "moved by -0.60 N since it was taken, expected within 0.50 N" in moved.sentence
    assert old.sentence == "bar: the zero is 2.5 h old: take it again"
