"""`python3 -m tests [pytest arguments]`: sets up what is missing, then lint, format, types and tests."""

import subprocess
import sys

from daq.bootstrap import ROOT, VENV, ensure_commands, ensure_venv, say, stop
from tests.chromium import NAMES, SNAP_ONLY, chromium_path

SYSTEM = {
    "dbus": ("dbus-daemon",),
    "fonts-liberation": ("/usr/share/fonts/truetype/liberation",),
    "gcc": ("cc", "gcc", "clang"),
    "libc6-dev": ("/usr/include/stdio.h",),
    "poppler-utils": ("pdftotext",),
}
SPREAD = ("-n", "auto", "--maxprocesses", "4", "--dist", "worksteal")  # many wait for a clock, not for a core


def ensure_browser():
    """Fetch Playwright's own Chromium where the system has none that can be used."""
    if chromium_path() is not None:
        return
    say("Fetching Chromium ...")
    fetch = [str(VENV / "bin" / "playwright"), "install", "--with-deps", "chromium"]
    if subprocess.run(fetch, check=False).returncode:
        stop("Chromium could not be fetched (see above). Install Chromium or Chrome, then run the command again.")


def main():
    """Exit code 0 when every check passes, 1 otherwise."""
    ensure_commands(SYSTEM if SNAP_ONLY else {**SYSTEM, "chromium": NAMES})
    ensure_venv("[test]")
    ensure_browser()
    bin_ = VENV / "bin"
    checks = [
        ("lint", [bin_ / "ruff", "check", "."]),
        ("format", [bin_ / "ruff", "format", "--check", "--quiet", "."]),
        ("types", [bin_ / "mypy", "--no-error-summary"]),
        ("tests", [bin_ / "python", "-m", "pytest", *SPREAD, *sys.argv[1:]]),
    ]
    failed = []
    for name, command in checks:
        say("== " + name)
        if subprocess.run([str(part) for part in command], cwd=str(ROOT), check=False).returncode:
            failed.append(name)
    say("== all passed" if not failed else "== failed: " + ", ".join(failed))
    return 1 if failed else 0


if __name__ == "__main__":
    raise SystemExit(main())
