"""Battery Level, characteristic 0x2A19. Bluetooth SIG, GATT Specification Supplement."""

from __future__ import annotations

from daq.wire.fields import BadPayload, Reader, uuid

SERVICE_UUID = uuid(0x180F)
LEVEL_UUID = uuid(0x2A19)


def decode_battery(value: bytes) -> int:
    """The battery's charge, per cent. BadPayload above 100, which is reserved."""
    level = Reader(value, "battery level").take(1, "level")
    if level > 100:
        raise BadPayload(f"battery level: expected 0 to 100 %, got {level}")
    return level
