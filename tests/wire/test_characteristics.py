"""What Bluetooth sensors send that no table of vectors shows: reserved bits, bytes too many, meaningless numbers."""

import pytest

from daq.wire import battery, csc, cycling_power, cycling_power_control, cycling_power_vector, indoor_bike
from daq.wire.cycling_power_control import ControlOp, ControlResponse, ControlResult
from daq.wire.fields import BadPayload
from tests.wire import sensors_sending


def test_reserved_flags_are_ignored_and_so_is_what_they_bring():
    plain = cycling_power.decode_power(bytes.fromhex("0000c800"))

    assert cycling_power.decode_power(bytes.fromhex("00e0c800")) == plain
    assert cycling_power.decode_power(bytes.fromhex("0020c8001122")) == plain


@pytest.mark.parametrize(("raw", "percent"), [(0, 0.0), (95, 47.5), (200, 100.0), (201, None), (255, None)])
def test_a_balance_beyond_the_whole_is_unknown(raw, percent):
    value = bytes([0x01, 0x00, 0xC8, 0x00, raw])

    assert cycling_power.decode_power(value).balance_pct == percent


def test_wheel_torque_never_becomes_crank_torque():
    at_wheel = cycling_power.PowerMeasurement(power_w=200, torque_total_32=320, torque_at_crank=False)
    at_crank = cycling_power.PowerMeasurement(power_w=-5, torque_total_32=320, torque_at_crank=True)

    assert cycling_power.to_power_reading(at_wheel, source="s", received_us=1).torque_total_32 is None
    reading = cycling_power.to_power_reading(at_crank, source="s", received_us=1)
    assert (reading.torque_total_32, reading.power_w) == (320, -5.0)


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"power_w": 40_000}, "power_w: 40000 does not fit a signed 16 bits"),
        ({"power_w": 0, "crank_revs": 1}, "crank_time_1024 is missing: crank_revs, crank_time_1024 are sent together"),
        ({"power_w": 0, "extreme_angles": 1 << 24}, "extreme_angles: 16777216 does not fit an unsigned 24 bits"),
    ],
)
def test_a_measurement_the_flags_cannot_describe_is_refused_when_written(fields, says):
    with pytest.raises(ValueError, match=says):
        cycling_power.encode_power(cycling_power.PowerMeasurement(**fields))


def test_a_value_too_short_names_what_was_expected_and_what_came():
    with pytest.raises(BadPayload) as error:
        cycling_power.decode_power(bytes.fromhex("2000fa001027"))

    expected = "ends before its crank_time_1024: expected at least 8 bytes, got 6: 2000fa001027"
    assert str(error.value) == f"cycling power measurement: {expected}"


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ("0c64009cff", "forces and torques at once"),
        ("046400ff", "3 bytes left for samples of 2 bytes each"),
        ("04" + "0100" * 10, "expected 0 to 9 samples, got 10"),
    ],
)
def test_a_vector_without_one_clear_array_is_refused(value, says):
    with pytest.raises(BadPayload, match=says):
        cycling_power_vector.decode_vector(bytes.fromhex(value))


def test_an_announced_array_may_be_empty():
    assert cycling_power_vector.decode_vector(b"\x08").torque_32 == ()


@pytest.mark.parametrize("level", [101, 255])
def test_a_reserved_battery_level_is_refused(level):
    with pytest.raises(BadPayload, match=f"expected 0 to 100 %, got {level}"):
        battery.decode_battery(bytes([level]))


def test_reserved_feature_bits_are_left_out():
    feature, distribution = cycling_power_control.decode_feature(bytes.fromhex("0802f0ff"))

    assert feature == cycling_power_control.Feature.CRANK | cycling_power_control.Feature.OFFSET_COMPENSATION
    assert distribution is cycling_power_control.Distribution.RESERVED


@pytest.mark.parametrize(
    ("op", "length_mm", "value"),
    [
        (ControlOp.START_OFFSET_COMPENSATION, None, "0c"),
        (ControlOp.REQUEST_SAMPLING_RATE, None, "0e"),
        (ControlOp.SET_CRANK_LENGTH, 172.5, "045901"),  # 345 half millimetres
    ],
)
def test_a_request_is_its_op_code_and_operand(op, length_mm, value):
    assert cycling_power_control.encode_request(op, length_mm).hex() == value


def test_a_crank_length_belongs_to_one_request_only():
    with pytest.raises(ValueError, match="got START_OFFSET_COMPENSATION"):
        cycling_power_control.encode_request(ControlOp.START_OFFSET_COMPENSATION, 170.0)


@pytest.mark.parametrize(
    ("value", "response", "offset"),
    [
        ("200c01f0ff", ControlResponse(ControlOp.START_OFFSET_COMPENSATION, ControlResult.SUCCESS, b"\xf0\xff"), -16),
        ("200c01ffff", ControlResponse(ControlOp.START_OFFSET_COMPENSATION, ControlResult.SUCCESS, b"\xff\xff"), None),
        ("200c04", ControlResponse(ControlOp.START_OFFSET_COMPENSATION, ControlResult.FAILED), None),
        ("200502", ControlResponse(ControlOp.REQUEST_CRANK_LENGTH, ControlResult.NOT_SUPPORTED), None),
    ],
)
def test_an_answer_tells_the_offset_only_when_there_is_one(value, response, offset):
    assert cycling_power_control.decode_response(bytes.fromhex(value)) == response
    assert sensors_sending.response(response).hex() == value
    assert response.raw_offset == offset


@pytest.mark.parametrize("value", ["200c00", "200c05", "100c01", "200c"])
def test_what_is_no_answer_is_refused(value):
    with pytest.raises(BadPayload, match="cycling power control point"):
        cycling_power_control.decode_response(bytes.fromhex(value))


def test_a_bike_without_power_reads_as_unknown_not_zero():
    bike = indoor_bike.decode_indoor_bike(bytes.fromhex("0400c409b400"))

    reading = indoor_bike.bike_reading(bike, source="bike", received_us=9)

    assert (reading.power_w, reading.cadence_rpm, reading.received_us) == (None, 90.0, 9)


def test_a_cadence_sensor_knows_no_power():
    reading = csc.cadence_reading(csc.decode_csc(bytes.fromhex("02e8030004")), source="c", received_us=9)

    assert (reading.power_w, reading.crank_revs, reading.crank_time_1024) == (None, 1000, 1024)
