"""Tells the service manager that the daemon has started, that it is alive, and its state. The protocol is that of
sd_notify(3): datagrams to the socket named in NOTIFY_SOCKET, at least one within WATCHDOG_USEC. They are sent from the
main event loop, so that a hung loop falls silent.
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import Callable, Mapping

BEATS = 3
"""Reports within one watchdog time."""
EVERY_S = 10.0
"""Without a watchdog."""


async def report_to_manager(environment: Mapping[str, str], status: Callable[[], str]) -> None:
    """Report until cancelled. Without a manager it only waits. status: returns the daemon's state, in one line."""
    address = environment.get("NOTIFY_SOCKET", "")
    if not address:
        await asyncio.Event().wait()
    watchdog_us = int(environment.get("WATCHDOG_USEC", 0))
    every_s = watchdog_us / 1e6 / BEATS if watchdog_us else EVERY_S
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as to_manager:
        to_manager.setblocking(False)
        path = "\0" + address[1:] if address.startswith("@") else address
        _say(to_manager, path, "READY=1")
        try:
            while True:
                _say(to_manager, path, f"WATCHDOG=1\nSTATUS={status()}")
                await asyncio.sleep(every_s)
        finally:
            _say(to_manager, path, "STOPPING=1")


def _say(to_manager: socket.socket, path: str, words: str) -> None:
    """Send one datagram; a manager that does not listen must not end the daemon."""
    with contextlib.suppress(OSError):
        to_manager.sendto(words.encode(), path)
