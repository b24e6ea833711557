"""Heart Rate Measurement, characteristic 0x2A37: subscribed to and kept as it came; nothing is computed from it."""

from daq.wire.fields import uuid

SERVICE_UUID = uuid(0x180D)
MEASUREMENT_UUID = uuid(0x2A37)
