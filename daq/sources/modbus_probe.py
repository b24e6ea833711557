"""Asks one Modbus unit for two words and shows every number they could represent."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from pymodbus.client import AsyncModbusSerialClient
from pymodbus.exceptions import ModbusException

from daq.sources.modbus_link import INPUT_REGISTERS, REFUSALS
from daq.sources.ports import TERMINAL_ERRORS
from daq.sources.serial_port import PARITIES, open_port
from daq.wire.modbus import KINDS, WORD_ORDERS, Register, number_in

BAUDS = (9_600, 19_200, 115_200, 38_400, 57_600)
TRIED_PARITIES = ("none", "even")
TIMEOUT_S = 0.3


@dataclass(frozen=True, slots=True)
class ModbusFinding:
    """What a unit answered."""

    answered: bool
    words: str
    baud: int
    parity: str
    readings: tuple[tuple[str, str, float], ...] = ()
    """kind, word order, number: one of them is the load in the device's steps."""


async def ask(
    path: str,
    *,
    unit: int,
    function: int,
    address: int,
    bauds: Sequence[int] = BAUDS,
) -> ModbusFinding:
    """The first answer of a unit over these settings; the reason if there is none. Raises PortTrouble."""
    open_port(path, bauds[0]).close()
    found = ModbusFinding(False, "no settings to try", bauds[0], "none")
    for baud, parity in itertools.product(bauds, TRIED_PARITIES):
        client = AsyncModbusSerialClient(
            path, baudrate=baud, parity=PARITIES[parity], timeout=TIMEOUT_S, retries=0, reconnect_delay=0
        )
        try:
            if await client.connect():
                found = await _ask_once(client, unit, function, address, baud, parity)
        except TERMINAL_ERRORS:  # not every port has every baud and parity
            continue
        finally:
            client.close()
        if found.answered:
            return found
    tried = f"{', '.join(map(str, bauds))} baud, parity {' and '.join(TRIED_PARITIES)}"
    return ModbusFinding(
        False,
        f"unit {unit} does not answer at {tried}: unit number, or the two wires swapped",
        found.baud,
        found.parity,
    )


async def _ask_once(
    client: AsyncModbusSerialClient, unit: int, function: int, address: int, baud: int, parity: str
) -> ModbusFinding:
    read = client.read_input_registers if function == INPUT_REGISTERS else client.read_holding_registers
    try:
        answer = await read(address, count=2, device_id=unit)
    except (ModbusException, OSError):
        return ModbusFinding(False, "", baud, parity)
    if answer.isError():
        what = REFUSALS.get(answer.exception_code, f"answers with exception {answer.exception_code}")
        return ModbusFinding(True, f"unit {unit} answers, but {what.format(function=function)}", baud, parity)
    return ModbusFinding(True, f"unit {unit} answers", baud, parity, readings_of(answer.registers))


def readings_of(words: Sequence[int]) -> tuple[tuple[str, str, float], ...]:
    """Every number two words could represent: kind, word order, value."""
    found = []
    for kind, order in itertools.product(KINDS, WORD_ORDERS):
        register = Register("load", 0, kind, order)
        if register.words == 1 and order != "big":
            continue
        found.append((kind, order, number_in(register, list(words)[: register.words])))
    return tuple(found)
