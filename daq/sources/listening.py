"""Listens to a port for some seconds, at one baud after the other, until the device is recognised."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import replace

from daq.sources.serial_port import PortGone, open_port
from daq.sources.sniff import PortFinding, look_at
from daq.wire.board import Command, CommandOp, encode_command

BAUDS = (921_600, 115_200, 9_600, 250_000, 19_200, 38_400, 57_600, 230_400, 460_800)
"""Common baud rates of boards and transmitters, in the order worth trying."""


def listen(path: str, baud: int, seconds: float) -> list[tuple[int, bytes]]:
    """What arrives on the port, in pieces with their receipt times in microseconds; a hello is requested. Raises
    PortTrouble.
    """
    pieces: list[tuple[int, bytes]] = []
    with open_port(path, baud) as port:
        try:
            port.write_timeout = 0
            port.write(encode_command(Command(1, CommandOp.HELLO)))
            end_s = time.monotonic() + seconds
            while (left_s := end_s - time.monotonic()) > 0.0:
                port.timeout = left_s
                got = port.read()
                if got:
                    pieces.append((time.monotonic_ns() // 1000, got + port.read(port.in_waiting)))
        except OSError as error:
            raise PortGone(f"{path} has gone while it was listened to ({error.strerror})") from error
    return pieces


def probe(
    path: str, *, bauds: Sequence[int] = BAUDS, seconds: float = 3.0, trying: Callable[[int], None] = lambda _: None
) -> tuple[int, PortFinding]:
    """The baud and what the port is; without a result, the last baud and why not. Raises PortTrouble. A wrong baud
    gives garbage, not silence: if nothing arrives, other bauds are not tried.
    """
    for baud in bauds:
        trying(baud)
        found = look_at(listen(path, baud, seconds), baud=baud)
        if found.legible:
            return baud, found
    return baud, replace(found, words=f"{found.words}. {_advice(bauds)}")


def _advice(bauds: Sequence[int]) -> str:
    """What to do about bytes that make no sense at any of these."""
    if len(bauds) == 1:
        return "Another baud? Without --baud the usual ones are tried"
    return (
        f"They make no sense at any of {', '.join(map(str, bauds))} baud: a device with another protocol, "
        "two wires swapped, or noise on an open line"
    )
