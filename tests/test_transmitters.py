import pytest

from daq.rig_file import RigError, parse_rig
from daq.transmitters import check_transmitter, hello_of, registers_of
from tests.rigs import rig_text

MODBUS = """
[transmitter]
link = "modbus"
port = "/dev/ttyUSB0"
address_base = 40001
{more}
[[transmitter.registers]]
name = "saddle"
unit_number = 2
address = {address}
[[transmitter.registers]]
name = "hands"
unit_number = 1
address = {address}
"""
LINES = """
[transmitter]
link = "lines"
port = "/dev/ttyUSB0"
pattern = '{pattern}'
{more}
"""


def modbus(more="", address=40101):
    return parse_rig(rig_text(MODBUS.format(more=more, address=address), ("hands", "saddle")))


def lines(pattern=r"(?P<hands>[\d.]+);(?P<saddle>[\d.]+)", more=""):
    return parse_rig(rig_text(LINES.format(pattern=pattern, more=more), ("hands", "saddle")))


def test_registers_come_by_unit_and_channels_in_the_order_of_the_scans():
    rig = modbus()

    assert {unit: [r.name for r in registers] for unit, registers in registers_of(rig.transmitter).items()} == {
        2: ["saddle"],
        1: ["hands"],
    }
    assert [channel.name for channel in hello_of(rig.transmitter).channels] == ["saddle", "hands"]


def test_a_device_adjusted_where_gravity_is_weaker_weighs_less():
    # 1 kg weighs 9.780 N at the equator, 9.80665 N by definition (values: WGS 84 and 3rd CGPM, from memory)
    (register,) = registers_of(modbus("adjusted_g_m_s2 = 9.780").transmitter)[1]

    assert register.scale == pytest.approx(9.780 / 9.80665)


def test_a_hello_says_that_one_count_is_a_millinewton():
    assert {channel.units_per_count for channel in hello_of(lines().transmitter).channels} == {0.001}


@pytest.mark.parametrize(
    ("rig", "says"),
    [
        (lambda: lines(r"(?P<hands>[\d.]+)"), "gives hands; expected also saddle, which stand under channels"),
        (lambda: lines(r"(?P<hands>[\d.]+"), "is no regular expression"),
        (lambda: lines(more='unit = "stone"'), "unit 'stone': expected one of N, mN"),
        (lambda: lines(more='checksum = "xor"'), "a checksum needs both its kind and its part"),
        (lambda: modbus().model_copy(update={"transmitter": twice()}), "each load once, but hands appears twice"),
        (lambda: modbus(address=7), "is -39994 on the wire: expected 0 to 65535"),
    ],
)
def test_a_table_that_cannot_work_is_refused_before_anything_is_opened(rig, says):
    with pytest.raises(RigError, match=says):
        check_transmitter(rig())


def twice():
    table = modbus().transmitter
    return table.model_copy(update={"registers": (*table.registers, table.registers[1])})


def test_a_fitting_table_is_taken():
    check_transmitter(modbus())
    check_transmitter(lines())
