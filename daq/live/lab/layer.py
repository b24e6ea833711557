"""The Lab Streaming Layer's library on this machine: who can reach it, and what its clock says of a session's time."""

from __future__ import annotations

import contextlib
import os
import socket
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from daq.sources.clock import SessionClock

Scope = Literal["machine", "network"]
_THIS_MACHINE = """[log]
level = -2
[ports]
IPv6 = disable
[multicast]
ResolveScope = machine
MachineAddresses = {}
[lab]
KnownPeers = {127.0.0.1}
"""
"""No port for multicast, so that nothing outside is answered; each stream is asked at a port of its own. Default ports
and session. With --lsl network, liblsl reads its own lsl_api.cfg instead."""
READINGS = 50
ASLEEP_S = 0.05
"""The layer's clock may stand still while the computer sleeps; a session's does not."""
_SOCKETS = Path("/proc/self/fd")


class LabUnusable(Exception):
    """The Lab Streaming Layer cannot be used as asked; the text says why and what to do."""


def library(scope: Scope) -> Any:
    """pylsl, told who may reach it; before anything else of it is used. LabUnusable."""
    if scope == "machine" and not (hasattr(socket, "SO_BINDTODEVICE") and _SOCKETS.is_dir()):
        raise LabUnusable("liblsl listens at every address, and here it cannot be kept to this machine: --lsl network")
    try:
        import pylsl
    except (ImportError, RuntimeError, OSError) as error:  # the last two: pylsl without liblsl
        raise LabUnusable("the Lab Streaming Layer needs pylsl: pip install 'foreaft[lsl]'") from error
    if scope == "machine":
        pylsl.set_config_content(_THIS_MACHINE)
    return pylsl


@contextlib.contextmanager
def kept_to(scope: Scope) -> Iterator[None]:
    """Whatever sockets the library opens meanwhile hear this machine alone, unless the network is asked for.

    liblsl has settings for whom it looks for, and none for where its data port listens: it is bound to the loopback
    device afterwards, some milliseconds after it has opened.
    """
    before = open_sockets()
    yield
    if scope == "machine":
        keep_to_machine(open_sockets() - before)


def keep_to_machine(sockets: set[int]) -> None:
    """Bind these to the loopback device. LabUnusable where the system does not allow that."""
    for number in sockets:
        with socket.socket(fileno=os.dup(number)) as opened:
            try:
                opened.setsockopt(socket.SOL_SOCKET, socket.SO_BINDTODEVICE, b"lo\0")
            except OSError as error:
                raise LabUnusable(
                    f"liblsl listens at every address, and cannot be kept to this machine ({error.strerror}): "
                    "say --lsl network if the network may listen"
                ) from error


def open_sockets() -> set[int]:
    """Numbers of the sockets this process has open; empty where the system does not tell."""
    found = set()
    for entry in _SOCKETS.iterdir() if _SOCKETS.is_dir() else ():
        with contextlib.suppress(OSError):
            if os.readlink(entry).startswith("socket:"):
                found.add(int(entry.name))
    return found


@dataclass(frozen=True, slots=True)
class SharedTime:
    """Session time on the layer's clock."""

    offset_s: float
    """To add to session time."""
    uncertainty_s: float
    """Of that: half the time between two looks at one clock around a look at the other."""

    @classmethod
    def found(cls, pylsl: Any, clock: SessionClock, readings: int = READINGS) -> SharedTime:
        """The closest of some readings of both clocks. Both count the same seconds while the machine is awake."""
        found = []
        for _ in range(readings):
            before_us, lab_s, after_us = clock.now_us(), pylsl.local_clock(), clock.now_us()
            found.append((after_us - before_us + 1, lab_s - (before_us + after_us) / 2e6))
        width_us, offset_s = min(found)
        return cls(offset_s, width_us / 2e6)

    def now(self, pylsl: Any, clock: SessionClock) -> SharedTime:
        """This one, or a new one if the machine has slept since."""
        moved_s = SharedTime.found(pylsl, clock, readings=1).offset_s - self.offset_s
        return self if abs(moved_s) < ASLEEP_S else SharedTime.found(pylsl, clock)
