"""A device on a serial port: found, opened exclusively, read as bytes arrive, and found again after a loss.

    PortTrouble          the port cannot be used now
      NoPort             no port fits the rig file, or more than one does
      PortBusy           another program holds it
      NoPermission       this user may not open it
      PortGone it was there and has gone

Bytes are passed on with their receipt time; `daq.wire` decodes them.
"""

from __future__ import annotations

import asyncio
import errno
import os
from collections.abc import Callable

import serial
from serial.tools import list_ports
from serial.tools.list_ports_common import ListPortInfo

from daq.rig import SerialPlace
from daq.sources import ports
from daq.sources.clock import SessionClock

NETWORKED = "://"
"""Instead of a port: a serial line over a network, in pyserial's form (socket://ADDRESS:PORT)."""
BACK_OFF_S = (0.2, 0.5, 1.0, 2.0, 5.0)
PARITIES = {"none": serial.PARITY_NONE, "even": serial.PARITY_EVEN, "odd": serial.PARITY_ODD}


class PortTrouble(Exception):
    """The port cannot be used now; the text says why and what to do."""


class NoPort(PortTrouble):
    """No port fits the rig file, or more than one does."""


class PortBusy(PortTrouble):
    """Another program holds the port."""


class NoPermission(PortTrouble):
    """This user may not open the port."""


class PortGone(PortTrouble):
    """The port was there and has gone."""


def find_port(place: SerialPlace) -> str:
    """The device path of the rig file's device. Raises NoPort, which names what is plugged in instead."""
    if place.port:
        if (
            NETWORKED in place.port
            or os.path.exists(place.port)
            or any(port.device == place.port for port in list_ports.comports())
        ):
            return place.port
        raise NoPort(f"no port {place.port}; {_plugged_in()}")
    wanted = " ".join(filter(None, (place.usb_id, place.usb_serial)))
    fitting = []
    for port in list_ports.comports():
        usb_id = f"{port.vid:04x}:{port.pid:04x}" if port.vid is not None else ""
        if place.usb_serial in (None, port.serial_number) and (place.usb_id or usb_id).lower() == usb_id:
            fitting.append(port)
    if not fitting:
        raise NoPort(f"no device {wanted} is plugged in; {_plugged_in()}")
    if len(fitting) > 1:
        found = ", ".join(f"{port.device} with usb_serial {port.serial_number}" for port in fitting)
        raise NoPort(f"more than one device {wanted} is plugged in ({found}): name one by usb_serial or port")
    return str(fitting[0].device)


def described(port: ListPortInfo) -> str:
    """A port with its device's own description, if any."""
    return f"{port.device} ({port.description})" if port.description not in (None, "n/a") else str(port.device)


def _plugged_in() -> str:
    ports = [described(port) for port in list_ports.comports()]
    return "ports here: " + ", ".join(ports) if ports else "no serial port is plugged in"


def open_port(path: str, baud: int, *, parity: str = "none", data_bits: int = 8) -> serial.Serial:
    """The port, opened for this process alone. Raises PortTrouble."""
    opened = serial.serial_for_url if NETWORKED in path else serial.Serial
    try:
        return opened(path, baud, data_bits, PARITIES[parity], timeout=0, exclusive=True)
    except (serial.SerialException, ValueError, *ports.TERMINAL_ERRORS) as error:
        raise _trouble(path, error) from error


def _trouble(path: str, error: Exception) -> PortTrouble:
    """What a failed open means, and the remedy."""
    number = getattr(error, "errno", None)
    if isinstance(error.__context__, ports.TERMINAL_ERRORS) or number == errno.EISDIR:
        return PortTrouble(f"{path} is not a serial port; {_plugged_in()}")
    if number in (errno.ENOENT, errno.ENODEV, errno.ENXIO):
        return NoPort(f"no port {path}; {_plugged_in()}")
    if number in (errno.EACCES, errno.EPERM):
        return NoPermission(f"no permission for {path}: add this user to its group (often dialout) and log in again")
    if number in (errno.EBUSY, errno.EAGAIN):
        return PortBusy(f"{path} is held by another program, perhaps a foreaft that runs: close that one")
    return PortTrouble(f"{path} cannot be opened: {error}")


class SerialLink:
    """Keeps one device connected. `message` says in one sentence what is wrong with its port, empty if nothing is."""

    def __init__(
        self,
        place: SerialPlace,
        clock: SessionClock,
        on_bytes: Callable[[int, bytes], None],
        *,
        parity: str = "none",
        data_bits: int = 8,
        on_open: Callable[[str], None] = lambda _: None,
    ) -> None:
        self._place = place
        self._clock = clock
        self._on_bytes = on_bytes
        self._parity, self._data_bits = parity, data_bits
        self._on_open = on_open
        self._port: serial.Serial | None = None
        self.message = "looking for the device"

    async def run(self) -> None:
        """Connect, read, and connect again after a loss, until cancelled."""
        failures = 0
        while True:
            try:
                path = find_port(self._place)
                self._port = open_port(path, self._place.baud, parity=self._parity, data_bits=self._data_bits)
                self.message = ""
                failures = 0
                await self._read_until_gone(self._port, path)
            except PortTrouble as trouble:
                self.message = str(trouble)
            finally:
                self._close()
            await asyncio.sleep(BACK_OFF_S[min(failures, len(BACK_OFF_S) - 1)])
            failures += 1

    def send(self, command: bytes) -> None:
        """Write a command to the device, at once or not at all: nothing waits for a device that does not read. Raises
        PortGone if none is connected or it does not accept it.
        """
        if self._port is None:
            raise PortGone("no device is connected")
        try:
            taken = ports.write(self._port, command)
        except OSError as error:
            raise PortGone(f"the device does not take commands: {error.strerror}") from error
        if taken < len(command):
            raise PortGone(f"the device does not take commands: it took {taken} of {len(command)} bytes")

    async def _read_until_gone(self, port: serial.Serial, path: str) -> None:
        gone: asyncio.Future[str] = asyncio.get_running_loop().create_future()

        def heard(got: bytes) -> None:
            self._on_bytes(self._clock.stamp_us(), got)

        def has_gone(reason: str) -> None:
            if not gone.done():
                gone.set_result(reason)

        first_s, most_s = ports.RESTS_S
        rests_s = first_s / self._clock.pace, most_s / self._clock.pace
        end = ports.watch(port, heard, has_gone, rests_s=rests_s)
        try:
            self._on_open(path)
            reason = await gone
        finally:
            end()
        raise PortGone(f"{path} has gone ({reason}): is the cable in? It reconnects by itself")

    def _close(self) -> None:
        if self._port is not None:
            self._port.close()
            self._port = None
