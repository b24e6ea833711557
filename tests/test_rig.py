import re
import time

import pytest

from daq.live.typed_rig import typed_rig_text
from daq.rig_file import RigError, parse_rig
from tests.rigs import GOOD


def test_a_complete_rig_is_read_with_standard_gravity():
    rig = parse_rig(GOOD)

    assert rig.cells == ("hands", "saddle")
    assert rig.columns("tilt") == (2,)
    assert rig.g_m_s2 == 9.80665
    assert rig.power is None


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('role = "saddle"', 'role = "sadle"', "line 9: channels[1].role: expected 'hands', 'saddle'"),
        ("bar_x_m = 0.57", 'bar_x_m = "570"', "line 14: geometry.bar_x_m: expected a valid number, got '570'"),
        ("bar_x_m = 0.57", "bar_x_m = 570", "line 14: geometry.bar_x_m: expected less than 1.5, got 570"),
        ("bar_y_m = 0.66", "", "geometry.bar_y_m: missing; a rig file needs it"),
        ('name = "test jig"', 'name = "test jig"\nmass = 3', "line 2: mass: no such key in a rig file"),
        ('port = "/dev/ttyACM0"', "baud = 9600", "one of port, usb_serial or usb_id"),
        (
            'name = "saddle"',
            'name = "hands"',
            "each channel name once, but hands appears twice under channels or positions",
        ),
        ('role = "hands"', 'role = "saddle"', "at least one channel with role 'hands'"),
        ("[board]", "[board", "not TOML"),
    ],
)
def test_a_wrong_rig_file_names_the_key_and_what_was_expected(old, new, says):
    with pytest.raises(RigError) as caught:
        parse_rig(GOOD.replace(old, new, 1), name="rig.toml")

    assert says in str(caught.value)
    assert "rig.toml" in str(caught.value)


TRANSMITTER = GOOD.replace("[board]", '[transmitter]\nlink = "modbus"')
REGISTER = '[[transmitter.registers]]\nname = "hands"\naddress = 40101\n'


def test_a_transmitter_stands_in_the_boards_place():
    rig = parse_rig(TRANSMITTER.replace("[[channels]]", REGISTER + "[[channels]]", 1))

    assert rig.board is None
    assert rig.transmitter.registers[0].address == 40101


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (GOOD.replace('[board]\nport = "/dev/ttyACM0"', ""), "[board], [transmitter] and [typed]; there are none"),
        (GOOD + "[transmitter]\nlink='lines'\npattern='a'\nport='b'\n", "[transmitter] and [typed]; there are two"),
        (TRANSMITTER, "transmitter.registers: missing"),
        (
            TRANSMITTER.replace('"modbus"', '"canopen"'),
            "line 3: transmitter.link: expected 'lines' or 'modbus', got 'can",
        ),
        (
            TRANSMITTER.replace('link = "modbus"', "baud = 9600"),
            "transmitter.link: expected 'lines' or 'modbus', got None",
        ),
        (
            TRANSMITTER.replace('"modbus"', '"lines"\npattern="x"\nparity="x"'),
            "line 5: transmitter.parity: expected 'none'",
        ),
        (
            TRANSMITTER.replace("[[ch", REGISTER + 'kind = "bool"\n[[ch', 1),
            "transmitter.registers[0].kind: expected 'int16'",
        ),
    ],
)
def test_a_wrong_transmitter_is_named_by_its_place_in_the_file(text, says):
    with pytest.raises(RigError) as caught:
        parse_rig(text, name="rig.toml")

    assert says in str(caught.value)


TYPED = typed_rig_text("kg", 0.1)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (TYPED.replace('"kg"', '"g"'), "line 6: typed.unit: expected 'N', 'kg' or 'lb', got 'g'"),
        (TYPED.replace("step = 0.1", "step = 0"), "line 8: typed.step: expected greater than 0, got 0"),
        (TYPED.replace('= "typed"', '= "sensor"'), "expected a table [power], which names the sensor"),
        (TYPED + '[power]\nname = "crank"\n', "expected typed.effort 'sensor' where there is a table [power]"),
        (TYPED + '[[channels]]\nname = "tilt"\nrole = "tilt"\n', "one with role 'saddle' at most, and no other"),
        (TYPED + '[[channels]]\nname = "h2"\nrole = "hands"\n', "one with role 'saddle' at most, and no other"),
        (TYPED.replace("effort =", "saddle_step = 0.5\neffort ="), "a channel with role 'saddle'"),
    ],
)
def test_a_wrong_scale_is_named_with_what_was_expected(text, says):
    with pytest.raises(RigError) as caught:
        parse_rig(text, name="typed.toml")

    assert says in str(caught.value)


def test_a_scale_whose_damping_is_left_out_stands_still_after_five_seconds():
    (line,) = [line for line in TYPED.splitlines() if line.startswith("damping_s")]

    assert parse_rig(TYPED.replace(line, "")).typed.damping_s == 1.0


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("a = " + "[" * 5000, "nested too deep"),
        ("a" + ".a" * 5000 + " = 1", "rig file: "),
        ("a = " + "9" * 5000, "not TOML: "),
        ("#" + "x" * 300_000, "expected at most 262144 bytes, got 300001"),
        (GOOD.replace("test jig", "x\\u001b[31m"), "name: expected text without control characters; character 2 is"),
        (GOOD.replace("bar_x_m = 0.57", "bar_x_m = 1e400"), "bar_x_m"),
        (GOOD.replace('role = "hands"', 'role = "hands"\nx_mm = 1e300'), "x_mm: expected less than or equal to 5000"),
        (GOOD.replace('port = "/dev/ttyACM0"', 'port = "/dev/\\u0000"'), "port: expected text without control"),
    ],
)
def test_a_file_that_nobody_wrote_for_a_jig_is_refused_in_a_sentence(text, says):
    with pytest.raises(RigError, match=re.escape(says)) as refusal:
        parse_rig(text)

    assert len(str(refusal.value)) < 4000


def test_a_file_of_nothing_but_mistakes_names_the_first_twenty():
    wrong = "".join(f"key{i} = 1\n" for i in range(20_000))

    started = time.process_time()
    with pytest.raises(RigError) as refusal:
        parse_rig(wrong + GOOD)

    lines = str(refusal.value).splitlines()
    assert len(lines) == 21
    assert lines[-1] == "rig file: 19980 more"
    assert time.process_time() - started < 2.0


SLIDE = """
[[positions]]
name = "slide"
role = "saddle fore-aft"
places = [[1200, 0.0], [9650, 120.0]]
u_mm = 0.3
"""


def test_a_position_sensor_has_the_line_through_its_known_places():
    (slide,) = parse_rig(GOOD + SLIDE).positions

    mm_per_count, offset_mm = slide.line
    assert mm_per_count * 1200 + offset_mm == pytest.approx(0.0, abs=1e-9)
    assert mm_per_count * 9650 + offset_mm == pytest.approx(120.0)


@pytest.mark.parametrize(
    ("was", "becomes", "said"),
    [
        ('"saddle fore-aft"', '"saddle"', "positions.0..role: .*saddle fore-aft"),
        ("[9650, 120.0]", "[1200, 120.0]", "two with different counts"),
        ("[9650, 120.0]", "[9650, 120.0], [5000, 90.0]", "straight line; one lies"),
        ('"slide"', '"hands"', "hands appears twice"),
        ("[1200, 0.0], ", "", "at least 2"),
        ("u_mm = 0.3", f"u_mm = 0.3{SLIDE.replace('slide', 'other')}", "each role once under positions"),
    ],
)
def test_a_position_sensor_that_tells_nothing_is_refused(was, becomes, said):
    with pytest.raises(RigError, match=said):
        parse_rig(GOOD + SLIDE.replace(was, becomes, 1))
