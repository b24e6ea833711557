"""What is built of this repository holds everything the program reads, installs into nothing, and runs."""

import json
import os
import shutil
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from pathlib import Path

import pytest

from daq.bootstrap import LOCK, OLDEST_PYTHON

ROOT = Path(__file__).parents[1]
READ_BY_PEOPLE = {".md"}


def run(*command, cwd):
    alone = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    words = [str(word) for word in command]
    done = subprocess.run(words, cwd=cwd, env=alone, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def clone(tmp_path_factory):
    """What a release is made of."""
    to = tmp_path_factory.mktemp("release") / "clone"
    for name in ("daq", "dashboard"):
        shutil.copytree(ROOT / name, to / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, to)
    return to


@pytest.fixture(scope="module")
def sdist(clone):
    make = "from setuptools import build_meta; build_meta.build_sdist('.')"
    run(sys.executable, "-c", make, cwd=clone)
    (made,) = clone.glob("foreaft-*.tar.gz")
    return made


@pytest.fixture(scope="module")
def wheel(sdist, tmp_path_factory):
    """Built from the source distribution, as a packager would."""
    at = tmp_path_factory.mktemp("wheel")
    with tarfile.open(sdist) as source:
        source.extractall(at, filter="data")
    (unpacked,) = at.iterdir()
    pip = [sys.executable, "-m", "pip", "wheel", "--no-deps", "--no-build-isolation", "-q", "-w", at]
    run(*pip, unpacked, cwd=at)
    (made,) = at.glob("*.whl")
    return made


def test_a_built_package_holds_the_page_and_every_file_the_program_reads(clone, wheel):
    held = set(zipfile.ZipFile(wheel).namelist())
    page = {f"daq/{path.relative_to(clone)}" for path in (clone / "dashboard").rglob("*") if path.is_file()}
    read = {str(path.relative_to(clone)) for path in (clone / "daq").rglob("*.*") if path.suffix not in READ_BY_PEOPLE}

    assert len(page) > 40
    assert page | read <= held
    assert "daq/keep/package/examples.md" in held, "goes with every export"


def test_the_wheel_installs_into_an_empty_environment_and_rides_its_demo(wheel, tmp_path):
    run(sys.executable, "-m", "venv", "--without-pip", tmp_path / "venv", cwd=tmp_path)
    bin_ = tmp_path / "venv" / "bin"
    into = ("--python", bin_ / "python", "install", "--quiet", "--no-compile")
    run(sys.executable, "-m", "pip", *into, "--constraint", LOCK, wheel, cwd=tmp_path)
    told = run(bin_ / "foreaft", "demo", "--headless", "--json", "--pace", "100", cwd=tmp_path)

    assert json.loads(told)["verdict"] == "onset"
    assert str(tmp_path) in run(bin_ / "python", "-c", "import daq; print(daq.__file__)", cwd=tmp_path)


def test_the_versions_that_are_tested_begin_with_the_oldest_that_is_promised():
    versions = json.loads((ROOT / ".ci" / "matrix.json").read_text())
    promised = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["requires-python"]

    assert versions[0] == "{}.{}".format(*OLDEST_PYTHON)
    assert promised == f">={versions[0]}"
