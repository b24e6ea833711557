"""A sensor over Bluetooth LE: found by scanning, connected, listened to, and found again after a loss. Values, whether
notified or read once after connecting, are passed on as bytes with their receipt time; `daq.wire` decodes them. Only
the battery is handled here, because it concerns the link.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable, Collection

from bleak import BleakClient
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.device import BLEDevice

from daq.rig import BleSensor
from daq.sources.clock import SessionClock
from daq.sources.radio import FAILURES, BluetoothTrouble, Radio, SensorInRange, plain_trouble
from daq.wire import battery, csc, cycling_power, cycling_power_control, cycling_power_vector, heart_rate, indoor_bike
from daq.wire.cycling_power_control import Feature

SCAN_S = 8.0
BACK_OFF_S = (0.5, 1.0, 2.0, 5.0, 10.0)
SILENT_S = 10.0
"""Silence of a connected sensor after which a value is read, to see whether the link is still alive."""
ANSWER_S = 30.0
"""The control point's own time-out; Cycling Power Service, from memory."""
READ_S = 5.0
BATTERY_LOW_PCT = 20
READ_ONCE = (cycling_power_control.FEATURE_UUID, csc.FEATURE_UUID, battery.LEVEL_UUID)
READABLE = {
    "power": "a power measurement (Cycling Power or Indoor Bike Data)",
    "cadence": "crank revolutions (Speed and Cadence or Cycling Power)",
    "heart": "a heart rate",
}


def wanted_of(kind: str, there: Collection[str], feature: Feature | None) -> list[str]:
    """Which of a sensor's characteristics to subscribe to. kind: power, cadence or heart. If a sensor sends the same
    data twice, as many do, only one is used: two counters for one crank would be added up. feature: of its Cycling
    Power service.
    """
    if kind == "heart":
        first = [heart_rate.MEASUREMENT_UUID]
    elif kind == "cadence":
        first = _first_of(there, csc.MEASUREMENT_UUID, cycling_power.MEASUREMENT_UUID)
    else:
        first = _first_of(there, cycling_power.MEASUREMENT_UUID, indoor_bike.INDOOR_BIKE_UUID)
        sends_crank = first == [cycling_power.MEASUREMENT_UUID] and (feature is None or Feature.CRANK in feature)
        if first and not sends_crank:
            first.append(csc.MEASUREMENT_UUID)
        first.append(cycling_power_vector.VECTOR_UUID)
    return [uuid for uuid in (*first, battery.LEVEL_UUID) if uuid in there]


def _first_of(there: Collection[str], *uuids: str) -> list[str]:
    return [uuid for uuid in uuids if uuid in there][:1]


class BleLink:
    """Keeps one sensor connected. `message` says in one sentence what is wrong, empty when nothing is."""

    def __init__(
        self,
        sensor: BleSensor,
        kind: str,
        radio: Radio,
        clock: SessionClock,
        on_value: Callable[[int, str, bytes], None],
        on_note: Callable[[str, str], None] = lambda *_: None,
    ) -> None:
        self._sensor, self._kind, self._radio, self._clock = sensor, kind, radio, clock
        self._on_value, self._on_note = on_value, on_note
        self._client: BleakClient | None = None
        self._feature: Feature | None = None
        self._battery_told = False
        self._value_s = 0.0
        self._asking = asyncio.Lock()
        self.message = f"looking for the {kind} sensor"

    async def run(self) -> None:
        """Find, connect, listen, and again after a loss, until cancelled."""
        failures = 0
        while True:
            try:
                device = await self._find()
                await self._listen(device)
                failures = 0
                self.message = f"the {self._kind} sensor has gone; looking for it again"
            except BluetoothTrouble as trouble:
                self.message = str(trouble)
            except FAILURES as error:
                self.message = plain_trouble(error)
            await asyncio.sleep(BACK_OFF_S[min(failures, len(BACK_OFF_S) - 1)])
            failures += 1

    async def compensate_offset(self) -> str:
        """Ask the sensor to find its own zero, and report the result. The crank has to be unloaded meanwhile. Raises
        BluetoothTrouble if it is not connected, cannot do it, or fails.
        """
        client = self._client
        if client is None or not client.is_connected:
            raise BluetoothTrouble(f"the {self._kind} sensor is not connected")
        if self._feature is None or Feature.OFFSET_COMPENSATION not in self._feature:
            raise BluetoothTrouble(f"the {self._kind} sensor says that it cannot set its zero on request")
        async with self._asking:
            try:
                answer = await self._ask(client, cycling_power_control.ControlOp.START_OFFSET_COMPENSATION)
            except FAILURES as error:
                raise BluetoothTrouble(f"the sensor did not set its zero: {plain_trouble(error)}") from error
        result = cycling_power_control.decode_response(answer)
        if result.result is not cycling_power_control.ControlResult.SUCCESS:
            why = result.result.name.lower().replace("_", " ")
            raise BluetoothTrouble(f"the sensor did not set its zero ({why}): is the crank still and unloaded?")
        if result.raw_offset is None:
            return "zero set; the sensor gives no offset"
        by_torque = Feature.TORQUE_BASED in self._feature
        return f"zero set, offset {result.raw_offset / 32:g} N m" if by_torque else f"zero set, {result.raw_offset} N"

    async def _find(self) -> BLEDevice:
        sensor = self._sensor

        def wanted(seen: SensorInRange) -> bool:
            return seen.address.lower() == sensor.address.lower() if sensor.address else seen.name == sensor.name

        device, seen = await self._radio.find(wanted, SCAN_S)
        if device is None:
            others = [str(one) for one in seen if one.services]
            in_range = f"in range: {', '.join(others)}" if others else "no other sensor is in range"
            raise BluetoothTrouble(
                f"{self._kind} sensor {sensor.name or sensor.address} not found: turn the cranks to wake it, "
                f"and see that no other device holds it; {in_range}"
            )
        return device

    async def _listen(self, device: BLEDevice) -> None:
        """Connected from here until it is lost."""
        gone = asyncio.Event()
        client = BleakClient(device, disconnected_callback=lambda _: gone.set())
        await self._radio.connect(client)
        self._client = client
        try:
            await self._begin(client)
            self.message = ""
            await self._until_lost(client, gone)
        finally:
            self._client = None
            with contextlib.suppress(*FAILURES):
                await client.disconnect()

    async def _begin(self, client: BleakClient) -> None:
        """Read the one-time values and start the notifications; both again after every connect."""
        there = list(client.services.characteristics.values())
        for characteristic in there:
            if characteristic.uuid in READ_ONCE and "read" in characteristic.properties:
                value = await self._read(client, characteristic)
                if characteristic.uuid == cycling_power_control.FEATURE_UUID:
                    with contextlib.suppress(ValueError):
                        self._feature, _ = cycling_power_control.decode_feature(value)
        notifying = {one.uuid: one for one in reversed(there) if "notify" in one.properties}
        wanted = wanted_of(self._kind, notifying, self._feature)
        if not set(wanted) - {battery.LEVEL_UUID, cycling_power_vector.VECTOR_UUID}:
            raise BluetoothTrouble(
                f"{self._sensor.name or self._sensor.address} does not send {READABLE[self._kind]}: "
                "is it the sensor meant in the rig file?"
            )
        for uuid in wanted:
            await client.start_notify(notifying[uuid], self._notified)
        self._value_s = time.monotonic()

    async def _read(self, client: BleakClient, characteristic: BleakGATTCharacteristic) -> bytes:
        async with asyncio.timeout(READ_S):
            value = bytes(await client.read_gatt_char(characteristic))
        self._take(characteristic.uuid, value)
        return value

    def _notified(self, characteristic: BleakGATTCharacteristic, payload: bytearray) -> None:
        self._value_s = time.monotonic()
        self._take(characteristic.uuid, bytes(payload))

    def _take(self, uuid: str, value: bytes) -> None:
        self._on_value(self._clock.stamp_us(), uuid, value)
        if uuid == battery.LEVEL_UUID:
            with contextlib.suppress(ValueError):
                self._judge_battery(battery.decode_battery(value))

    def _judge_battery(self, level_pct: int) -> None:
        """Reported once while it is low, not at every notification."""
        is_low = level_pct <= BATTERY_LOW_PCT
        if is_low and not self._battery_told:
            self._on_note("caution", f"{self._kind} sensor: battery at {level_pct} %, change it before the next sweep")
        self._battery_told = is_low

    async def _until_lost(self, client: BleakClient, gone: asyncio.Event) -> None:
        while not gone.is_set():
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(SILENT_S):
                    await gone.wait()
            if not gone.is_set() and time.monotonic() - self._value_s > SILENT_S:
                await self._see_whether_alive(client)

    async def _see_whether_alive(self, client: BleakClient) -> None:
        """A crashed Bluetooth service sends no signal: ask for a value. A failure ends this connection."""
        for characteristic in client.services.characteristics.values():
            if characteristic.uuid in READ_ONCE and "read" in characteristic.properties:
                await self._read(client, characteristic)
                return

    async def _ask(self, client: BleakClient, op: cycling_power_control.ControlOp) -> bytes:
        """The control point's answer: subscribe to indications first, then send the request. TimeoutError if none
        comes."""
        point = cycling_power_control.CONTROL_POINT_UUID
        answered: asyncio.Future[bytes] = asyncio.get_running_loop().create_future()

        def indicated(_: BleakGATTCharacteristic, payload: bytearray) -> None:
            if not answered.done():
                answered.set_result(bytes(payload))

        await client.start_notify(point, indicated)
        try:
            await client.write_gatt_char(point, cycling_power_control.encode_request(op), response=True)
            async with asyncio.timeout(ANSWER_S):
                return await answered
        finally:
            await client.stop_notify(point)
