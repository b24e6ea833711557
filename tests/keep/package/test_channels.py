"""The table from counts to loads: names by the board, zero by the sweep, coefficients by the calibration."""

import numpy as np
import pytest

from daq.items import SWEEP_BEGUN, Event, Hello
from daq.keep.package.channels import channel_table
from daq.values import Samples
from tests.keep.jig import CALIBRATION
from tests.rigs import rig_text

BOARD_ORDER = ["tilt", "spare", "saddle", "hands"]


def samples(source="board"):
    ones = np.ones(1, dtype=np.int64)
    return Samples(source, ones, ones.astype(np.uint32), ones.astype(np.uint16), ones.astype(np.uint8), np.ones((1, 4)))


def rows(items, calibration=CALIBRATION, rig=None):
    table = channel_table("one", items, calibration, rig_text() if rig is None else rig)
    names = [field.name for field in table.fields]
    return {row[2]: dict(zip(names, row, strict=True)) for row in zip(*table.columns, strict=True)}


def begun(zero_counts):
    return Event(1, SWEEP_BEGUN, {"channels": BOARD_ORDER, "zero_counts": zero_counts})


def test_the_zero_taken_before_the_sweep_is_in_the_order_of_the_rig_file_and_not_of_the_board():
    # the rig of the tests has hands, saddle, tilt
    found = rows([begun([11.0, 22.0, 33.0]), samples()])

    assert {one["channel"]: one["zero_counts"] for one in found.values()} == {
        "hands": 11.0, "saddle": 22.0, "tilt": 33.0, "spare": None,
    }  # fmt: skip
    assert [found[f"count_{i}"]["channel"] for i in range(4)] == BOARD_ORDER
    assert [found[f"count_{i}"]["load"] for i in range(4)] == ["tilt_deg", None, "cell_saddle_n", "cell_hands_n"]


def test_without_one_it_is_the_calibrations_and_the_last_hello_names_the_channels():
    named = [Hello(2, "board", {"channels": [{"name": name} for name in reversed(BOARD_ORDER)]})]
    found = rows([begun(None), *named, samples()])

    assert found["count_0"]["channel"] == "hands"
    assert (found["count_0"]["zero_counts"], found["count_0"]["coefficients"]) == (0.0, "[0.0,0.0005]")


@pytest.mark.parametrize("rig", ["", "no toml ["])
def test_where_rig_and_calibration_are_lost_the_columns_are_still_listed(rig):
    found = rows([begun(None), samples()], {}, rig)

    assert len(found) == 4
    assert {one["role"] for one in found.values()} == {one["coefficients"] for one in found.values()} == {None}
