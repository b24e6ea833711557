"""A board on a serial port: found, opened for itself alone, read as bytes arrive, found again when it was gone.

Bytes are handed on with their receipt time; what they mean is the wire's business.
"""

from __future__ import annotations

import asyncio
import errno
import os
from collections.abc import Callable

import serial
from serial.tools import list_ports

from daq.rig import SerialBoard
from daq.sources.clock import SessionClock

READ_AT_MOST = 65_536
BACK_OFF_S = (0.2, 0.5, 1.0, 2.0, 5.0)


class PortTrouble(Exception):
    """The port cannot be used now; the text says why and what to do."""


class NoPort(PortTrouble):
    """No port fits the rig file."""


class PortBusy(PortTrouble):
    """Another program holds the port."""


class PortGone(PortTrouble):
    """The port was there and is not any more."""


def find_port(board: SerialBoard) -> str:
    """The device path of the rig file's board. Raises NoPort, naming what is plugged in instead."""
    if board.port:
        if os.path.exists(board.port):
            return board.port
        raise NoPort(f"no port {board.port}; {_plugged_in()}")
    for port in list_ports.comports():
        usb_id = f"{port.vid:04x}:{port.pid:04x}" if port.vid is not None else ""
        if board.usb_serial in (None, port.serial_number) and (board.usb_id or usb_id).lower() == usb_id:
            return str(port.device)
    wanted = " ".join(filter(None, (board.usb_id, board.usb_serial)))
    raise NoPort(f"no board {wanted} is plugged in; {_plugged_in()}")


def _plugged_in() -> str:
    ports = [f"{port.device} ({port.description})" for port in list_ports.comports()]
    return "ports here: " + ", ".join(ports) if ports else "no serial port is plugged in"


def open_port(path: str, baud: int) -> serial.Serial:
    """The port, opened for this process alone. Raises PortTrouble."""
    try:
        return serial.Serial(path, baud, timeout=0, write_timeout=1.0, exclusive=True)
    except serial.SerialException as error:
        if error.errno == errno.ENOENT:
            raise NoPort(f"no port {path}; {_plugged_in()}") from error
        if error.errno == errno.EACCES:
            raise PortTrouble(f"no permission for {path}: add this user to its group (often dialout)") from error
        if error.errno in (errno.EBUSY, errno.EAGAIN) or "lock" in str(error):
            raise PortBusy(f"{path} is held by another program: close it, the board is then taken up") from error
        raise PortTrouble(f"{path} cannot be opened: {error}") from error


class SerialLink:
    """Keeps one board connected. `message` says in one sentence what is wrong, empty when nothing is."""

    def __init__(
        self, board: SerialBoard, clock: SessionClock, on_bytes: Callable[[int, bytes], None], *, greeting: bytes = b""
    ) -> None:
        self._board = board
        self._clock = clock
        self._on_bytes = on_bytes
        self._greeting = greeting
        self._port: serial.Serial | None = None
        self.message = "looking for the board"

    async def run(self) -> None:
        """Connect, read, and connect again after a loss, until cancelled."""
        failures = 0
        while True:
            try:
                path = find_port(self._board)
                self._port = open_port(path, self._board.baud)
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
        """Write a command to the board. Raises PortTrouble when no board is connected or it does not take it."""
        if self._port is None:
            raise PortGone("no board is connected")
        try:
            self._port.write(command)
        except (serial.SerialException, OSError) as error:
            raise PortGone(f"the board does not take commands: {error}") from error

    async def _read_until_gone(self, port: serial.Serial, path: str) -> None:
        loop = asyncio.get_running_loop()
        gone: asyncio.Future[str] = loop.create_future()
        descriptor = port.fileno()

        def readable() -> None:
            try:
                got = os.read(descriptor, READ_AT_MOST)
            except BlockingIOError:
                return
            except OSError as error:
                got, reason = b"", error.strerror or str(error)
            else:
                reason = "end of data"
            if got:
                self._on_bytes(self._clock.stamp_us(), got)
            elif not gone.done():
                loop.remove_reader(descriptor)
                gone.set_result(reason)

        loop.add_reader(descriptor, readable)
        try:
            if self._greeting:
                self.send(self._greeting)
            reason = await gone
        finally:
            loop.remove_reader(descriptor)
        raise PortGone(f"{path} has gone ({reason}): is the cable in? It is taken up again by itself")

    def _close(self) -> None:
        if self._port is not None:
            self._port.close()
            self._port = None
