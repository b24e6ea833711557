"""Stands in for a system that has none of what only Linux or Unix has: `python -m tests.platforms.bare WORDS...` runs
`foreaft WORDS...` on it. It is no Windows; it forces the fall-backs that Windows needs."""

import asyncio
import os
import signal
import sys

MISSING_MODULES = ("uvloop", "fcntl", "termios", "tty", "pty", "pwd", "grp", "resource", "dbus_fast")
MISSING_OF_OS = (
    *("openpty", "ttyname", "set_blocking", "fchmod", "pread", "pwrite", "fork", "getuid", "geteuid", "execv"),
    *("O_CLOEXEC", "O_NONBLOCK", "O_NOCTTY"),
)


class NoReaders(asyncio.SelectorEventLoop):
    """A loop that watches no files and hears no signals, as the one of Windows."""

    def add_reader(self, *_):
        raise NotImplementedError

    def add_signal_handler(self, *_):
        raise NotImplementedError


class Policy(asyncio.DefaultEventLoopPolicy):
    _loop_factory = NoReaders


class Locking:
    """msvcrt.locking as far as the store's lock uses it, by the lock this system has."""

    LK_NBLCK = 2

    def __init__(self, fcntl):
        self._fcntl = fcntl

    def locking(self, descriptor, how, length):
        assert (how, length) == (self.LK_NBLCK, 1)
        try:
            self._fcntl.flock(descriptor, self._fcntl.LOCK_EX | self._fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise PermissionError(13, "Permission denied") from error  # what Windows says of a lock that is held


def strip():
    """Take away what Linux has. Only for a process of its own."""
    import fcntl

    import pymodbus.client  # noqa: F401  it and pyserial have ways of their own on Windows
    import serial.serialposix  # noqa: F401

    sys.modules["msvcrt"] = Locking(fcntl)
    for name in MISSING_MODULES:
        sys.modules[name] = None
    for name in MISSING_OF_OS:
        delattr(os, name)
    del signal.SIGHUP
    asyncio.set_event_loop_policy(Policy())


def main():
    strip()
    from daq.cli import main as foreaft
    from daq.sources import ports

    ports.PORTS_ARE_FILES = False
    foreaft(sys.argv[1:])


if __name__ == "__main__":
    main()
