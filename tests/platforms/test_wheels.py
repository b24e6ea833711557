"""No compiler is needed on a small single-board computer: pip finds a wheel for all that the program runs with.

`python -m tests.platforms.wheels` asks for every locked package, every version of Python, Windows and macOS too.
"""

import tomllib

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.platforms.wheels import ASKED, LOCKED, ROOT, WINDOWS, arm, compiled, locked, mac, missing, running

OLDEST = arm("3.11")


def test_a_single_board_computer_finds_a_wheel_of_everything_that_is_compiled():
    asked = [line for line in running(OLDEST) if compiled(line)]

    assert any(line.startswith("numpy==") for line in asked)
    assert missing(OLDEST, asked) == ""


def test_a_package_without_a_wheel_there_is_named():
    assert "ezc3d" in missing(OLDEST, ["ezc3d==1.7.2"])


def test_the_lock_leaves_out_where_there_is_no_wheel_what_is_not_asked_for_there():
    tests = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["optional-dependencies"]["test"]
    asked = {canonicalize_name(one.name): one.marker for one in map(Requirement, [*ASKED, *tests])}
    left_out = {name: one.marker for name, one in LOCKED.items() if one.marker}

    assert set(LOCKED) - {canonicalize_name(Requirement(line).name) for line in locked(OLDEST)} == set(left_out)
    assert left_out == {name: asked[name] for name in left_out}


@pytest.mark.parametrize(
    ("system", "has", "lacks"),
    [
        (OLDEST, "dbus-fast==", "winrt-runtime"),
        (WINDOWS, "winrt-runtime", "uvloop"),
        (mac("arm64"), "pyobjc-core", "dbus-fast"),
    ],
    ids=["aarch64", "Windows", "macOS"],
)
def test_each_system_is_asked_for_what_it_needs(system, has, lacks):
    lines = running(system)

    assert any(line.startswith(has) for line in lines)
    assert not any(line.startswith(lacks) for line in lines)
