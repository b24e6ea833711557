"""A power meter, as a Bluetooth service."""

from daq.wire import battery, cycling_power, cycling_power_control, cycling_power_vector

CRANK = "AA:BB:CC:00:00:01"

MEASUREMENT = cycling_power.MEASUREMENT_UUID

NOTIFIES = ["notify"]


def zeroed(request):
    """Offset 320/32 N m; the answer's layout is that of the GATT Specification Supplement."""
    return bytes([0x20, request[0], 0x01]) + (320).to_bytes(2, "little")


def power_services(*, feature=0x10208, level=80, answer=zeroed):
    """Crank data, offset compensation and torque based: bits 3, 9 and 16 of the feature."""
    return {
        cycling_power.SERVICE_UUID: {
            MEASUREMENT: (NOTIFIES,),
            cycling_power_vector.VECTOR_UUID: (NOTIFIES,),
            cycling_power_control.FEATURE_UUID: (["read"], feature.to_bytes(4, "little")),
            cycling_power_control.CONTROL_POINT_UUID: (["write", "indicate"], b"", answer),
        },
        battery.SERVICE_UUID: {battery.LEVEL_UUID: (["read", "notify"], bytes([level]))},
    }
