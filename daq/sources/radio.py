"""The Bluetooth adapter of this computer: the one place that scans and connects.

Adapters refuse a second scan, and many refuse a connect during a scan, so everything here is serialized. Problems with
Bluetooth itself are reported with what to do.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass

from bleak import BleakClient, BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData
from bleak.exc import BleakBluetoothNotAvailableError, BleakBluetoothNotAvailableReason, BleakDBusError, BleakError

from daq.wire import csc, cycling_power, heart_rate, indoor_bike

try:
    from dbus_fast.errors import DBusError
except ImportError:  # only Linux reaches Bluetooth over D-Bus

    class DBusError(Exception):  # type: ignore[no-redef]
        """Never raised here."""

        type = ""


CONNECT_S = 15.0
SERVICES = {
    cycling_power.SERVICE_UUID: "power",
    csc.SERVICE_UUID: "speed and cadence",
    indoor_bike.SERVICE_UUID: "fitness machine",
    heart_rate.SERVICE_UUID: "heart rate",
}
FAILURES = (BleakError, DBusError, OSError, EOFError, TimeoutError)
"""Every error with which Bluetooth reports a failure."""
_NOT_RUNNING = ("ServiceUnknown", "NameHasNoOwner", "NoSuchUnit", "Spawn")
_REASONS = {
    BleakBluetoothNotAvailableReason.NO_BLUETOOTH: "this computer has no Bluetooth adapter: plug one in",
    BleakBluetoothNotAvailableReason.NO_BLE_CENTRAL_ROLE: (
        "this computer's Bluetooth adapter is too old for LE sensors: plug in one for Bluetooth 4.0 or newer"
    ),
    BleakBluetoothNotAvailableReason.POWERED_OFF: (
        "the Bluetooth adapter is switched off: switch it on (bluetoothctl power on; rfkill unblock bluetooth)"
    ),
}


class BluetoothTrouble(Exception):
    """Bluetooth or a sensor cannot be used now; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class SensorInRange:
    """A sensor in range."""

    address: str
    name: str
    rssi_dbm: int
    """Signal strength; below about -85 expect losses (common practice, no source)."""
    services: tuple[str, ...]
    """The services useful on a jig."""

    def __str__(self) -> str:
        what = f", {' and '.join(self.services)}" if self.services else ""
        return f"{self.name or 'without a name'} ({self.address}, {self.rssi_dbm} dBm{what})"


def plain_trouble(error: BaseException) -> str:
    """What a failure of Bluetooth means, in one sentence with the remedy."""
    if isinstance(error, BleakBluetoothNotAvailableError):
        return _REASONS.get(error.reason, "this user may not use Bluetooth: add it to the group bluetooth")
    if isinstance(error, BleakDBusError | DBusError):
        kind = error.dbus_error if isinstance(error, BleakDBusError) else error.type
        if any(part in kind for part in _NOT_RUNNING):
            return "the Bluetooth service is not running: start it (systemctl start bluetooth)"
        if "AccessDenied" in kind:
            return "this user may not use Bluetooth: add it to the group bluetooth"
    if isinstance(error, FileNotFoundError | ConnectionError | EOFError):
        return "no system message bus, so no Bluetooth: install and start dbus and bluez"
    if isinstance(error, TimeoutError):
        return "Bluetooth gave no answer in time: the sensor is out of range, or the adapter hangs"
    return f"Bluetooth: {error or type(error).__name__}"


class Radio:
    """Give one to everything in the process that uses Bluetooth."""

    def __init__(self) -> None:
        self._turn = asyncio.Lock()

    async def scan(self, seconds: float) -> list[SensorInRange]:
        """The sensors in range, strongest first. Raises BluetoothTrouble."""
        seen: dict[str, SensorInRange] = {}

        def take(device: BLEDevice, advertised: AdvertisementData) -> None:
            _note(seen, device, advertised)

        async with self._turn:
            try:
                async with BleakScanner(take):
                    await asyncio.sleep(seconds)
            except FAILURES as error:
                raise BluetoothTrouble(plain_trouble(error)) from error
        return _by_strength(seen)

    async def find(
        self, wanted: Callable[[SensorInRange], bool], seconds: float
    ) -> tuple[BLEDevice | None, list[SensorInRange]]:
        """The first matching sensor, None if it does not appear; and what was in range meanwhile.

        Raises BluetoothTrouble.
        """
        seen: dict[str, SensorInRange] = {}

        def fits(device: BLEDevice, advertised: AdvertisementData) -> bool:
            return wanted(_note(seen, device, advertised))

        async with self._turn:
            try:
                device = await BleakScanner.find_device_by_filter(fits, timeout=seconds)
            except FAILURES as error:
                raise BluetoothTrouble(plain_trouble(error)) from error
        return device, _by_strength(seen)

    async def connect(self, client: BleakClient) -> None:
        """Connect, when it is its turn. Raises BluetoothTrouble."""
        async with self._turn:
            try:
                async with asyncio.timeout(CONNECT_S):
                    await client.connect()
            except FAILURES as error:
                raise BluetoothTrouble(plain_trouble(error)) from error


def _note(seen: dict[str, SensorInRange], device: BLEDevice, advertised: AdvertisementData) -> SensorInRange:
    services = tuple(SERVICES[uuid] for uuid in advertised.service_uuids if uuid in SERVICES)
    name = advertised.local_name or device.name or ""
    seen[device.address] = SensorInRange(device.address, name, advertised.rssi, services)
    return seen[device.address]


def _by_strength(seen: dict[str, SensorInRange]) -> list[SensorInRange]:
    return sorted(seen.values(), key=lambda sensor: -sensor.rssi_dbm)
