"""Any value of cycling power, cadence or indoor bike against a second decoder, the PyPI package bluetooth-sig."""

from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.wire import csc, cycling_power, cycling_power_vector, indoor_bike
from tests.wire import sensors_sending


@cache
def other_decoder():
    from bluetooth_sig import BluetoothSIGTranslator

    return BluetoothSIGTranslator()


def numbers(bits, *, signed=False):
    return st.integers(-(1 << bits - 1), (1 << bits - 1) - 1) if signed else st.integers(0, (1 << bits) - 1)


@st.composite
def power_measurements(draw):
    pair = draw(st.lists(st.booleans(), min_size=10, max_size=10))

    def maybe(i, strategy):
        return draw(strategy) if pair[i] else None

    return cycling_power.PowerMeasurement(
        power_w=draw(numbers(16, signed=True)),
        balance_half_pct=maybe(0, st.integers(0, 200)),
        balance_left=draw(st.booleans()),
        torque_total_32=maybe(1, numbers(16)),
        torque_at_crank=draw(st.booleans()),
        wheel_revs=maybe(2, numbers(32)),
        wheel_time_2048=maybe(2, numbers(16)),
        crank_revs=maybe(3, numbers(16)),
        crank_time_1024=maybe(3, numbers(16)),
        force_max_n=maybe(4, numbers(16, signed=True)),
        force_min_n=maybe(4, numbers(16, signed=True)),
        torque_max_32=maybe(5, numbers(16, signed=True)),
        torque_min_32=maybe(5, numbers(16, signed=True)),
        extreme_angles=maybe(6, st.tuples(st.integers(0, 360), st.integers(0, 360)).map(lambda a: a[0] | a[1] << 12)),
        top_dead_spot_deg=maybe(7, st.integers(0, 360)),
        bottom_dead_spot_deg=maybe(8, st.integers(0, 360)),
        energy_kj=maybe(9, numbers(16)),
        offset_compensation=draw(st.booleans()),
    )


def scaled(number, unit):
    return None if number is None else number / unit


@given(power_measurements())
def test_cycling_power_is_read_alike(measurement):
    value = cycling_power.encode_power(measurement)

    other = other_decoder().parse_characteristic("2A63", value)

    m = cycling_power.decode_power(value)
    assert m == measurement
    assert other.instantaneous_power == m.power_w
    assert other.pedal_power_balance == m.balance_pct
    assert other.accumulated_torque == scaled(m.torque_total_32, 32)
    assert other.cumulative_wheel_revolutions == m.wheel_revs
    assert other.last_wheel_event_time == scaled(m.wheel_time_2048, 2048)
    assert other.cumulative_crank_revolutions == m.crank_revs
    assert other.last_crank_event_time == scaled(m.crank_time_1024, 1024)
    assert (other.maximum_force_magnitude, other.minimum_force_magnitude) == (m.force_max_n, m.force_min_n)
    assert other.maximum_torque_magnitude == scaled(m.torque_max_32, 32)
    assert other.minimum_torque_magnitude == scaled(m.torque_min_32, 32)
    assert (other.maximum_angle, other.minimum_angle) == (m.angle_max_deg, m.angle_min_deg)
    assert (other.top_dead_spot_angle, other.bottom_dead_spot_angle) == (m.top_dead_spot_deg, m.bottom_dead_spot_deg)
    assert other.accumulated_energy == m.energy_kj


@given(st.tuples(numbers(32), numbers(16)) | st.none(), st.tuples(numbers(16), numbers(16)) | st.none())
def test_speed_and_cadence_are_read_alike(wheel, crank):
    value = sensors_sending.csc(csc.CscMeasurement(*(wheel or (None, None)), *(crank or (None, None))))

    other = other_decoder().parse_characteristic("2A5B", value)

    m = csc.decode_csc(value)
    assert other.cumulative_wheel_revolutions == m.wheel_revs
    assert other.last_wheel_event_time == scaled(m.wheel_time_1024, 1024)
    assert other.cumulative_crank_revolutions == m.crank_revs
    assert other.last_crank_event_time == scaled(m.crank_time_1024, 1024)


@given(
    st.lists(numbers(16, signed=True), min_size=1, max_size=9),
    st.booleans(),
    st.sampled_from(cycling_power_vector.Direction),
)
def test_power_vectors_are_read_alike(array, forces, direction):
    arrays = {"force_n": tuple(array)} if forces else {"torque_32": tuple(array)}
    vector = cycling_power_vector.PowerVector(first_angle_deg=45, direction=direction, **arrays)
    value = cycling_power_vector.encode_vector(vector)

    other = other_decoder().parse_characteristic("2A64", value)

    assert cycling_power_vector.decode_vector(value) == vector
    assert other.first_crank_measurement_angle == 45
    assert list(other.instantaneous_force_magnitude_array or []) == list(vector.force_n)
    assert list(other.instantaneous_torque_magnitude_array or []) == [t / 32 for t in vector.torque_32]
    assert int(other.instantaneous_measurement_direction) == direction


BIKE = {
    "instantaneous_speed": ("speed_hundredth_km_h", 16, False, 100),
    "average_speed": ("mean_speed_hundredth_km_h", 16, False, 100),
    "instantaneous_cadence": ("cadence_half_rpm", 16, False, 2),
    "average_cadence": ("mean_cadence_half_rpm", 16, False, 2),
    "total_distance": ("distance_m", 24, False, 1),
    "instantaneous_power": ("power_w", 16, True, 1),
    "average_power": ("mean_power_w", 16, True, 1),
    "heart_rate": ("heart_rate_bpm", 8, False, 1),
    "elapsed_time": ("elapsed_s", 16, False, 1),
    "remaining_time": ("remaining_s", 16, False, 1),
}


@given(st.fixed_dictionaries({}, optional={name: numbers(bits, signed=s) for name, bits, s, _ in BIKE.values()}))
def test_indoor_bikes_are_read_alike(fields):
    value = sensors_sending.indoor_bike(indoor_bike.IndoorBikeData(**fields))

    other = other_decoder().parse_characteristic("2AD2", value)

    bike = indoor_bike.decode_indoor_bike(value)
    for theirs, (ours, _, _, unit) in BIKE.items():
        expected = scaled(getattr(bike, ours), unit)
        assert getattr(other, theirs) == (None if expected is None else pytest.approx(expected, rel=1e-12))
