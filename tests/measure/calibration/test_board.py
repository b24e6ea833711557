"""Whether a board is still the one that was calibrated: its id, gains, and what a count is worth."""

import json
from dataclasses import asdict, replace

import numpy as np
import pytest

from daq.measure.calibration import CalibrationError, from_dict, to_dict
from daq.measure.calibration.board import Board, Converter, board_of, otherwise
from daq.wire.board import Channel, ChannelKind, HelloBody
from tests.measure.calibration.jig import jig

UNITS = float(np.float32(2.0**-21))
BOARD = Board(
    "00112233aabbccdd", (Converter("bar", 64, 2 * UNITS), Converter("saddle", 128, UNITS), Converter("spare", 128))
)
NAMES = {"bar", "saddle"}


def but(i, **changes):
    converters = list(BOARD.converters)
    converters[i] = replace(converters[i], **changes)
    return replace(BOARD, converters=tuple(converters))


def test_the_same_board_is_as_it_was_also_when_its_channels_stand_in_another_order():
    assert otherwise(BOARD, replace(BOARD, converters=BOARD.converters[::-1]), NAMES) == ()


def test_another_gain_is_told_with_both_and_the_remedy():
    (sentence,) = otherwise(BOARD, but(0, gain=128, units_per_count=UNITS), NAMES)

    assert sentence == (
        "bar was calibrated at gain 64, the board is at 128: put gain = 64 into the rig file, or calibrate"
    )


def test_other_units_at_the_same_gain_are_told():
    (sentence,) = otherwise(BOARD, but(1, units_per_count=0.976 * UNITS), NAMES)

    assert sentence.startswith("saddle was calibrated at 4.76837e-07 units a count, the board now says 4.65393e-07")


def test_another_board_is_told():
    (sentence,) = otherwise(BOARD, replace(BOARD, board_id="f" * 16), NAMES)

    assert (
        sentence == f"calibrated with board 00112233aabbccdd, connected is {'f' * 16}: connect that one, or calibrate"
    )


@pytest.mark.parametrize("now", [but(2, gain=64), but(1, units_per_count=None), None])
def test_what_is_not_used_or_not_known_is_not_held_against_it(now):
    assert otherwise(BOARD, now, NAMES) == ()
    assert otherwise(None, BOARD, NAMES) == ()


def test_a_hello_gives_the_board_and_an_old_record_of_one_none():
    channels = (
        Channel("bar", ChannelKind.BRIDGE, 64, 80.0, 24, 2 * UNITS),
        Channel("tilt", ChannelKind.TILT, 1, 50.0, 16),
    )
    hello = asdict(HelloBody("00112233aabbccdd", 7, "bench 1.0", 80.0, channels))

    assert board_of(hello) == Board("00112233aabbccdd", (Converter("bar", 64, 2 * UNITS), Converter("tilt", 1)))
    assert board_of({"channels": [{"name": "bar"}]}) is None


def test_a_calibration_keeps_its_board_and_an_older_one_loads_without():
    made = jig(board=BOARD)
    content = json.loads(json.dumps(to_dict(made)))

    assert from_dict(content) == made
    older = {key: value for key, value in content.items() if key != "board"}
    assert from_dict(older).board is None


@pytest.mark.parametrize(
    ("board", "words"),
    [
        ({"board_id": 5, "converters": []}, "board: board_id: expected a text"),
        ({"board_id": "x", "converters": [{"name": "bar"}]}, "gain"),
        ({"board_id": "x", "converters": [], "colour": 1}, "unknown key colour"),
    ],
)
def test_a_board_that_cannot_be_read_is_named_with_its_place(board, words):
    with pytest.raises(CalibrationError, match=words):
        from_dict({**to_dict(jig()), "board": board})
