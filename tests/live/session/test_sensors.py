"""Which sensors a session listens to, and which of them are missed."""

import pytest

from daq.live.session.sensors import Sensors
from daq.rig import parse_rig
from tests.rigs import rig_text

TABLES = {name: f'[{name}]\nname = "a {name} sensor"\n' for name in ("power", "cadence", "heart")}


@pytest.mark.parametrize(
    "named", [(), ("power",), ("power", "cadence"), ("power", "heart"), ("power", "cadence", "heart")]
)
def test_board_and_power_sensor_have_a_place_always_and_others_when_the_rig_names_them(named):
    rig = parse_rig(rig_text() + "".join(TABLES[name] for name in named))

    sensors = Sensors(rig, 1.0, record=print, notice=print, pipeline=print)

    assert set(sensors.health) == {"board", "power", *named}
    assert sensors.health["power"].expected == ("power" in named)
