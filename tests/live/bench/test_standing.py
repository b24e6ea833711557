"""How a calibration stands on a session, and what a sweep is stamped with."""

from dataclasses import replace

import pytest

from daq.live.bench.standing import stamp, standing_of
from daq.live.real import uncalibrated
from daq.measure.calibration.board import Board, Converter
from daq.measure.calibration.status import Standing, sensitivity_check
from daq.measure.calibration.uncertainty import Expanded
from daq.values import UNKNOWN_UTC
from tests.measure.calibration.jig import jig
from tests.ridden import RIG

MADE = "2025-03-04T10:11:12Z"


def check(at_utc, shown_n=196.2):
    uncertainty = Expanded(0.2, 0.1, 1.96, float("inf"))
    weight = {"load_n": 196.13, "u_load_n": 0.01, "shown_n": shown_n}
    return sensitivity_check("hands_left", at_utc, **weight, uncertainty=uncertainty)


def real(made_utc):
    return jig(made_utc=made_utc, simulated=False)


@pytest.mark.parametrize(
    ("calibration", "checks", "now", "standing"),
    [
        (real(made_utc=MADE), (), "2025-03-04T20:00:00Z", Standing.VALID),
        (real(made_utc=MADE), (), "2025-03-06T10:00:00Z", Standing.CHECK_DUE),
        (real(made_utc=MADE), (check("2025-03-06T08:00:00Z"),), "2025-03-06T10:00:00Z", Standing.VALID),
        (real(made_utc=MADE), (check("2025-03-06T08:00:00Z", 199.0),), "2025-03-06T10:00:00Z", Standing.CHECK_FAILED),
        (real(made_utc=MADE), (check("2026-03-04T08:00:00Z"),), "2026-03-05T10:00:00Z", Standing.EXPIRED),
        (jig(simulated=True), (), "2025-03-04T20:00:00Z", Standing.SIMULATED),
        (uncalibrated(RIG), (), "2025-03-04T20:00:00Z", Standing.MISSING),
        (real(made_utc=UNKNOWN_UTC), (), "2025-03-04T20:00:00Z", Standing.CHECK_DUE),
        (real(made_utc=UNKNOWN_UTC), (check("2025-03-04T08:00:00Z"),), "2025-03-04T20:00:00Z", Standing.VALID),
        (real(made_utc=UNKNOWN_UTC), (check("2025-03-02T08:00:00Z"),), "2025-03-04T20:00:00Z", Standing.CHECK_DUE),
    ],
)
def test_a_real_jig_trusts_only_a_calibration_that_is_valid_and_checked(calibration, checks, now, standing):
    found = standing_of(calibration, checks, now, simulated=False)

    assert found.standing is standing
    assert stamp(calibration, found)["allows_verdict"] is (standing is Standing.VALID)


def test_what_its_maker_adjusted_is_checked_for_more_than_a_year_and_never_expires():
    """Nothing here can be calibrated again: a year after the first check, today's check still counts."""
    checks = tuple(check(f"{year}-03-04T08:00:00Z") for year in (2023, 2024, 2025))

    said = [
        standing_of(real(made_utc=UNKNOWN_UTC), checks, now, simulated=False, checked="the scale at the hands")
        for now in ("2025-03-04T20:00:00Z", "2025-03-06T08:00:00Z")
    ]

    assert [each.standing for each in said] == [Standing.VALID, Standing.CHECK_DUE]
    assert said[0].sentence == (
        "the scale at the hands: checked 2025-03-04; next check with a weight by 2025-03-05 08:00 UTC"
    )
    assert said[1].sentence.startswith("the scale at the hands: the last check with a weight was 48 h ago")


def test_a_simulated_calibration_holds_on_a_simulated_jig_for_ever():
    found = standing_of(replace(jig(), simulated=True), (), "2031-01-01T00:00:00Z", simulated=True)

    assert found.allows_verdict
    assert "simulated" in found.sentence


@pytest.mark.parametrize(("gain", "standing"), [(64, Standing.VALID), (128, Standing.OTHER_BOARD)])
def test_a_gain_other_than_calibrated_takes_the_verdict(gain, standing):
    """Calibrated at 64, the board came up at 128: every load would be read twice as large."""
    then, now = (Board("00112233aabbccdd", (Converter("hands_left", one),)) for one in (64, gain))
    calibration = replace(real(made_utc=MADE), board=then)

    found = standing_of(calibration, (), "2025-03-04T20:00:00Z", simulated=False, board=now)

    assert found.standing is standing
    assert found.allows_verdict is (standing is Standing.VALID)
    assert ("gain = 64 into the rig file" in found.sentence) is not found.allows_verdict
