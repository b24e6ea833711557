"""The far end of a serial port, for a simulated board: a pseudo-terminal, or on a system without them (Windows) a
socket on this machine, which a serial link opens as well (pyserial's `socket://`)."""

from __future__ import annotations

import os
import socket

AT_ONCE = 4096


class Terminal:
    """A pseudo-terminal; `port` is what a serial link opens."""

    def __init__(self) -> None:
        import tty

        self.master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self.master, False)
        self.port = os.ttyname(self._slave)

    def read(self) -> bytes:
        """What the host has written since; nothing when it has not."""
        try:
            return os.read(self.master, AT_ONCE)
        except BlockingIOError:
            return b""

    def write(self, data: bytes) -> int:
        """How many of these bytes are taken now."""
        try:
            return os.write(self.master, data)
        except BlockingIOError:
            return 0

    def close(self) -> None:
        """The device is unplugged."""
        os.close(self.master)
        os.close(self._slave)


class LocalSocket:
    """A socket for this machine only, for one host at a time."""

    def __init__(self) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.setblocking(False)
        self._host: socket.socket | None = None
        self.port = f"socket://127.0.0.1:{self._listener.getsockname()[1]}"

    def read(self) -> bytes:
        """What the host has written since; nothing when it has not, or there is none."""
        self._meet()
        if self._host is None:
            return b""
        try:
            got = self._host.recv(AT_ONCE)
        except BlockingIOError:
            return b""
        except OSError:
            got = b""
        if not got:
            self._part()
        return got

    def write(self, data: bytes) -> int:
        """How many of these bytes are accepted now; without a host they are dropped."""
        self._meet()
        if self._host is None:
            return len(data)
        try:
            return self._host.send(data)
        except BlockingIOError:
            return 0
        except OSError:
            self._part()
            return len(data)

    def close(self) -> None:
        """The device is unplugged."""
        self._part()
        self._listener.close()

    def _meet(self) -> None:
        if self._host is None:
            try:
                self._host, _ = self._listener.accept()
            except BlockingIOError:
                return
            self._host.setblocking(False)

    def _part(self) -> None:
        if self._host is not None:
            self._host.close()
            self._host = None


def new_terminal() -> Terminal | LocalSocket:
    """The best kind this system has."""
    return Terminal() if hasattr(os, "openpty") else LocalSocket()
