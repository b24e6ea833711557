import math
from dataclasses import replace

import numpy as np
import pytest

from daq.measure.calibration import (
    CalibratedChannel,
    Calibration,
    CalibrationError,
    TiltTare,
    apply,
    in_order,
    tare_holds,
)
from tests.measure.calibration.jig import jig

ZERO = np.array([41_300.0, -18_250.0, 90_300.0, 12_100.0, -137.0, 0.0])


def scans(n, seed=1):
    rng = np.random.default_rng(seed)
    counts = rng.integers(-(1 << 23), 1 << 23, size=(n, 6)).astype(np.int32)
    counts[:, 4] = rng.integers(-3000, 12_000, size=n)
    return counts


def one(coefficients=(0.0, 0.5), **fields):
    return Calibration("one", "2025-01-01T00:00:00Z", (CalibratedChannel("bar", "force", coefficients, **fields),))


def test_counts_above_zero_become_newtons():
    # 50 kg cell of 2 mV/V at 5 V, gain 128, 24 bits: 8553.9996 counts per newton (tests/published/converters)
    calibration = one((0.0, 1 / 8553.9996), zero_counts=1000.0)

    assert apply(calibration, [[1000 + 4_194_304]])[0, 0] == pytest.approx(50 * 9.80665, rel=1e-8)


def test_a_zero_of_the_day_replaces_that_of_the_calibration():
    values = apply(one((3.0, 0.5), zero_counts=7.0), [[100], [110]], [100.0])

    assert values[:, 0].tolist() == [0.0, 5.0]


def test_weight_that_was_there_at_zero_uses_its_part_of_a_bent_curve():
    bent = one((0.0, 1.0, 0.001))

    assert apply(bent, [[150]], [50.0])[0, 0] == pytest.approx((150 + 22.5) - (50 + 2.5), rel=1e-15)


@pytest.mark.parametrize("zero", [None, ZERO])
def test_a_scan_gives_the_same_bits_alone_and_in_blocks_of_any_length(zero):
    counts = scans(1000)

    whole = apply(jig(), counts, zero)

    for length in (1, 2, 3, 7, 20, 50, 333):
        pieces = np.vstack([apply(jig(), counts[i : i + length], zero) for i in range(0, 1000, length)])
        assert pieces.tobytes() == whole.tobytes()


def test_columns_picked_out_of_wider_scans_give_the_same_bits():
    counts = scans(64)
    wide = np.asfortranarray(np.hstack([counts, counts])[:, ::-1])[:, ::-1]

    assert apply(jig(), wide[:, [6, 7, 8, 9, 10, 11]], ZERO).tobytes() == apply(jig(), counts, ZERO).tobytes()


def test_everything_together_agrees_with_plain_algebra():
    calibration, counts = jig(), scans(200)
    shown = np.column_stack(
        [
            np.polynomial.polynomial.polyval(counts[:, j].astype(float), channel.coefficients)
            - np.polynomial.polynomial.polyval(ZERO[j], channel.coefficients)
            for j, channel in enumerate(calibration.forces)
        ]
    )
    tilt = 0.137 + 0.001 * counts[:, 4]
    t = np.radians(np.clip(tilt, 0.0, 11.0))
    cosine, sine = np.array([[c.tare.cosine_n, c.tare.sine_n] for c in calibration.forces]).T
    expected = shown @ np.array(calibration.crosstalk).T - np.outer(np.cos(t) - 1, cosine) - np.outer(np.sin(t), sine)

    values = apply(calibration, counts, ZERO)

    assert values[:, :4] == pytest.approx(expected, rel=1e-12, abs=1e-9)
    assert values[:, 4] == pytest.approx(tilt, rel=1e-12)
    assert np.isnan(values[:, 5]).all()


def test_a_zero_taken_on_a_slope_leaves_the_slope_and_takes_the_tare_from_there():
    calibration = jig(crosstalk=None)
    zero = np.array([0.0, 0.0, 0.0, 0.0, 5863.0, 0.0])
    at_six_deg = np.array([[0, 0, 0, 0, 5863, 0]], dtype=np.int32)

    values = apply(calibration, at_six_deg, zero)

    assert values[0, :5] == pytest.approx([0.0, 0.0, 0.0, 0.0, 6.0], abs=1e-12)


def test_tilting_the_empty_fixture_shows_nothing():
    # the fixture of the simulated jig: 12 N along the normal, 18 N along the slope, on the nose cell
    calibration = jig(crosstalk=None)
    for tilt_deg in (0.0, 2.8624052261, 5.7105931375, 10.9):
        t = math.radians(tilt_deg)
        shown_n = 12.0 * (math.cos(t) - 1.0) + 18.0 * math.sin(t)
        counts = [[41_211, -18_302, round(90_331 + 4291.8 * shown_n), 12_007, round(1000 * tilt_deg) - 137, 0]]

        nose_n = apply(calibration, counts, [41_211, -18_302, 90_331, 12_007, -137, 0])[0, 2]

        # half a count of the cell, half a count of tilt (0.0005 deg of 18 N)
        assert abs(nose_n) < 0.5 / 4291.8 + 18.0 * math.radians(0.0005) + 1e-9


def test_beyond_the_tilts_covered_the_tare_is_held_and_said_not_to_hold():
    calibration = jig(crosstalk=None)
    at = [[0, 0, 0, 0, round(1000 * tilt) - 137, 0] for tilt in (11.0, 14.0, -3.0, 0.0)]

    nose_n = apply(calibration, at)[:, 2]

    assert nose_n[0] == nose_n[1]
    assert nose_n[2] == nose_n[3]
    assert tare_holds(calibration, [0.0, 11.0, 11.2, 11.3, -0.3, math.nan]).tolist() == [
        True, True, True, False, False, False,
    ]  # fmt: skip


def test_each_cell_is_held_at_the_ends_of_its_own_tilts():
    wide = replace(jig().channel("saddle_rear").tare, covered_deg=(-5.0, 14.0))
    channels = tuple(replace(c, tare=wide) if c.name == "saddle_rear" else c for c in jig().channels)
    calibration = jig(crosstalk=None, channels=channels)

    nose_n, rear_n = apply(calibration, [[0, 0, 0, 0, 1000 * tilt - 137, 0] for tilt in (11, 14)])[:, 2:4].T

    assert nose_n[0] == nose_n[1]
    assert rear_n[0] - rear_n[1] == pytest.approx(
        12 * (math.cos(math.radians(14)) - math.cos(math.radians(11)))
        - 18 * (math.sin(math.radians(14)) - math.sin(math.radians(11))),
        rel=1e-9,
    )
    assert tare_holds(calibration, [12.0, -4.0]).tolist() == [False, False]


def test_without_tilt_tares_no_tilt_is_outside():
    assert tare_holds(one(), [25.0]).tolist() == [True]


def test_channels_of_another_number_are_refused():
    with pytest.raises(CalibrationError, match=r"expected counts of 6 channels \(hands_left, .*shape \(3, 4\)"):
        apply(jig(), np.zeros((3, 4), dtype=np.int32))
    with pytest.raises(CalibrationError, match="expected one finite zero reading for each of 6"):
        apply(jig(), scans(3), [1.0, 2.0])
    with pytest.raises(CalibrationError, match="expected one finite zero reading"):
        apply(jig(), scans(3), [1.0, 2.0, 3.0, 4.0, 5.0, math.nan])


def test_a_calibration_follows_the_rigs_order_of_channels():
    names = ["tilt", "saddle_rear", "hands_left", "saddle_nose", "hands_right"]
    columns = [4, 3, 0, 2, 1]

    turned = apply(in_order(jig(), names), scans(20)[:, columns])

    assert turned == pytest.approx(apply(jig(), scans(20))[:, columns], rel=1e-14)


def test_a_channel_nobody_calibrated_is_named():
    with pytest.raises(CalibrationError, match=r"no channel 'saddle_middle'; it has hands_left, .*rig file"):
        in_order(jig(), ["hands_left", "saddle_middle"])


def test_leaving_out_a_cell_that_shows_on_others_is_refused():
    with pytest.raises(CalibrationError, match="loads on saddle_rear show on other cells"):
        in_order(jig(), ["hands_left", "hands_right", "saddle_nose", "tilt"])


def test_two_calibrations_of_one_id_are_not_mixed_up():
    first, second = one((0.0, 1.0)), one((0.0, 2.0))

    assert [apply(c, [[5]])[0, 0] for c in (first, second, replace(first))] == [5.0, 10.0, 5.0]


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda: one((1.0,)), "expected 2 to 4 coefficients"),
        (lambda: one((1.0, 0.0)), "slope other than 0"),
        (lambda: one((1.0, math.nan)), "coefficient 1: expected a finite number"),
        (lambda: one((0.0, 1.0), span=(5.0, 5.0)), "span: expected two numbers, the lower first"),
        (lambda: CalibratedChannel("Bar", "force", (0.0, 1.0)), "expected a name of small letters"),
        (
            lambda: CalibratedChannel("bar", "weight", (0.0, 1.0)),
            "kind: expected one of force, tilt, unused, got 'weight'",
        ),
        (lambda: CalibratedChannel("tilt", "tilt", (0.0, 1.0), tare=TiltTare(0, 0, 0, (0, 1))), "only force channels"),
        (lambda: TiltTare(0.0, 0.0, 1.0, (3.0, 1.0)), "tilts covered from low to high"),
        (lambda: one((0.0, 1.0), tare=TiltTare(0.0, 0.0, 1.0, (0.0, 5.0))), "needs a channel of kind 'tilt'"),
        (lambda: jig(crosstalk=((1.0,),)), "crosstalk: expected 4 rows of 4"),
        (lambda: jig(crosstalk=((0.1, 0.9, 0, 0), *jig().crosstalk[1:])), "row of 'hands_left': a cell shows its own"),
        (lambda: jig(channels=(CalibratedChannel("a", "unused"),) * 2, crosstalk=None), "a appears twice"),
        (lambda: jig(id=""), "id: expected a text"),
    ],
)
def test_a_calibration_that_makes_no_sense_is_refused_by_name(make, sentence):
    with pytest.raises(CalibrationError, match=sentence):
        make()
