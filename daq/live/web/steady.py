"""A clock for how long something is good: no setting of the machine's time moves it."""

from __future__ import annotations

import time
from pathlib import Path

BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


def steady_s() -> float:
    """Seconds since this machine started, those it slept included (clock_gettime(2), CLOCK_BOOTTIME)."""
    return time.clock_gettime(time.CLOCK_BOOTTIME) if hasattr(time, "CLOCK_BOOTTIME") else time.monotonic()


def this_start() -> str:
    """Which start of the machine these seconds count from (random(4)); empty where that cannot be known."""
    try:
        return BOOT_ID.read_text(encoding="ascii").strip()
    except OSError:
        return ""
