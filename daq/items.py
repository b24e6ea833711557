"""What reaches a session, unchanged, besides Samples: each with its receipt time. Receipt times are session time in
microseconds, no two alike. An Item is anything that is stored first, read back in receipt order, and fed to the
pipeline, live and later.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

from daq.values import Samples


@dataclass(frozen=True, slots=True)
class Notification:
    """One characteristic value of a BLE sensor, as its bytes."""

    received_us: int
    source: str
    characteristic: str
    """UUID of the characteristic, lower case."""
    payload: bytes


@dataclass(frozen=True, slots=True)
class Hello:
    """What a board says about itself: protocol, identity, channel table."""

    received_us: int
    source: str
    content: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Event:
    """What a person or the daemon did: a command of the fitter, a change of the sweep's state, a mark, a notice."""

    received_us: int
    kind: str
    content: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class WireBytes:
    """Bytes of a board or transmitter in the pieces in which they arrived; recordings hold these, the store holds
    Samples."""

    received_us: int
    source: str
    payload: bytes


LOST = "raw-lost"
"""Event: something received can no longer be read. No session sends it; a reader of damaged records does."""


def lost(received_us: int, said: str, *, to_us: int, source: str = "", scans: int | None = 0) -> Event:
    """The event that takes the place of what is lost between received_us and to_us, inclusive. said: what is lost, a
    phrase with its times. source, scans: whose scans and how many, None if unknown; without a source, something other
    than scans was lost.
    """
    return Event(received_us, LOST, {"said": said, "source": source, "to_us": to_us, "scans": scans})


Item: TypeAlias = Samples | Notification | Hello | Event
