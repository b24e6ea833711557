"""Bought transmitters on a Modbus RTU line: asked in turn, as often as the rig file says.

One poll asks every unit on the line once. The answers of a poll are passed on together, as bytes; `daq.wire` decodes
them.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable, Mapping, Sequence

from pymodbus.client import AsyncModbusSerialClient
from pymodbus.exceptions import ModbusException
from pymodbus.pdu import ModbusPDU

from daq.rig import ModbusTransmitter
from daq.sources.clock import SessionClock
from daq.sources.ports import TERMINAL_ERRORS
from daq.sources.serial_port import BACK_OFF_S, PARITIES, PortGone, PortTrouble, find_port, open_port
from daq.wire.modbus import Register, request_for
from daq.wire.modbus_poll import encode_poll

INPUT_REGISTERS = 4
TOLD_AFTER = 3
"""This many failures in a row are a fault; a single one is line noise, and counted."""
REFUSALS = {
    1: "does not know function {function}: is it function 3 or 4?",
    2: "has no register there: is the address base right, and the word count of its kind?",
    3: "refuses the number of words: can it give all registers in one request?",
    4: "reports a failure of its own",
    6: "is busy: poll slower",
}
"""Exception codes; Modbus Application Protocol V1.1b3, 7."""

# Each failed poll is counted and shown with the sensors; the library would print it too, many times a second.
logging.getLogger("pymodbus.logging").setLevel(logging.CRITICAL)


class UnitTrouble(Exception):
    """One unit gave no load; the text says why and what to check."""


class ModbusLink:
    """Keeps polling. `message` says in one sentence what is wrong, empty if nothing is. Each poll is passed on as its
    bytes, and as no bytes when the port has just been opened.
    """

    def __init__(
        self,
        table: ModbusTransmitter,
        units: Mapping[int, Sequence[Register]],
        clock: SessionClock,
        on_bytes: Callable[[int, bytes], None],
    ) -> None:
        """units: the registers of each unit number."""
        self._table = table
        self._units = units
        self._clock = clock
        self._on_bytes = on_bytes
        self._failures = dict.fromkeys(units, 0)
        self._troubles: dict[int, str] = {}
        self._port_message = "looking for the transmitter"
        self._number = 0

    @property
    def message(self) -> str:
        return self._port_message or "; ".join(self._troubles.values())

    async def run(self) -> None:
        """Connect, poll, and connect again after a loss, until cancelled."""
        failures = 0
        while True:
            try:
                client = await self._connect()
                self._port_message = ""
                failures = 0
                try:
                    await self._poll_until_gone(client)
                finally:
                    client.close()
            except PortTrouble as trouble:
                self._port_message = str(trouble)
            await asyncio.sleep(BACK_OFF_S[min(failures, len(BACK_OFF_S) - 1)])
            failures += 1

    async def _connect(self) -> AsyncModbusSerialClient:
        """The client on its port. We try the port first: our error messages are clearer."""
        table = self._table
        path = find_port(table)
        open_port(path, table.baud, parity=table.parity).close()
        client = AsyncModbusSerialClient(
            path,
            baudrate=table.baud,
            parity=PARITIES[table.parity],
            timeout=table.timeout_s,
            retries=0,
            reconnect_delay=0,
        )
        try:
            connected = await client.connect()
        except TERMINAL_ERRORS as error:
            raise PortTrouble(f"{path} does not take {table.baud} baud, parity {table.parity}: {error}") from error
        if not connected:
            raise PortTrouble(f"{path} could not be opened for Modbus")
        return client

    async def _poll_until_gone(self, client: AsyncModbusSerialClient) -> None:
        loop = asyncio.get_running_loop()
        period_s = 1.0 / self._table.poll_hz
        self._on_bytes(self._clock.stamp_us(), b"")
        due_s = loop.time()
        while True:
            await self._poll(client)
            _heed_cancelling()
            if not client.connected:
                raise PortGone(f"{client.comm_params.host} has gone: is the cable in? It reconnects by itself")
            due_s += period_s
            late = max(0, int((loop.time() - due_s) / period_s))
            self._number += 1 + late
            due_s += late * period_s
            await asyncio.sleep(max(0.0, due_s - loop.time()))

    async def _poll(self, client: AsyncModbusSerialClient) -> None:
        """Ask every unit once and pass on the answers."""
        answers: dict[int, Sequence[int]] = {}
        for unit, registers in self._units.items():
            try:
                answers[unit] = await self._ask(client, unit, registers)
            except UnitTrouble as trouble:
                self._failures[unit] += 1
                if self._failures[unit] >= TOLD_AFTER:
                    self._troubles[unit] = str(trouble)
            else:
                self._failures[unit] = 0
                self._troubles.pop(unit, None)
        poll = encode_poll(self._number, answers, function=self._table.function)
        self._on_bytes(self._clock.stamp_us(), poll)

    async def _ask(self, client: AsyncModbusSerialClient, unit: int, registers: Sequence[Register]) -> Sequence[int]:
        """The words of one unit. Raises UnitTrouble."""
        table = self._table
        address, count = request_for(registers, base=table.address_base)
        read = client.read_input_registers if table.function == INPUT_REGISTERS else client.read_holding_registers
        try:
            answer: ModbusPDU = await read(address, count=count, device_id=unit)
        except (ModbusException, OSError) as error:
            raise UnitTrouble(
                f"unit {unit} does not answer: unit number, baud ({table.baud}), parity ({table.parity}), "
                "or the two wires of the line swapped"
            ) from error
        if answer.isError():
            what = REFUSALS.get(answer.exception_code, f"answers with exception {answer.exception_code}")
            first = min(register.address for register in registers)
            raise UnitTrouble(f"unit {unit}, register {first}: {what.format(function=table.function)}")
        if len(answer.registers) != count:
            raise UnitTrouble(f"unit {unit}: asked for {count} words, got {len(answer.registers)}")
        return answer.registers


def _heed_cancelling() -> None:
    """Raise a cancellation that was swallowed.

    asyncio.wait_for, which the client uses, loses a cancellation that coincides with the answer, up to Python 3.11. The
    link would then poll for ever.
    """
    task = asyncio.current_task()
    if task is not None and task.cancelling():
        raise asyncio.CancelledError
