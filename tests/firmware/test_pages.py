"""The pages of the reference board say what its code says: pins, bounds, figures of the converter, names."""

import re

from daq.cli.bench import bench
from daq.rider.jig import SimulatedJig
from daq.rider.model import DEMO
from daq.rig_file import parse_rig
from daq.sources.reference_bench import FOLDER
from tests.wire.notes import table

PAGE = (FOLDER / "README.md").read_text()
PINS = (FOLDER / "atmega328p" / "pins.h").read_text()
DRAWING = (FOLDER / "wiring.svg").read_text()
CONFIG = (FOLDER / "config.h").read_text()


def listed():
    """Every pin the page's table names."""
    pins = []
    for cell, *_ in table(PAGE, "pin"):
        port, numbers = re.search(r"P([BCD])(\d)", cell).group(1), [int(n) for n in re.findall(r"P[BCD](\d)", cell)]
        span = range(numbers[0], numbers[-1] + 1) if " to " in cell else numbers
        pins += [f"P{port}{n}" for n in span]
    return pins


def test_the_drawing_has_every_pin_of_the_table_and_no_other():
    assert sorted(re.findall(r">(P[BCD]\d)<", DRAWING)) == sorted(listed())


def test_the_code_uses_the_pins_of_the_table():
    named = set(re.findall(r"\b(P[BCD]\d)\b", PINS.replace("PD4+i", "").replace("PC0+i", "")))
    shifted = re.search(r"#define DATA_SHIFT (\d)", PINS).group(1)
    tilt = re.search(r"#define TILT_INPUT (\d)", PINS).group(1)

    assert named | {f"PC{tilt}"} <= set(listed())
    assert f"PD{shifted}" in listed()


def test_the_bounds_of_the_build_are_those_told():
    make = (FOLDER / "Makefile").read_text()
    flash, ram = (re.search(rf"^{name} = (\d+)$", make, re.M).group(1) for name in ("FLASH_MOST", "RAM_MOST"))

    assert f"fails above {flash} and {ram} bytes" in PAGE


def test_the_units_of_the_tilt_follow_from_the_sensor_drawn():
    """10 to 90 % of the supply over 60 degrees, 64 samples of 10 bits."""
    told = float(re.search(r"#define TILT_UNITS ([0-9.]+)f", CONFIG).group(1))

    assert abs(told / (60.0 / (0.8 * 1023 * 64)) - 1.0) < 1e-4


def test_its_channels_are_those_of_the_example_rig_file():
    rig = parse_rig((FOLDER.parent / "rig.example.toml").read_text())
    names = [*re.findall(r'"(\w+)"', re.search(r"#define CONVERTER_NAMES (.*)", CONFIG).group(1)), "tilt"]

    assert names == [channel.name for channel in rig.channels]


def test_the_page_on_porting_names_every_function_a_port_has_to_write():
    declared = re.findall(r"\b(board_\w+)\(", re.sub(r"/\*.*?\*/", "", (FOLDER / "board.h").read_text(), flags=re.S))
    page = (FOLDER / "porting.md").read_text()
    listed = re.findall(r"`(board_\w+)`", " ".join(cells[0] for cells in table(page, "function")))

    assert sorted(listed) == sorted(declared)
    assert f"the {len(declared)} functions of" in page


def test_every_page_named_from_the_first_sweep_is_there():
    page = (FOLDER.parent / "first_sweep.md").read_text()

    assert all((FOLDER.parent / name).exists() for name in re.findall(r"\]\(([^)#]+)\)", page))


def test_the_weights_of_the_first_sweep_cover_what_a_rider_puts_on_each_cell():
    """Else the page warns at every ride that the loads are beyond the calibrated span."""
    page = (FOLDER.parent / "first_sweep.md").read_text()
    heaviest_kg = max(map(float, re.search(r"calibrate bench .*?--kg ([0-9.,]+)", page).group(1).split(",")))
    jig = SimulatedJig(DEMO)
    most_n = 0.0
    for setback_mm in range(80, 20, -10):
        jig.set_setback(setback_mm)
        most_n = max(most_n, float(jig.advance(20.0).cells_n.mean(axis=0).max()))

    assert 200.0 < most_n < heaviest_kg * 9.8


def test_the_calibration_of_the_first_sweep_asks_for_what_the_command_knows():
    page = (FOLDER.parent / "first_sweep.md").read_text()
    asked = re.search(r"`foreaft calibrate bench (.*?)`", page).group(1).split()
    known = {option for each in bench.params for option in each.opts}

    assert set(asked[::2]) <= known
    assert "--cross-talk-kg" in asked  # a weight on one cell shows on the other of its support: the daily check adds up
