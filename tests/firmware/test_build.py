"""The reference board as it is built: other jigs, another clock, and what must not be in it."""

import os
import re
import shutil
import subprocess

import pytest

from daq.sources import reference_bench
from daq.sources.reference_bench import FOLDER, CannotBuild, build
from tests.firmware.running import running, scans, wrong_counts
from tests.wire.reference import CODE

CORE = ("main.c", "host.c", "hello.c", "scans.c", "tare.c")
FLOAT_OR_HEAP = re.compile(r"__(add|sub|mul|div|fix|float|cmp|lt|gt)\w*[sd]f|\b(malloc|calloc|free|realloc|printf)\b")


def test_no_heap_and_no_floating_point_arithmetic_is_linked(built):
    symbols = subprocess.run(["avr-nm", str(built.elf)], capture_output=True, text=True, check=True).stdout

    assert FLOAT_OR_HEAP.findall("__addsf3 malloc")
    assert not FLOAT_OR_HEAP.findall(symbols)


def test_a_smaller_jig_names_only_what_it_has(tmp_path):
    made = build(tmp_path, CONVERTERS=2, TILT=0)
    with running(made) as on:
        got = scans(on.run(3))

        assert [channel.name for channel in on.hello.channels] == ["hands_left", "hands_right"]
        assert got.counts.shape[1] == 2
        assert wrong_counts(got.counts, only=(0, 1)) == 0
        assert (got.status == 0).all()


def test_a_board_of_three_volts_runs_at_half_the_clock(tmp_path):
    made = build(tmp_path, hz=8_000_000)
    with running(made, supply_mv=3300) as on:
        got = scans(on.run(5))
        figures = on.bench.figures()

        assert on.hello.firmware == "reference 1.0, power-on, 3.3 V"
        assert wrong_counts(got.counts[:, :4]) == 0
        assert (got.status == 0).all()
        assert abs(on.hello.ticks_us - 4e6) < 50_000
        assert figures["high_most"] <= 8  # one microsecond
        assert figures["latency"][18] < 40 * 8


def make(folder, *words, path=None):
    """`make` as a person calls it, the program going to this folder. path: where programs are looked for."""
    environment = {**os.environ, "PATH": path or os.environ["PATH"]}
    command = [shutil.which("make"), "-s", "-C", str(FOLDER), f"BUILD={folder}", *words]
    return subprocess.run(command, capture_output=True, text=True, check=False, env=environment)


def test_other_options_make_another_program_and_what_was_built_last_is_flashed(tmp_path):
    """In the folder of the one before; avrdude is a script here that tells what it was called with."""
    hexed = tmp_path / "foreaft_board.hex"
    (tmp_path / "avrdude").write_text('#!/bin/sh\necho "$@"\n')
    (tmp_path / "avrdude").chmod(0o755)
    programs = f"{tmp_path}:{os.environ['PATH']}"

    none = make(tmp_path, "flash", path=programs)
    make(tmp_path)
    four = hexed.read_bytes()
    smaller = make(tmp_path, "CONVERTERS=2", "TILT=0")
    two = hexed.read_bytes()
    flashed = make(tmp_path, "flash", "PORT=/dev/ttyACM0", path=programs)

    assert none.returncode != 0
    assert "foreaft_board.hex is missing: run make first" in none.stdout
    assert four != two
    assert smaller.stdout.startswith("for 2 converters, tilt 0, 16000000 Hz: flash ")
    assert flashed.stdout.strip() == (
        f"-p m328p -c arduino -P /dev/ttyACM0 -b 115200 -D -U flash:w:{tmp_path}/foreaft_board.hex:i"
    )
    assert hexed.read_bytes() == two


@pytest.mark.parametrize("bound", ["FLASH_MOST=7000", "RAM_MOST=1000"])
def test_a_program_above_its_bounds_is_not_there_to_be_flashed(tmp_path, bound):
    made = make(tmp_path, bound)

    assert made.returncode != 0
    assert "too large" in made.stdout
    assert not (tmp_path / "foreaft_board.hex").exists()


def test_a_build_that_fails_leaves_no_older_program_to_flash(tmp_path):
    make(tmp_path)

    assert make(tmp_path, "CONVERTERS=6").returncode != 0
    assert not (tmp_path / "foreaft_board.hex").exists()


@pytest.mark.parametrize(("word", "package"), [((), "gcc-avr avr-libc"), (("flash",), "avrdude")])
def test_a_program_that_is_not_installed_is_named_with_its_package(tmp_path, word, package):
    """On a path with nothing but what every system has."""
    (tmp_path / "foreaft_board.hex").touch()
    for name in ("sh", "rm", "test"):
        (tmp_path / name).symlink_to(shutil.which(name))

    made = make(tmp_path, *word, path=str(tmp_path))

    assert made.returncode != 0
    assert f"is missing: apt install {package}" in made.stdout


@pytest.mark.parametrize("option", [{"CONVERTERS": 5}, {"hz": 12_000_000}])
def test_what_the_board_cannot_be_is_not_built(tmp_path, option):
    with pytest.raises(CannotBuild):
        build(tmp_path, **option)


def test_the_core_is_portable(tmp_path):
    """All but the chip's folder compiles on this machine, warnings as errors: another board needs board.h alone."""
    for name in CORE:
        command = ["cc", "-std=c99", "-Wall", "-Wextra", "-pedantic", "-Werror", "-I", str(CODE), "-c"]
        done = subprocess.run(
            [*command, str(FOLDER / name), "-o", str(tmp_path / "part.o")], capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr


def test_what_is_missing_is_named_with_its_packages(tmp_path, monkeypatch):
    monkeypatch.setattr(reference_bench, "PACKAGES", {"no-such-compiler": "gcc-avr", "/no/such": "libsimavr-dev"})

    with pytest.raises(CannotBuild, match="apt install gcc-avr libsimavr-dev"):
        build(tmp_path)
