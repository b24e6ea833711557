"""A clock for validity periods, which setting the machine's time does not affect."""

from __future__ import annotations

from pathlib import Path

from daq.sources.clock import steady_ns

BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


def steady_s() -> float:
    """Seconds since this machine booted, including sleep."""
    return steady_ns() / 1e9


def this_start() -> str:
    """An id of the boot these seconds count from (random(4)); empty if unknown."""
    try:
        return BOOT_ID.read_text(encoding="ascii").strip()
    except OSError:
        return ""
