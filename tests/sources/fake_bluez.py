"""A Bluetooth service for tests: org.bluez as far as a scan, a connection, reading, writing and notifying need it,
on a private message bus. Object paths and properties are those of BlueZ's D-Bus interface (org.bluez.Adapter,
org.bluez.Device, org.bluez.GattService, org.bluez.GattCharacteristic; BlueZ documentation), as bleak reads them.
"""

import asyncio
import contextlib
import subprocess
from typing import Annotated

from dbus_fast.aio import MessageBus
from dbus_fast.annotations import (
    DBusBool,
    DBusBytes,
    DBusDict,
    DBusInt16,
    DBusObjectPath,
    DBusSignature,
    DBusStr,
)
from dbus_fast.constants import PropertyAccess
from dbus_fast.errors import DBusError
from dbus_fast.service import ServiceInterface, dbus_method, dbus_property

ADAPTER = "/org/bluez/hci0"
Strings = Annotated[list[str], DBusSignature("as")]
CONFIG = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <listen>unix:path={socket}</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow send_destination="*" eavesdrop="true"/><allow eavesdrop="true"/><allow own="*"/>
  </policy>
</busconfig>
"""


class Bus:
    """A dbus-daemon of our own in this folder."""

    def __init__(self, folder):
        self.socket = folder / "bus"
        self.address = f"unix:path={self.socket}"
        self._config = folder / "bus.conf"
        self._config.write_text(CONFIG.format(socket=self.socket))
        self._daemon = None

    def start(self):
        """Return when it listens."""
        command = ["dbus-daemon", f"--config-file={self._config}", "--nofork", "--nopidfile", "--print-address=1"]
        self._daemon = subprocess.Popen(command, stdout=subprocess.PIPE)
        assert self._daemon.stdout.readline()

    def stop(self):
        """End it, as a crash would."""
        if self._daemon is not None:
            self._daemon.kill()
            self._daemon.wait()
            self._daemon.stdout.close()
            self._daemon = None
            self.socket.unlink(missing_ok=True)


class Adapter(ServiceInterface):
    """hci0."""

    def __init__(self, bluez):
        super().__init__("org.bluez.Adapter1")
        self.powered = True
        self.roles = ["central", "peripheral"]
        self.scanning = False
        self.refused_scans = 0
        self._bluez = bluez

    @dbus_property(access=PropertyAccess.READ, name="Powered")
    def powered_now(self) -> DBusBool:
        return self.powered

    @dbus_property(access=PropertyAccess.READ, name="Roles")
    def roles_now(self) -> Strings:
        return self.roles

    @dbus_property(access=PropertyAccess.READ, name="Address")
    def address(self) -> DBusStr:
        return "00:00:00:00:00:01"

    @dbus_method(name="SetDiscoveryFilter")
    def filter(self, _wanted: DBusDict) -> None:
        pass

    @dbus_method(name="StartDiscovery")
    async def start(self) -> None:
        if self.scanning:
            self.refused_scans += 1
            raise DBusError("org.bluez.Error.InProgress", "Operation already in progress")
        self.scanning = True
        self._heard = asyncio.ensure_future(self._hear())

    @dbus_method(name="StopDiscovery")
    async def stop(self) -> None:
        self.scanning = False
        self._heard.cancel()

    async def _hear(self):
        while True:
            for device in self._bluez.devices.values():
                device.advertise()
            await asyncio.sleep(0.05)


class Device(ServiceInterface):
    """One sensor."""

    def __init__(self, bluez, address, name, rssi_dbm, uuids):
        super().__init__("org.bluez.Device1")
        self._bluez, self.own_address, self.own_name, self.rssi_dbm, self.own_uuids = (
            bluez,
            address,
            name,
            rssi_dbm,
            uuids,
        )
        self.path = f"{ADAPTER}/dev_{address.replace(':', '_')}"
        self.connected_now = False
        self.in_range = True
        self.refuses = ""
        self.connects = 0
        self.characteristics = {}

    @dbus_property(access=PropertyAccess.READ, name="Address")
    def address(self) -> DBusStr:
        return self.own_address

    @dbus_property(access=PropertyAccess.READ, name="Name")
    def name_now(self) -> DBusStr:
        return self.own_name

    @dbus_property(access=PropertyAccess.READ, name="Alias")
    def alias(self) -> DBusStr:
        return self.own_name

    @dbus_property(access=PropertyAccess.READ, name="Adapter")
    def adapter(self) -> DBusObjectPath:
        return ADAPTER

    @dbus_property(access=PropertyAccess.READ, name="UUIDs")
    def uuids(self) -> Strings:
        return self.own_uuids

    @dbus_property(access=PropertyAccess.READ, name="RSSI")
    def rssi(self) -> DBusInt16:
        return self.rssi_dbm

    @dbus_property(access=PropertyAccess.READ, name="Connected")
    def connected(self) -> DBusBool:
        return self.connected_now

    @dbus_property(access=PropertyAccess.READ, name="ServicesResolved")
    def resolved(self) -> DBusBool:
        return self.connected_now

    @dbus_property(access=PropertyAccess.READ, name="Paired")
    def paired(self) -> DBusBool:
        return False

    @dbus_method(name="Connect")
    async def connect(self) -> None:
        if not self.in_range or self.refuses:
            raise DBusError("org.bluez.Error.Failed", self.refuses or "le-connection-abort-by-peer")
        self.connects += 1
        self._be(True)

    @dbus_method(name="Disconnect")
    async def disconnect(self) -> None:
        self.lose()

    def advertise(self):
        """What a scan hears of it."""
        if self.in_range:
            self.emit_properties_changed({"RSSI": self.rssi_dbm, "UUIDs": self.own_uuids})

    def lose(self):
        """The link ends: notifications end with it, as BlueZ has it."""
        for characteristic in self.characteristics.values():
            characteristic.notifying = False
        self._be(False)

    def notify(self, uuid, payload):
        """Send a value, if anybody has asked for it. Whether anybody has."""
        characteristic = self.characteristics[uuid]
        if characteristic.notifying:
            characteristic.value_now = payload
            characteristic.emit_properties_changed({"Value": payload})
        return characteristic.notifying

    def _be(self, connected):
        self.connected_now = connected
        self.emit_properties_changed({"Connected": connected, "ServicesResolved": connected})


class Service(ServiceInterface):
    """One GATT service."""

    def __init__(self, uuid, device_path):
        super().__init__("org.bluez.GattService1")
        self._uuid, self._device_path = uuid, device_path

    @dbus_property(access=PropertyAccess.READ, name="UUID")
    def uuid(self) -> DBusStr:
        return self._uuid

    @dbus_property(access=PropertyAccess.READ, name="Device")
    def device(self) -> DBusObjectPath:
        return self._device_path


class Characteristic(ServiceInterface):
    """One characteristic; `answer` makes a control point's indication from what was written."""

    def __init__(self, uuid, service_path, flags, value=b"", answer=None):
        super().__init__("org.bluez.GattCharacteristic1")
        self._uuid, self._service_path, self._flags, self.value_now, self._answer = (
            uuid,
            service_path,
            flags,
            value,
            answer,
        )
        self.notifying = False
        self.starts = 0
        self.broken = False

    @dbus_property(access=PropertyAccess.READ, name="UUID")
    def uuid(self) -> DBusStr:
        return self._uuid

    @dbus_property(access=PropertyAccess.READ, name="Service")
    def service(self) -> DBusObjectPath:
        return self._service_path

    @dbus_property(access=PropertyAccess.READ, name="Flags")
    def flags(self) -> Strings:
        return self._flags

    @dbus_property(access=PropertyAccess.READ, name="Value")
    def value(self) -> DBusBytes:
        return self.value_now

    @dbus_method(name="ReadValue")
    async def read(self, _options: DBusDict) -> DBusBytes:
        if self.broken:
            raise DBusError("org.bluez.Error.Failed", "Not connected")
        return self.value_now

    @dbus_method(name="WriteValue")
    async def write(self, value: DBusBytes, _options: DBusDict) -> None:
        if not self.notifying:
            raise DBusError("org.bluez.Error.Failed", "Operation failed with ATT error: 0xfd")
        if self._answer is not None:
            self.value_now = self._answer(bytes(value))
            asyncio.get_running_loop().call_soon(self.emit_properties_changed, {"Value": self.value_now})

    @dbus_method(name="StartNotify")
    async def start_notify(self) -> None:
        self.starts += 1
        self.notifying = True

    @dbus_method(name="StopNotify")
    async def stop_notify(self) -> None:
        self.notifying = False


class FakeBluez:
    """The service on a bus; use it as an async context manager."""

    def __init__(self, address):
        self._address = address
        self.adapter = Adapter(self)
        self.devices = {}
        self._bus = None

    async def start(self, *, with_adapter=True):
        self._bus = await MessageBus(bus_address=self._address).connect()
        if with_adapter:
            self._bus.export(ADAPTER, self.adapter)
        await self._bus.request_name("org.bluez")

    def add(self, address, name, services, *, rssi_dbm=-60):
        """A sensor with {service uuid: {characteristic uuid: (flags, value, answer or nothing)}}."""
        device = Device(self, address, name, rssi_dbm, list(services))
        self.devices[name] = device
        self._bus.export(device.path, device)
        for i, (uuid, characteristics) in enumerate(services.items()):
            path = f"{device.path}/service{16 * i + 1:04x}"
            self._bus.export(path, Service(uuid, device.path))
            for j, (char_uuid, content) in enumerate(characteristics.items()):
                characteristic = Characteristic(char_uuid, path, *content)
                device.characteristics[char_uuid] = characteristic
                self._bus.export(f"{path}/char{16 * i + 2 + j:04x}", characteristic)
        return device

    def switch(self, on):
        """The adapter's power; off ends every link."""
        self.adapter.powered = on
        if not on:
            for device in self.devices.values():
                if device.connected_now:
                    device.lose()
        self.adapter.emit_properties_changed({"Powered": on})

    async def stop(self):
        """Vanish without a word, as a crash does."""
        if self._bus is not None:
            self._bus.disconnect()
            with contextlib.suppress(Exception):
                await self._bus.wait_for_disconnect()
            self._bus = None
