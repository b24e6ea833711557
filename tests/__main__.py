"""`python3 -m tests [--quick] [--coverage] [pytest arguments]`: installs what is missing, then tests, and beside them
lint and types. Properties are tried on data not tried before, from a seed that is printed.

--coverage also shows which lines of the package no test runs; it takes about a third longer.
--quick leaves out whatever needs a browser, a bus, a store or a port, and the studies of hundreds of sweeps; it tries
the properties on the same data every time.
"""

import os
import random
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

from daq.bootstrap import ROOT, VENV, ensure_commands, ensure_venv, say, stop
from tests.chromium import NAMES, PACKAGE, SNAP_ONLY, chromium_path

SYSTEM = {
    "avr-libc": ("/usr/lib/avr/include/avr/io.h",),
    "binutils-avr": ("avr-size",),
    "dbus": ("dbus-daemon",),
    "fonts-liberation": ("/usr/share/fonts/truetype/liberation",),
    "gcc": ("cc", "gcc", "clang"),
    "gcc-avr": ("avr-gcc",),
    "libc6-dev": ("/usr/include/stdio.h",),
    "libsimavr-dev": ("/usr/include/simavr/sim_avr.h",),
    "make": ("make",),
    "poppler-utils": ("pdftotext",),
}
JS = VENV / "js"
TSC = JS / "node_modules" / "typescript" / "bin" / "tsc"
PYTEST = (VENV / "bin" / "python", "-m", "pytest")
TYPESCRIPT = "typescript@5.9.3"
PURE = (
    *("wire", "measure", "sweep", "rider", "fit", "proof", "test_layers.py", "test_rig.py", "test_developers.py"),
    *("test_physics.py", "test_text.py", "test_transmitters.py", "test_promises.py", "test_pipeline.py"),
    *("test_pipeline_clocks.py", "test_pipeline_positions.py", "test_pipeline_sensors.py", "test_words.py"),
)
WORKERS = min((os.cpu_count() or 1) + 2, 6)
"""Two more than cores: many tests wait for a clock and not for a core."""
SPREAD = ("-n", str(WORKERS), "--dist", "loadfile", "--no-loadscope-reorder")
"""All tests of a file run in one worker, which makes once what they share. In their own order, the slow files of
tests/browser come early. Every worker loads every file: a package that loads long, and that one test asks, is loaded in
that test."""
COMPILED_ONCE = {**os.environ, "PYTHONDONTWRITEBYTECODE": ""}
"""Some shells forbid compiled files. Then each worker, and each of the many programs the tests start, would compile
the whole package again: two thirds of a second of processor time for every daemon."""


def ensure_browser():
    """Fetch Playwright's own Chromium where the system has none that can be used."""
    if chromium_path() is not None:
        return
    say("Fetching Chromium ...")
    fetch = [str(VENV / "bin" / "playwright"), "install", "--with-deps", "chromium"]
    if subprocess.run(fetch, check=False).returncode:
        stop("Chromium could not be fetched (see above). Install Chromium or Chrome, then run the command again.")


def ensure_typescript():
    """Fetch the checker of the page's types into .venv."""
    if TSC.exists():
        return
    say("Fetching TypeScript ...")
    npm = [str(VENV / "bin" / "npm"), "install", "--silent", "--no-audit", "--no-fund", "--prefix", str(JS), TYPESCRIPT]
    if subprocess.run(npm, check=False).returncode:
        stop("TypeScript could not be fetched (see above). Is this machine online? Then run the command again.")


def load_once():
    """Has one process load every test file of a fresh checkout, which compiles them and all they need. Each worker else
    compiles the same, all at once: a quarter of a minute of processor time, twice that with newly installed packages.
    """
    if not any((ROOT / "tests").rglob("*-pytest-*.pyc")):
        run([*PYTEST, "--collect-only", "-n", "0"], capture_output=True)


def static_checks():
    """(name, command) of each check that only reads the code."""
    bin_ = VENV / "bin"
    return [
        ("lint", [bin_ / "ruff", "check", "."]),
        ("format", [bin_ / "ruff", "format", "--check", "--quiet", "."]),
        ("types", [bin_ / "mypy", "--no-error-summary"]),
        ("types of the page", [bin_ / "node", TSC, "-p", "tests/browser/tsconfig.json"]),
    ]


def test_run(words, *, quick, coverage):
    """(name, command) of the run of tests."""
    if quick:
        return "pure tests", [*PYTEST, *SPREAD, *words, "-m", "not study", *(f"tests/{name}" for name in PURE)]
    seed = random.randrange(2**32)  # named, so that a failure can be had again
    fresh = ["--hypothesis-profile", "fresh", "--hypothesis-seed", str(seed)]
    shown = ["--cov=daq", "--cov-report=term:skip-covered"] if coverage else []
    return f"tests, properties from seed {seed}", [*PYTEST, *SPREAD, *fresh, *words, "--durations", "15", *shown]


def run(command, **options):
    """The command in the checkout, as it ended."""
    return subprocess.run([str(part) for part in command], cwd=ROOT, env=COMPILED_ONCE, check=False, **options)


def checked(name, command):
    """Runs a check and says how it ended, whatever else is being said; whether it passed."""
    try:
        ended = run(command, capture_output=True, text=True)
    except OSError as error:
        say(f"\n== {name}\n{error}")
        return False
    say(f"\n== {name}\n{ended.stdout}{ended.stderr}".rstrip())
    return ended.returncode == 0


def main():
    """Exit code 0 when every check passes, 1 otherwise."""
    words = [word for word in sys.argv[1:] if word not in ("--quick", "--coverage")]
    quick, coverage = "--quick" in sys.argv, "--coverage" in sys.argv
    with ThreadPoolExecutor() as pool:  # apt-get waits for the disk, pip computes
        of_system = [] if quick else [pool.submit(ensure_commands, SYSTEM if SNAP_ONLY else {**SYSTEM, PACKAGE: NAMES})]
        ensure_venv("[test]")
        ensure_typescript()
    for done in of_system:
        done.result()
    if not quick:
        ensure_browser()
    with ThreadPoolExecutor() as pool:
        beside = {name: pool.submit(checked, name, command) for name, command in static_checks()}
        if not (words or quick):
            load_once()
        name, command = test_run(words, quick=quick, coverage=coverage)
        say("== " + name)
        failed = [] if run(command).returncode == 0 else [name]
    failed += [name for name, passed in beside.items() if not passed.result()]
    say("== all passed" if not failed else "== failed: " + ", ".join(failed))
    return 1 if failed else 0


if __name__ == "__main__":
    raise SystemExit(main())
