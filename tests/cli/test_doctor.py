"""The command as its user types it, with a board on a pseudo-terminal."""

import asyncio
import json
import subprocess
import sys

import pytest
import uvloop
from click.testing import CliRunner

from daq.cli import main
from daq.live.checkup import jig as checked_jig
from daq.live.typed_rig import typed_rig_text
from daq.measure.calibration import CalibratedChannel, Calibration, to_dict
from tests.faults.links import SLOPE
from tests.live.transmitters import LINES
from tests.rigs import rig_text
from tests.sources.fake_board import FakeBoard
from tests.sources.waiting import running


def doctor(*words):
    """In this process: nothing has to run beside it."""
    return CliRunner().invoke(main, ["doctor", *map(str, words)])


def doctor_beside(board, *words):
    """In a process of its own, while the board sends."""

    async def ask():
        command = [sys.executable, "-m", "daq.cli", "doctor", *map(str, words)]
        async with running(board.run()):
            return await asyncio.to_thread(subprocess.run, command, capture_output=True, text=True, timeout=90)

    return uvloop.run(ask())


@pytest.fixture
def jig(tmp_path):
    """A board, and the rig file and calibration that fit it empty."""
    fake = FakeBoard()
    channels = (
        CalibratedChannel("hands", "force", (0.0, SLOPE), zero_counts=10_000.0),
        CalibratedChannel("saddle", "force", (0.0, SLOPE), zero_counts=50_000.0),
        CalibratedChannel("tilt", "tilt", (0.0, 0.001)),
    )
    calibration = Calibration("test", "2026-01-01T00:00:00+00:00", channels)
    (tmp_path / "calibration.json").write_text(json.dumps(to_dict(calibration)))
    rig = tmp_path / "rig.toml"
    rig.write_text(rig_text(f'calibration = "calibration.json"\n[board]\nport = "{fake.port}"'))
    yield fake, rig
    fake.unplug()


def test_a_jig_in_order_passes_and_the_text_can_be_copied(jig, tmp_path):
    fake, rig = jig

    done = doctor_beside(fake, "--rig", rig, "--store", tmp_path / "s.sqlite", "--seconds", 2)

    assert done.returncode == 0, done.stdout
    assert "looking at the jig for 2 s; leave it empty and still" in done.stderr
    assert done.stdout.startswith("foreaft ")
    assert "hands            noise 0.03 N rms, zero off by +0.0 N" in done.stdout
    assert "caution  setback scale    not checked" in done.stdout
    assert "caution  proof            jig not proved: prove it" in done.stdout
    assert "checks: 0 failed" in done.stdout


@pytest.fixture
def impatient(monkeypatch):
    """A board that sends nothing is waited for 1 s, not 10."""
    monkeypatch.setattr(checked_jig, "WAIT_S", 1.0)


def test_a_silent_board_fails_with_its_reason(impatient, jig, tmp_path):
    _, rig = jig

    done = doctor("--rig", rig, "--store", tmp_path / "s.sqlite", "--seconds", 1, "--json")

    (board,) = [check for check in json.loads(done.stdout) if check["part"] == "board"]
    assert done.exit_code == 1
    assert board["state"] == "failed"
    assert "is open, but nothing arrives" in board["words"]


def test_a_bought_transmitter_is_called_by_its_name(impatient, jig, tmp_path):
    fake, rig = jig
    rig.write_text(rig_text(LINES.format(port=fake.port), ("hands", "saddle")))

    done = doctor("--rig", rig, "--store", tmp_path / "s.sqlite", "--seconds", 1, "--json")

    checks = {check["part"]: check for check in json.loads(done.stdout)}
    assert checks["transmitter"]["state"] == "failed"
    assert "board" not in checks


def test_without_a_rig_the_machine_alone_is_looked_at(tmp_path):
    done = doctor("--store", tmp_path / "s.sqlite", "--seconds", 1, "--json")

    checks = json.loads(done.stdout)
    assert done.exit_code == 0
    assert {"disk", "clock", "port", "bluetooth"} == {check["part"] for check in checks}


def test_a_broken_rig_file_is_one_failed_check_among_the_others(tmp_path):
    rig = tmp_path / "rig.toml"
    rig.write_text("name = 3")

    done = doctor("--rig", rig, "--store", tmp_path / "s.sqlite", "--seconds", 1)

    assert done.exit_code == 1
    assert "failed   rig file" in done.stdout
    assert "disk" in done.stdout


def test_a_scale_that_is_read_has_no_board_to_wait_for_and_says_what_is_missing(tmp_path):
    path = tmp_path / "typed.toml"
    path.write_text(typed_rig_text("kg", None))

    done = doctor("--rig", path, "--store", tmp_path / "s.sqlite", "--seconds", 1, "--json")
    found = {check["figures"].get("sensor"): check for check in json.loads(done.stdout)}

    assert "board" not in {check["part"] for check in found.values()}
    assert "looking at the jig" not in done.stderr
    half, one = found["cell"]["figures"]["widths_mm"]
    assert half > one > found["cell"]["figures"]["with_it_mm"][1]
    assert found["saddle"]["figures"]["widths_mm"] == []
    assert "hips that slide on the saddle" in found["saddle"]["words"]
