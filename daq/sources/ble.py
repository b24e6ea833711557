"""A power sensor over Bluetooth LE: found by scanning, connected, listened to, found again after a loss.

Payloads are handed on with their receipt time; what they mean is the wire's business. One scan or connect at a
time per process, because adapters refuse a second one.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from bleak import BleakClient, BleakScanner
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData
from bleak.exc import BleakBluetoothNotAvailableError, BleakBluetoothNotAvailableReason, BleakDBusError, BleakError

from daq.rig import BleSensor
from daq.sources.clock import SessionClock

CYCLING_POWER_MEASUREMENT = "00002a63-0000-1000-8000-00805f9b34fb"
SCAN_S = 8.0
BACK_OFF_S = (0.5, 1.0, 2.0, 5.0, 10.0)
_RADIO = asyncio.Lock()


class BluetoothTrouble(Exception):
    """Bluetooth or the sensor cannot be used now; the text says why and what to do."""


def plain_trouble(error: BaseException) -> str:
    """What a Bluetooth start-up failure means, in one sentence with the remedy."""
    if isinstance(error, BleakBluetoothNotAvailableError):
        if error.reason is BleakBluetoothNotAvailableReason.POWERED_OFF:
            return "the Bluetooth adapter is switched off: switch it on (bluetoothctl power on)"
        return "this computer has no Bluetooth LE adapter: plug one in"
    if isinstance(error, BleakDBusError) and "ServiceUnknown" in error.dbus_error:
        return "the Bluetooth service is not running: start it (systemctl start bluetooth)"
    if isinstance(error, FileNotFoundError | ConnectionRefusedError | EOFError):
        return "no system message bus, so no Bluetooth: install and start dbus and bluez"
    return f"Bluetooth: {error or type(error).__name__}"


class BleLink:
    """Keeps one power sensor connected. `message` says in one sentence what is wrong, empty when nothing is."""

    def __init__(
        self, sensor: BleSensor, clock: SessionClock, on_notification: Callable[[int, str, bytes], None]
    ) -> None:
        self._sensor = sensor
        self._clock = clock
        self._on_notification = on_notification
        self.message = "looking for the power sensor"

    async def run(self) -> None:
        """Find, connect, listen, and again after a loss, until cancelled."""
        failures = 0
        while True:
            try:
                device = await self._find()
                await self._listen(device)
                failures = 0
                self.message = "the power sensor has gone; looking for it again"
            except (BluetoothTrouble, BleakError, OSError, EOFError, TimeoutError) as error:
                self.message = str(error) if isinstance(error, BluetoothTrouble) else plain_trouble(error)
            await asyncio.sleep(BACK_OFF_S[min(failures, len(BACK_OFF_S) - 1)])
            failures += 1

    async def _find(self) -> BLEDevice:
        wanted = self._sensor

        def fits(device: BLEDevice, advertisement: AdvertisementData) -> bool:
            if wanted.address:
                return device.address.lower() == wanted.address.lower()
            return wanted.name in (device.name, advertisement.local_name)

        async with _RADIO:
            device = await BleakScanner.find_device_by_filter(fits, timeout=SCAN_S)
        if device is None:
            raise BluetoothTrouble(
                f"power sensor {wanted.name or wanted.address} not found: turn the cranks to wake it, "
                "and see that no other device holds it"
            )
        return device

    async def _listen(self, device: BLEDevice) -> None:
        gone = asyncio.Event()

        def notified(_: BleakGATTCharacteristic, payload: bytearray) -> None:
            self._on_notification(self._clock.stamp_us(), CYCLING_POWER_MEASUREMENT, bytes(payload))

        client = BleakClient(device, disconnected_callback=lambda _: gone.set())
        async with _RADIO:
            await client.connect()
        try:
            await client.start_notify(CYCLING_POWER_MEASUREMENT, notified)
            self.message = ""
            await gone.wait()
        finally:
            if client.is_connected:
                await client.disconnect()
