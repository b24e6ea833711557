"""Reading a serial port on any system. Where the event loop can watch a port, it does. Where it cannot (Windows), a
thread reads: three times the work per byte, and the receipt time is when the loop is notified.
"""

from __future__ import annotations

import asyncio
import os
import threading
from collections.abc import Callable

import serial

try:
    from termios import error as _TermiosError

    TERMINAL_ERRORS: tuple[type[Exception], ...] = (_TermiosError,)
except ImportError:
    TERMINAL_ERRORS = ()
"""Errors, besides OSError, with which an operating system refuses the settings of a port."""

_GONE: tuple[type[Exception], ...] = (OSError, TypeError, *TERMINAL_ERRORS)
"""Errors with which pyserial reports that a port is gone; TypeError for one that was closed meanwhile."""
PORTS_ARE_FILES = os.name != "nt"
"""Whether the event loop can watch a port."""
READ_AT_MOST = 65_536
WAIT_S = 0.05
"""How long a thread waits for a byte before it checks whether to stop."""
RESTS_S = (0.002, 0.01)
"""How long a port rests after its first read and how long at most; each rest is twice the one before until one finds
nothing. A board of 1 kHz sends a frame each millisecond, and to be woken for each of them costs more than the rest of
its path. The frames of a slow board, which come in pieces, are hardly stamped later than they come."""
SOCKET_WAIT_S = 0.005
"""The same for a port over a network, which does not say how much has arrived: everything that arrives in this time is
taken."""
END_OF_DATA = "end of data"


def watch(
    port: serial.Serial,
    on_bytes: Callable[[bytes], None],
    on_gone: Callable[[str], None],
    *,
    rests_s: tuple[float, float] = RESTS_S,
) -> Callable[[], None]:
    """Pass on what arrives, in the running loop, and why it ended; call the returned function to stop watching. on_gone
    is called at most once, and nothing after it.
    """
    if PORTS_ARE_FILES:
        return _by_loop(port, on_bytes, on_gone, rests_s)
    return _by_thread(port, on_bytes, on_gone)


def _by_loop(
    port: serial.Serial, on_bytes: Callable[[bytes], None], on_gone: Callable[[str], None], rests_s: tuple[float, float]
) -> Callable[[], None]:
    loop, descriptor = asyncio.get_running_loop(), port.fileno()
    first_s, most_s = rests_s
    resting: asyncio.TimerHandle | None = None
    rest_s = first_s

    def read(nothing_means: str) -> None:
        nonlocal resting, rest_s
        try:
            got, gone = os.read(descriptor, READ_AT_MOST), nothing_means
        except BlockingIOError:
            got, gone = b"", ""
        except OSError as error:
            got, gone = b"", error.strerror or str(error)
        if got:
            resting = loop.call_later(rest_s, read, "")
            rest_s = min(2.0 * rest_s, most_s)
            on_bytes(got)
        elif gone:
            on_gone(gone)
        else:
            rest_s = first_s
            loop.add_reader(descriptor, wake)

    def wake() -> None:
        loop.remove_reader(descriptor)
        read(END_OF_DATA)

    def end() -> None:
        loop.remove_reader(descriptor)
        if resting is not None:
            resting.cancel()

    loop.add_reader(descriptor, wake)
    return end


def _by_thread(
    port: serial.Serial, on_bytes: Callable[[bytes], None], on_gone: Callable[[str], None]
) -> Callable[[], None]:
    loop, wanted = asyncio.get_running_loop(), threading.Event()
    wanted.set()
    networked = "://" in str(port.port)
    port.timeout = SOCKET_WAIT_S if networked else WAIT_S

    def hear(got: bytes, reason: str) -> None:
        if wanted.is_set():
            on_bytes(got) if got else on_gone(reason)

    def tell(got: bytes, reason: str = "") -> None:
        if not loop.is_closed():
            loop.call_soon_threadsafe(hear, got, reason)

    def read() -> None:
        while wanted.is_set():
            try:
                got = port.read(READ_AT_MOST if networked else max(1, min(port.in_waiting, READ_AT_MOST)))
            except _GONE as error:
                tell(b"", getattr(error, "strerror", None) or str(error))
                return
            if got:
                tell(got)

    thread = threading.Thread(target=read, name="serial port", daemon=True)
    thread.start()

    def end() -> None:
        wanted.clear()
        thread.join(1.0)

    return end


def write(port: serial.Serial, data: bytes) -> int:
    """How many of the bytes the port accepts at once. OSError."""
    if PORTS_ARE_FILES:
        return os.write(port.fileno(), data)
    port.write_timeout = 0
    return int(port.write(data) or 0)
