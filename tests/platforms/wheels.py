"""Whether every package has a wheel where no compiler is: `python -m tests.platforms.wheels`, over the network.

pip's own resolver answers, package by package. A small single-board computer (aarch64) needs every locked package;
Windows and macOS need those that the program runs with. pip reads markers for the machine it runs on, so which packages
a system needs is worked out here from their metadata. Exit code 1 when a wheel is missing.
"""

import subprocess
import sys
import tempfile
import tomllib
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

from packaging.markers import default_environment
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
LOCKED = {
    canonicalize_name(one.name): one
    for one in map(Requirement, (ROOT / ".ci" / "locked.txt").read_text().strip().splitlines())
}

ASKED = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["dependencies"]


@dataclass(frozen=True)
class System:
    """A computer that may stand in a workshop."""

    name: str
    tags: tuple[str, ...]
    """Platforms of the wheels it takes."""
    markers: dict[str, str]
    python: str

    @property
    def environment(self):
        more = {"python_version": self.python, "python_full_version": f"{self.python}.0", "extra": ""}
        return {**default_environment(), **self.markers, **more}


def arm(python):
    tags = (*(f"manylinux_2_{glibc}_aarch64" for glibc in (17, 27, 28)), "manylinux2014_aarch64")
    linux = {"sys_platform": "linux", "platform_system": "Linux", "os_name": "posix", "platform_machine": "aarch64"}
    return System("aarch64", tags, linux, python)


def mac(machine):
    darwin = {"sys_platform": "darwin", "platform_system": "Darwin", "os_name": "posix", "platform_machine": machine}
    return System(f"macOS, {machine}", (f"macosx_14_0_{machine}",), darwin, "3.12")


WINDOWS = System(
    "Windows",
    ("win_amd64",),
    {"sys_platform": "win32", "platform_system": "Windows", "os_name": "nt", "platform_machine": "AMD64"},
    "3.12",
)


def locked(system):
    """Every locked package that this system needs."""
    return sorted(pinned(name) for name, one in LOCKED.items() if holds(one, system.environment))


def running(system):
    """What `foreaft` needs there, and what that needs in turn; as it is asked for where the lock, made on Linux, has no
    version of it."""
    found, waiting = {}, asked(ASKED, system.environment)
    while waiting:
        one = waiting.pop()
        name = canonicalize_name(one.name)
        if name in found:
            continue
        found[name] = pinned(name) if name in LOCKED else f"{one.name}{one.specifier}"
        try:
            more = distribution(name).requires or ()
        except PackageNotFoundError:  # not for the system that this runs on
            continue
        for extra in ("", *one.extras):
            waiting += asked(more, {**system.environment, "extra": extra})
    return sorted(found.values())


def asked(lines, environment):
    return [one for one in map(Requirement, lines) if holds(one, environment)]


def pinned(name):
    return f"{LOCKED[name].name}{LOCKED[name].specifier}"


def holds(requirement, environment):
    return requirement.marker is None or requirement.marker.evaluate(environment)


def compiled(line):
    """Whether the wheel of this package that is installed here is for one kind of system; one that is not fits all."""
    try:
        return "-none-any" not in (distribution(Requirement(line).name).read_text("WHEEL") or "")
    except PackageNotFoundError:
        return True


def missing(system, lines):
    """What pip says is not there; empty when all is."""
    tags = [word for tag in system.tags for word in ("--platform", tag)]
    abis = ["--abi", f"cp{system.python.replace('.', '')}", "--abi", "abi3", "--abi", "none"]
    with tempfile.TemporaryDirectory() as folder:
        listed = Path(folder) / "listed.txt"
        listed.write_text("\n".join(lines))
        done = subprocess.run(
            [
                *(sys.executable, "-m", "pip", "install", "--dry-run", "-q", "--no-deps", "--ignore-installed"),
                *("--only-binary=:all:", "--target", folder, "--python-version", system.python),
                *("--implementation", "cp", *tags, *abis, "-r", str(listed)),
            ],
            capture_output=True,
            text=True,
            check=False,
        )
    errors = [line for line in done.stderr.splitlines() if line.startswith("ERROR")]
    return "" if done.returncode == 0 else "; ".join(errors) or done.stderr[-500:]


def main():
    wrong = False
    tried = [(arm(python), locked) for python in ("3.11", "3.12", "3.13", "3.14")]
    tried += [(system, running) for system in (WINDOWS, mac("arm64"), mac("x86_64"))]
    for system, which in tried:
        lines = which(system)
        found = missing(system, lines)
        wrong = wrong or bool(found)
        said = found or f"a wheel for each of {len(lines)} packages"
        print(f"{system.name}, Python {system.python}: {said}", flush=True)
    sys.exit(wrong)


if __name__ == "__main__":
    main()
