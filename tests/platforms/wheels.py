"""Whether every locked package has a wheel where no compiler is: `python -m tests.platforms.wheels`, over the network.

pip's own resolver answers, package by package. A small single-board computer (aarch64) needs all of them but what only
tests read with; Windows and macOS those that the program runs with, without what is marked for Linux alone. Exit code 1
when one is missing.
"""

import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
LOCKED = (ROOT / ".ci" / "locked.txt").read_text().split()
ARM = ("manylinux2014_aarch64", "manylinux_2_17_aarch64", "manylinux_2_27_aarch64", "manylinux_2_28_aarch64")
BUILT = ("ezc3d",)
"""Has no wheel for aarch64: a second reader of C3D files, for the tests alone. There pip builds it, with a compiler."""
TRIED = (
    *(("aarch64", ARM, version, "all") for version in ("3.11", "3.12", "3.13", "3.14")),
    ("Windows", ("win_amd64",), "3.12", "run"),
    ("macOS, Apple's processors", ("macosx_14_0_arm64",), "3.12", "run"),
    ("macOS, Intel's", ("macosx_14_0_x86_64",), "3.12", "run"),
)


def running():
    """The locked packages that the program itself asks for, those of Linux alone left out."""
    wanted = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["dependencies"]
    names = {one.split(">")[0].lower() for one in wanted if ";" not in one}
    return [line for line in LOCKED if line.split("==")[0].lower() in names]


def missing(platforms, version, lines):
    """What pip says is not there; empty when all is."""
    tags = [word for platform in platforms for word in ("--platform", platform)]
    abis = ["--abi", f"cp{version.replace('.', '')}", "--abi", "abi3", "--abi", "none"]
    with tempfile.TemporaryDirectory() as folder:
        listed = Path(folder) / "locked.txt"
        listed.write_text("\n".join(lines))
        done = subprocess.run(
            [
                *(sys.executable, "-m", "pip", "install", "--dry-run", "-q", "--no-deps", "--ignore-installed"),
                *("--only-binary=:all:", "--target", folder, "--python-version", version, "--implementation", "cp"),
                *(*tags, *abis, "-r", str(listed)),
            ],
            capture_output=True,
            text=True,
            check=False,
        )
    errors = [line for line in done.stderr.splitlines() if line.startswith("ERROR")]
    return "" if done.returncode == 0 else "; ".join(errors) or done.stderr[-500:]


def main():
    wrong = False
    for name, platforms, version, which in TRIED:
        lines = [line for line in LOCKED if line.split("==")[0] not in BUILT] if which == "all" else running()
        found = missing(platforms, version, lines)
        wrong = wrong or bool(found)
        print(f"{name}, Python {version}: {found or f'a wheel for each of {len(lines)} packages'}", flush=True)
    sys.exit(wrong)


if __name__ == "__main__":
    main()
