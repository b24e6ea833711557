"""From a fresh checkout to a running program: one virtual environment in .venv, made when needed.

Only the standard library, and no syntax newer than Python 3.8: an old interpreter has to get as far as the message that
says it is too old.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import threading
from pathlib import Path
from typing import NoReturn

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
WINDOWS = os.name == "nt"
BIN = VENV / ("Scripts" if WINDOWS else "bin")
PROGRAM = ".exe" if WINDOWS else ""
LOCK = ROOT / ".ci" / "locked.txt"
OLDEST_PYTHON = (3, 11)
DEVICE_ABSENT = 3
INSTALL = ["apt-get", "install", "-y", "--no-install-recommends"]
ONE_AT_A_TIME = threading.Lock()
"""Only one apt-get can update its lists."""


def run_in_venv(command: list[str], extras: str = "") -> NoReturn:
    """Replace this process by `command` from the checkout's environment, made or brought up to date first."""
    ensure_venv(extras)
    program = str(BIN / (command[0] + PROGRAM))
    if WINDOWS:  # a process cannot replace itself there
        raise SystemExit(subprocess.run([program, *command[1:]], check=False).returncode)
    os.execv(program, [program, *command[1:]])


def ensure_venv(extras: str = "") -> None:
    """Make .venv and install the package with these extras, unless that is done already."""
    if sys.version_info < OLDEST_PYTHON:
        stop("Foreaft needs Python {}.{} or newer; this is {}.{}.".format(*OLDEST_PYTHON, *sys.version_info[:2]))
    stamp = VENV / "foreaft-installed"
    wanted = _fingerprint(extras)
    if stamp.exists() and stamp.read_text() in (wanted, _fingerprint("[test]")):
        return
    if not (BIN / ("pip" + PROGRAM)).exists():
        _make_venv()
    say("Installing what Foreaft needs into .venv (about a minute the first time) ...")
    pip = [
        str(BIN / ("python" + PROGRAM)),
        "-m",
        "pip",
        "install",
        "--quiet",
        "--disable-pip-version-check",
        "--constraint",
        str(LOCK),
    ]
    if extras:  # for a developer Python compiles what it loads; compiling all of it takes as long as fetching it
        pip.append("--no-compile")
    # A newer pip first: that of Python 3.11 takes a quarter longer, and twice as long where it does not compile.
    for what in (["pip", "setuptools"], ["--no-build-isolation", "--editable", f"{ROOT}{extras}"]):
        if subprocess.run([*pip, *what], check=False).returncode:
            stop("pip could not install the packages (see above). Is this machine online? Then run the command again.")
    stamp.write_text(wanted)


def ensure_commands(packages: dict[str, tuple[str, ...]]) -> None:
    """Check that each command is there; install the Debian or Ubuntu package of those that are not. packages: {package:
    (command or absolute path, ...)}, any one of which is enough.
    """
    missing = [name for name, wanted in packages.items() if not any(map(_is_there, wanted))]
    if not missing:
        return
    if not _installed(missing, "Missing on this system: {}".format(", ".join(missing))):
        by_hand = " ".join([*INSTALL, *missing])
        stop("apt-get could not install {}. Try by hand:\n    sudo {}".format(", ".join(missing), by_hand))


def _installed(packages: list[str], why: str) -> bool:
    """Install these packages of the system; whether that went well. Stops with `why` where nobody here may."""
    apt = _apt()
    if apt is None:
        stop("{}. Install it first:\n    sudo {}".format(why, " ".join([*INSTALL, *packages])))
    say("Installing system packages: {} ...".format(", ".join(packages)))
    environment = dict(os.environ, DEBIAN_FRONTEND="noninteractive")
    with ONE_AT_A_TIME:
        for arguments in (["update", "-qq"], [*INSTALL[1:], *packages]):
            done = subprocess.run([*apt, *arguments], env=environment, stdout=subprocess.DEVNULL, check=False)
    return done.returncode == 0


def _is_there(command: str) -> bool:
    return Path(command).exists() if os.path.isabs(command) else shutil.which(command) is not None


def _make_venv() -> None:
    say("Making a virtual environment in .venv ...")
    if not _has_ensurepip():
        _installed(["python{}.{}-venv".format(*sys.version_info[:2])], "This Python cannot make virtual environments")
    done = subprocess.run([sys.executable, "-m", "venv", "--clear", str(VENV)], check=False)
    if done.returncode:
        stop("The virtual environment could not be made (see above).")


def _has_ensurepip() -> bool:
    return (
        subprocess.run(
            [sys.executable, "-c", "import ensurepip, venv"], stderr=subprocess.DEVNULL, check=False
        ).returncode
        == 0
    )


def _apt() -> list[str] | None:
    """The apt-get command this user may run without a password; None if there is none."""
    if shutil.which("apt-get") is None:
        return None
    apt = ["apt-get", "-o", "DPkg::Lock::Timeout=300"]  # a machine that has just booted is often updating itself
    if os.geteuid() == 0:
        return apt
    sudo = shutil.which("sudo")
    if sudo and subprocess.run([sudo, "-n", "true"], stderr=subprocess.DEVNULL, check=False).returncode == 0:
        return [sudo, "-n", *apt]
    return None


def _fingerprint(extras: str) -> str:
    parts = [sys.version, extras, str(ROOT), (ROOT / "pyproject.toml").read_text(), LOCK.read_text()]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def say(text: str) -> None:
    """A line of progress, on standard error: standard output belongs to the program."""
    print(text, file=sys.stderr, flush=True)


def stop(text: str) -> NoReturn:
    """Say what is missing and exit with the code for it."""
    say(text)
    raise SystemExit(DEVICE_ABSENT)
