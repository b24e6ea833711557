"""Which Chromium the browser tests use. Only the standard library: the set-up asks before anything is installed."""

from __future__ import annotations

import shutil
from pathlib import Path

OS_RELEASE = Path("/etc/os-release")
SYSTEM = OS_RELEASE.read_text().splitlines() if OS_RELEASE.exists() else []
SNAP_ONLY = "ID=ubuntu" in SYSTEM
"""Ubuntu's Chromium is a snap, which cannot write where the driver keeps its profile: Playwright's own build serves."""
SHELL = "chromium-headless-shell"
"""Debian's package of the engine alone. A page costs half the processor time that it costs in the whole browser, whose
windows and menus nobody sees here."""
PACKAGE = SHELL if "ID=debian" in SYSTEM else "chromium"
NAMES = ("google-chrome",) if SNAP_ONLY else (SHELL, "chromium", "chromium-browser", "google-chrome")


def chromium_path() -> str | None:
    """The system's Chromium; None when there is none that can be used, and Playwright's own has to serve."""
    return next(filter(None, map(shutil.which, NAMES)), None)
