"""Limits against the figures of OIML R60-1:2021."""

import csv

import pytest

from daq.measure.calibration.r60 import permissible_error_n
from tests.published.calibration import HERE, facts

R60 = facts("oiml_r60.json")
ROWS = list(csv.DictReader((HERE / "oiml_r60_mpe.csv").read_text().splitlines()))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['class']}{row['load_from_v_exclusive_except_0']}")
def test_permissible_errors_of_every_class(row):
    low = float(row["load_from_v_exclusive_except_0"])
    high = float(row["load_to_v_inclusive"] or 10 * low)
    # one newton to the interval, so that loads in newtons are loads in v
    cell = {"cell_class": row["class"], "capacity_n": 1e6, "intervals": 1_000_000, "apportioned": 0.7}

    for load in (low + 1e-6 * high, (low + high) / 2, high):
        assert permissible_error_n(load, **cell) == pytest.approx(0.7 * float(row["mpe_in_v_before_pLC"]))


def test_a_c3_cell_of_50_kg():
    # worked by hand from the tables: v = 500 N / 3000; 100 N are 600 v, so 1.0 v x 0.7; full load 3000 v, 1.5 v x 0.7
    cell = {"cell_class": "C", "capacity_n": 500.0, "intervals": 3000}

    assert permissible_error_n(100.0, **cell) == pytest.approx(0.7 * 500 / 3000)
    assert permissible_error_n(500.0, **cell) == pytest.approx(1.05 * 500 / 3000)


def test_apportionment_outside_the_recommendation_is_refused():
    low, high = R60["pLC_range"]
    for apportioned in (low - 0.01, high + 0.01):
        with pytest.raises(ValueError, match=r"apportionment: expected 0.3 to 0.8"):
            permissible_error_n(1.0, cell_class="C", capacity_n=1.0, intervals=3000, apportioned=apportioned)
