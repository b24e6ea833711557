"""A clock for validity periods, which setting the machine's time does not affect."""

from __future__ import annotations

import time
from pathlib import Path

BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


def steady_s() -> float:
    """Seconds since this machine booted, including sleep (clock_gettime(2), CLOCK_BOOTTIME)."""
    return time.clock_gettime(time.CLOCK_BOOTTIME) if hasattr(time, "CLOCK_BOOTTIME") else time.monotonic()


def this_start() -> str:
    """An id of the boot these seconds count from (random(4)); empty if unknown."""
    try:
        return BOOT_ID.read_text(encoding="ascii").strip()
    except OSError:
        return ""
