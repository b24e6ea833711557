"""What sensors send and the daemon only reads: encoders for the tests of its decoders."""

from daq.wire.csc import FIELDS as CSC_FIELDS
from daq.wire.cycling_power_control import RESPONSE, Distribution
from daq.wire.fields import put, put_fields
from daq.wire.indoor_bike import FIELDS as BIKE_FIELDS
from daq.wire.indoor_bike import MORE_DATA, SPEED


def csc(measurement):
    flags, payload = put_fields(measurement, CSC_FIELDS)
    return bytes([flags]) + payload


def indoor_bike(bike):
    speed_flag, speed = put_fields(bike, (SPEED,))
    flags, payload = put_fields(bike, BIKE_FIELDS)
    return put(flags | (speed_flag ^ MORE_DATA), 2, "flags") + speed + payload


def feature(feature, distribution=Distribution.UNSPECIFIED):
    return put(feature | distribution << 20, 4, "features")


def response(response):
    return bytes([RESPONSE, response.op, response.result]) + response.parameter
