"""Which sensors a session listens to, and which of them are missed."""

from dataclasses import replace

import numpy as np
import pytest

from daq.items import Notification
from daq.live.session.sensors import Sensors
from daq.pipeline import Pipeline
from daq.rig_file import parse_rig
from daq.values import Samples
from daq.wire import board, cycling_power
from daq.wire.commands import CommandResult, Reply
from tests.ridden import CALIBRATION, RIG
from tests.rigs import rig_text
from tests.wire.examples import HELLO, some_scans

TABLES = {name: f'[{name}]\nname = "a {name} sensor"\n' for name in ("power", "cadence", "heart")}


@pytest.mark.parametrize(
    "named", [(), ("power",), ("power", "cadence"), ("power", "heart"), ("power", "cadence", "heart")]
)
def test_board_and_power_sensor_have_a_place_always_and_others_when_the_rig_names_them(named):
    rig = parse_rig(rig_text() + "".join(TABLES[name] for name in named))

    sensors = Sensors(rig, 1.0, record=print, notice=print, pipeline=print)

    assert set(sensors.health) == {"board", "power", *named}
    assert sensors.health["power"].expected == ("power" in named)


def listening(record=None):
    """Sensors, and what they tell the person at the jig."""
    told: list[tuple[str, ...]] = []
    pipeline = Pipeline(RIG, CALIBRATION)

    def notice(*said, see=None):
        told.append((*said, see) if see else said)

    sensors = Sensors(RIG, 1.0, record=record, notice=notice, pipeline=lambda: pipeline)
    return sensors, told


def hear(sensors, *frames):
    """What came of these frames, as the board sends them, after the zero that ends what was cut off."""
    sensors.arrive_bytes(1, b"\0" + b"".join(frames))
    return sensors.take()


@pytest.mark.parametrize(
    ("boot", "told"),
    [
        (7, []),
        (8, [("caution", "the board has restarted: check its power and cable")]),
        (0, [("caution", "the board has restarted: check its power and cable")]),
    ],
    ids=["the same hello again", "one start more", "a counter that wrapped"],
)
def test_a_restart_is_told_by_a_boot_number_that_differs_up_or_down(boot, told):
    """A board without flash to count in sends a random number (daq/wire/hello.py)."""
    sensors, said = listening()

    hear(sensors, board.encode_hello(HELLO), board.encode_hello(replace(HELLO, boot=boot)))

    assert said == told


def test_another_board_is_named_and_not_taken_for_a_restart():
    sensors, said = listening()

    hear(sensors, board.encode_hello(HELLO), board.encode_hello(replace(HELLO, board_id="00000000000000b2", boot=8)))

    assert said == [
        ("caution", "another board, 00000000000000b2, is connected: is the calibration made with it?", "bench"),
    ]


@pytest.mark.parametrize(
    ("result", "text", "told"),
    [
        (CommandResult.DONE, "", []),
        (CommandResult.DONE, "tared", [("info", "board: tared")]),
        (CommandResult.NOT_NOW, "", [("caution", "board: not_now")]),
        (CommandResult.FAILED, "flash is worn", [("caution", "board: flash is worn")]),
    ],
)
def test_what_a_board_refuses_is_told_also_without_words_of_its_own(result, text, told):
    sensors, said = listening()

    hear(sensors, board.encode_reply(Reply(1, 1, result, text)))

    assert said == told


def test_scans_that_came_before_a_notification_stand_before_it_in_session_and_recording():
    rng, recorded = np.random.default_rng(1), []
    sensors, _ = listening(recorded.append)
    hear(sensors, board.encode_hello(HELLO))
    recorded.clear()

    sensors.arrive_bytes(10, board.encode_scans(some_scans(3, 2, rng)))
    sensors.arrive_notification(20, cycling_power.MEASUREMENT_UUID, b"")
    sensors.arrive_bytes(30, board.encode_scans(some_scans(3, 2, rng, first=3)))

    taken = sensors.take()
    assert [type(item) for item in taken] == [Samples, Notification, Samples]
    assert [item.received_us for item in recorded] == [10, 20, 30]
