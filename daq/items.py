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


BOARD, POWER, CADENCE, HEART = "board", "power", "cadence", "heart"
"""Names of the sources. A transmitter takes the board's place and name; the last two are optional."""
SWEEP_BEGUN = "sweep-begun"
"""Event: a sweep begins here; its content is everything the sweep depends on."""
FITTER = "fitter"
"""Event: the fitter did something; content {"event": ..., "setback_mm": ...}, with saddle_moved also {"setting": how
the rest of the jig was set, "u_setback_mm": if the setback is known better than by the jig's scale}."""
STEP_NOTE = "step-note"
"""Event: what was noted of a step; content {"step": counted from 0 as ridden, "what": ..., "value": ...}."""
GONE_ON = "gone-on"
"""Event: the sweep goes on after its end; content {"positions_mm": what is ridden now; empty: the rest of the plan}."""
SEATED = "seated"
"""Event: the rider's mass from now on; content {"mass_kg": ...}, None if unknown."""
ZERO = "zero"
"""Event: the jig is empty and these readings are the zero from now on; content {"zero_counts": [...]}."""
CHECKED = "calibration-checked"
"""Event: a check before the first position; content as "calibration" in SWEEP_BEGUN."""
FAULT = "fault"
"""Event: something is wrong that the scans do not show; content {"part": ..., "sentence": ...}."""
READING, EFFORT = "typed-reading", "typed-effort"
"""Events: what a person read off a scale, {"hands": as typed, "saddle": as typed or None}; power_w and cadence_rpm."""
TYPED = (READING, EFFORT)
LOST = "raw-lost"
"""Event: something received can no longer be read. No session sends it; a reader of damaged records does."""


def lost(received_us: int, said: str, *, to_us: int, source: str = "", scans: int | None = 0) -> Event:
    """The event that takes the place of what is lost between received_us and to_us, inclusive. said: what is lost, a
    phrase with its times. source, scans: whose scans and how many, None if unknown; without a source, something other
    than scans was lost.
    """
    return Event(received_us, LOST, {"said": said, "source": source, "to_us": to_us, "scans": scans})


Item: TypeAlias = Samples | Notification | Hello | Event
