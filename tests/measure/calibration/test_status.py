from datetime import datetime

import pytest

from daq.measure.calibration.status import SensitivityCheck, Standing, sensitivity_check, status_at
from daq.measure.calibration.uncertainty import combine

MADE = "2025-03-04T10:00:00Z"


def check(checked_utc, shown_n=98.05, channel="hands_left"):
    uncertainty = combine([(0.1, None, "normal")])
    return sensitivity_check(
        channel, checked_utc, load_n=98.0665, u_load_n=0.003, shown_n=shown_n, uncertainty=uncertainty
    )


@pytest.mark.parametrize(
    ("made", "checks", "now", "standing"),
    [
        (None, (), "2025-03-04T10:00:00Z", Standing.MISSING),
        (MADE, (), "2025-03-05T09:59:00Z", Standing.VALID),
        (MADE, (), "2025-03-05T10:01:00Z", Standing.CHECK_DUE),
        (MADE, (check("2025-06-01T07:00:00Z"),), "2025-06-02T06:59:00Z", Standing.VALID),
        (MADE, (check("2025-06-01T07:00:00Z"),), "2025-06-02T07:01:00Z", Standing.CHECK_DUE),
        (MADE, (check("2026-03-04T08:00:00Z"),), "2026-03-04T09:59:59Z", Standing.VALID),
        (MADE, (check("2026-03-04T08:00:00Z"),), "2026-03-04T10:00:00Z", Standing.EXPIRED),
        (MADE, (check("2025-03-04T12:00:00Z", 99.0),), "2025-03-04T13:00:00Z", Standing.CHECK_FAILED),
        ("2025-03-04T12:00:00+02:00", (), "2025-03-04T10:04:00Z", Standing.VALID),
        (MADE, (), "2025-03-04T09:50:00Z", Standing.FROM_THE_FUTURE),
        (MADE, (), "2025-03-04T09:56:00Z", Standing.VALID),
    ],
)
def test_a_calibration_holds_12_months_and_a_check_24_hours(made, checks, now, standing):
    found = status_at(made, checks, now)

    assert found.standing is standing
    assert found.allows_verdict == (standing is Standing.VALID)


def test_a_failed_check_is_healed_by_a_later_good_one_of_the_same_cell_only():
    bad, good = check("2025-03-04T11:00:00Z", 99.0), check("2025-03-04T12:00:00Z")
    other = check("2025-03-04T12:00:00Z", channel="saddle_rear")

    assert status_at(MADE, (good, bad), "2025-03-04T13:00:00Z").standing is Standing.VALID
    assert status_at(MADE, (bad, other), "2025-03-04T13:00:00Z").standing is Standing.CHECK_FAILED


def test_months_end_on_the_same_day_or_the_last():
    assert status_at("2024-02-29T00:00:00Z", (), "2024-03-01T00:00:00Z").until_utc == "2025-02-28T00:00:00Z"
    assert status_at("2025-12-31T00:00:00Z", (), "2025-12-31T01:00:00Z", months=2).until_utc == "2026-02-28T00:00:00Z"
    assert datetime.fromisoformat(status_at(MADE, (), MADE).until_utc).year == 2026


def test_a_check_passes_within_both_uncertainties():
    # 1.96 x 0.1 N of the calibration and 2 x 0.003 N of the weight
    assert check(MADE, 98.0665 + 0.195).passed
    assert not check(MADE, 98.0665 + 0.197).passed


def test_a_failed_check_says_what_to_do():
    assert "expected within 0.20 N: zero the empty jig" in check(MADE, 99.0).sentence
    assert "a factor 9.8: is the weight in kilograms?" in check(MADE, 98.0665 * 9.80665).sentence
    assert "a factor 9.8: is the weight in newtons?" in check(MADE, 10.0).sentence
    assert "is as calibrated" in check(MADE).sentence


def test_a_weight_too_light_to_tell_is_refused():
    with pytest.raises(ValueError, match=r"more than ten times the expanded uncertainty .*take a heavier one"):
        sensitivity_check(
            "bar", MADE, load_n=1.0, u_load_n=0.0, shown_n=1.0, uncertainty=combine([(0.1, None, "normal")])
        )


@pytest.mark.parametrize("text", ["yesterday", "2025-03-04T10:00:00"])
def test_times_need_a_zone(text):
    with pytest.raises(ValueError, match="expected a time"):
        status_at(text, (), MADE)


@pytest.mark.parametrize(("shown_n", "passed"), [(100.4999, True), (99.5001, True), (100.51, False), (99.49, False)])
def test_a_check_allows_both_expanded_uncertainties_in_squares(shown_n, passed):
    """The weight's 0.2 N, expanded to 0.4 N (k = 2), and the load's 0.3 N make 0.5 N."""
    found = SensitivityCheck("hands", MADE, load_n=100.0, u_load_n=0.2, shown_n=shown_n, expanded_n=0.3)

    assert found.limit_n == pytest.approx(0.5)
    assert found.passed is passed
