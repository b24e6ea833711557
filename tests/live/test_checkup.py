"""Checks of machine and jig: what each says when all is well, and when it is not."""

import asyncio
import datetime
import shutil
from collections import namedtuple

import pytest
import uvloop
from serial.tools import list_ports

from daq.keep.store import Store
from daq.live.checkup import (
    check_bluetooth,
    check_clock,
    check_disk,
    check_jig,
    check_ports,
    check_proof,
    check_sensors,
    jig,
    machine,
)
from daq.live.demo import rig_text_of
from daq.measure.calibration import CalibratedChannel, Calibration
from daq.proof.certificate import rig_tables
from daq.proof.proved import proved
from daq.proof.sheet import parts_of
from daq.rider.jig_geometry import JigGeometry
from daq.rig_file import parse_rig
from daq.sources.radio import Radio
from daq.wire import csc
from tests.faults.links import BOARD, SLOPE
from tests.proof.simulated_sheet import PLANK, begun, worked
from tests.rigs import rig_text
from tests.sources.conftest import bus as private_bus
from tests.sources.fake_bluez import FakeBluez
from tests.sources.fake_board import FakeBoard, usb_port
from tests.sources.waiting import running

bus = private_bus
SADDLE = CalibratedChannel("saddle", "force", (0.0, SLOPE), zero_counts=50_000.0)
Usage = namedtuple("Usage", "total used free")


@pytest.fixture
def board(monkeypatch):
    fake = FakeBoard()
    monkeypatch.setattr(list_ports, "comports", lambda: [usb_port(fake.port)])
    monkeypatch.setattr(jig, "WAIT_S", 2.0)
    yield fake
    fake.unplug()


def looked_at(board, *, hands_zero=10_000.0, saddle=SADDLE, more="", seconds=1.5, beside=()):
    """The checks of a jig with this board, by part. beside: what else goes on meanwhile."""
    channels = (
        CalibratedChannel("hands", "force", (0.0, SLOPE), zero_counts=hands_zero),
        saddle,
        CalibratedChannel("tilt", "tilt", (0.0, 0.001)),
    )
    calibration = Calibration("test", "2026-01-01T00:00:00+00:00", channels)

    async def look():
        async with running(board.run(), *beside):
            return await check_jig(parse_rig(rig_text(BOARD + more)), calibration, seconds)

    return {check.part: check for check in uvloop.run(look())}


def test_an_empty_jig_in_order_is_well_with_its_figures(board, monkeypatch):
    monkeypatch.setattr(jig, "LATE_SHARE", 1.0)  # what else keeps this computer busy is told, and is not what is tested
    checks = looked_at(board)

    assert {part: check.state for part, check in checks.items() if part != "computer"} == {
        "board": "well",
        "hands": "well",
        "saddle": "well",
    }
    assert checks["board"].figures["rate_hz"] == pytest.approx(100.0, rel=0.05)
    # counts spread evenly over -5 to 5: variance (11^2 - 1)/12 = 10 counts^2
    assert checks["hands"].figures["noise_n_rms"] == pytest.approx(10**0.5 * SLOPE, rel=0.05)
    assert checks["hands"].figures["zero_n"] == pytest.approx(0.0, abs=0.05)


def test_scans_that_come_late_are_a_caution(board):
    """As another program makes them that keeps the computer busy: some of them arrive all at once."""

    async def held_up():
        while board.sent < 100:
            await asyncio.sleep(0.02)
        board.stalled = True
        await asyncio.sleep(0.4)  # less than what makes it stale
        board.stalled = False

    checks = looked_at(board, beside=[held_up()], seconds=3.0)

    assert checks["board"].state == "caution"
    assert "many scans come late: another program keeps this computer busy" in checks["board"].words


def test_a_lost_zero_is_a_caution_in_newtons(board):
    assert "zero off by +100.0 N" in looked_at(board, hands_zero=0.0)["hands"].words
    assert looked_at(board, hands_zero=0.0)["hands"].state == "caution"


def test_a_cell_without_a_calibration_is_failed_and_no_figure_is_made_up(board):
    checks = looked_at(board, saddle=CalibratedChannel("saddle", "unused"))

    assert checks["hands"].state == "well"
    assert (checks["saddle"].state, checks["saddle"].figures) == ("failed", {})
    assert checks["saddle"].words.startswith("not calibrated, its newtons are unknown: `foreaft calibrate bench`")


def test_a_board_that_is_not_there_is_failed_with_what_is_plugged_in(board, monkeypatch):
    monkeypatch.setattr(list_ports, "comports", lambda: [usb_port("/dev/ttyACM9", serial_number="other")])
    monkeypatch.setattr(jig, "WAIT_S", 0.1)

    checks = looked_at(board, seconds=0.2)

    assert checks["board"].state == "failed"
    assert "no device FJ-0001 is plugged in; ports here: /dev/ttyACM9" in checks["board"].words
    assert "hands" not in checks


def test_frames_lost_on_the_way_are_a_caution(board):
    async def damage():
        while True:
            await asyncio.sleep(0.05)
            board.write(board.scans(1)[:7])

    async def look():
        async with running(damage()):
            await asyncio.sleep(60)

    original = board.run

    async def run():
        async with running(look()):
            await original()

    board.run = run
    check = looked_at(board)["board"]

    assert check.state == "caution"
    assert check.figures["damaged"] > 0
    assert "something is lost on the way: look at its cable and at the baud" in check.words


def test_a_stuck_cell_is_failed(board, monkeypatch):
    from daq.measure import cell_checks

    monkeypatch.setattr(cell_checks, "STUCK_S", 1)
    board.frozen.add(1)

    check = looked_at(board, seconds=3.0)["saddle"]

    assert check.state == "failed"
    assert check.words.startswith("has not changed by one count")


def test_a_full_disk_is_failed_and_a_nearly_full_one_a_caution(tmp_path, monkeypatch):
    def free(n):
        monkeypatch.setattr(shutil, "disk_usage", lambda _: Usage(0, 0, n))
        return check_disk(tmp_path / "new" / "store.sqlite").state

    assert [free(10**n) for n in (7, 9, 11)] == ["failed", "caution", "well"]


def test_a_store_that_may_not_be_written_is_failed(tmp_path, monkeypatch):
    monkeypatch.setattr(machine.os, "access", lambda *_: False)

    check = check_disk(tmp_path / "store.sqlite")

    assert check.state == "failed"
    assert "may not write" in check.words


def test_a_clock_behind_the_last_session_is_failed(tmp_path):
    with Store.open(tmp_path / "store.sqlite") as store:
        store.begin_session(
            started_utc=(datetime.datetime.now(datetime.UTC) + datetime.timedelta(days=2)).isoformat(),
            monotonic_origin_ns=0,
            software="test",
            rig="",
            calibration={},
            simulated=True,
        )

    check = check_clock(tmp_path / "store.sqlite")

    assert check.state == "failed"
    assert "but the last session began at" in check.words


@pytest.mark.parametrize(("set_by_network", "state"), [(True, "well"), (False, "caution")])
def test_a_clock_not_set_by_the_network_is_a_caution(tmp_path, monkeypatch, set_by_network, state):
    monkeypatch.setattr(machine, "NETWORK_TIME", tmp_path if set_by_network else tmp_path / "not there")

    assert check_clock(tmp_path / "store.sqlite").state == state


def test_ports_are_listed_with_what_the_rig_file_needs_and_their_permission(board, monkeypatch):
    (open_to_us,) = check_ports()
    monkeypatch.setattr(machine.os, "access", lambda *_: False)
    (closed_to_us,) = check_ports()

    assert open_to_us.state == "well"
    assert "usb_id 16c0:0483, usb_serial FJ-0001" in open_to_us.words
    assert closed_to_us.state == "caution"
    assert "add the user to its group (often dialout)" in closed_to_us.words


def test_sensors_in_range_are_listed_and_a_weak_one_is_a_caution_when_it_is_needed(bus):
    async def look(rssi_dbm, needed):
        bluez = FakeBluez(bus.address)
        await bluez.start()
        services = {csc.SERVICE_UUID: {csc.MEASUREMENT_UUID: (["notify"],)}}
        bluez.add("AA:BB:CC:00:00:02", "crank", services, rssi_dbm=rssi_dbm)
        check = await check_bluetooth(Radio(), 0.3, needed=needed)
        await bluez.stop()
        return check

    assert "adapter well; in range: crank" in uvloop.run(look(-60, True)).words
    states = [uvloop.run(look(rssi, needed)).state for rssi, needed in ((-60, True), (-93, True), (-93, False))]
    assert states == ["well", "caution", "well"]


@pytest.mark.parametrize(("needed", "state"), [(True, "failed"), (False, "caution")])
def test_no_bluetooth_is_a_failure_only_for_a_rig_that_needs_it(bus, needed, state):
    check = uvloop.run(check_bluetooth(Radio(), 0.1, needed=needed))

    assert check.state == state
    assert "the Bluetooth service is not running" in check.words


def test_a_rig_that_lacks_nothing_is_told_so_in_one_line_and_one_that_lacks_power_what_it_lacks():
    whole = rig_text_of(JigGeometry(), "/dev/null", ("hands", "saddle", "tilt"))

    (well,) = check_sensors(parse_rig(whole + '[power]\nname = "crank"\n'))
    (lacks,) = check_sensors(parse_rig(whole))
    assert (well.state, well.words) == ("well", "hands, saddle, hips, tilt and effort are measured")
    assert lacks.state == "caution"


# --- setback scale and proof ----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def proved_rig():
    """A rig file with the tables of a proof of its jig, made on 4 March 2025 with calibration c1."""
    bare = parse_rig(rig_text())
    made = proved(worked(begun(parts=parts_of(bare, "c1"), simulated=False), PLANK))
    return parse_rig(f"{rig_text()}\n{rig_tables(made)}")


def stands(rig, calibration="c1", now="2025-05-04T10:00:00+00:00"):
    """State and words of the checks of scale and proof."""
    return {check.part: (check.state, check.words) for check in check_proof(rig, calibration, now)}


def test_a_proof_that_stands_is_well_and_says_until_when(proved_rig):
    said = stands(proved_rig)

    assert [state for state, _ in said.values()] == ["well", "well"]
    assert said["setback scale"][1].startswith("checked 2025-03-04: at 60 mm the saddle is ")
    assert said["proof"][1].startswith("jig proved 2025-03-04: a known onset found within ")
    assert said["proof"][1].endswith("; valid to 2026-03-04")


@pytest.mark.parametrize(
    ("calibration", "now", "why"),
    [
        ("c2", "2025-05-04T10:00:00+00:00", "a part or the calibration was changed since the proof of 2025-03-04"),
        ("c1", "2026-03-05T10:00:00+00:00", "the proof of 2025-03-04 is older than 12 months"),
    ],
)
def test_a_proof_that_stands_no_more_is_a_caution_with_its_reason(proved_rig, calibration, now, why):
    state, words = stands(proved_rig, calibration, now)["proof"]

    assert state == "caution"
    assert words == f"jig not proved: {why}: prove it with a dummy, `foreaft prove run`"


def test_a_jig_that_failed_its_proof_is_a_failure(proved_rig):
    failed = proved_rig.model_copy(update={"proof": proved_rig.proof.model_copy(update={"passed": False})})

    state, words = stands(failed)["proof"]

    assert state == "failed"
    assert words.startswith("jig not proved: it failed on 2025-03-04: mend what its certificate names")


def test_a_jig_without_scale_and_proof_is_told_how_to_have_them():
    said = stands(parse_rig(rig_text()))

    assert [state for state, _ in said.values()] == ["caution", "caution"]
    assert "not checked: check it with a caliper, `foreaft prove scale`" in said["setback scale"][1]
    assert "`foreaft prove run`" in said["proof"][1]


def test_a_jig_that_cannot_be_proved_is_not_asked_for_a_proof():
    assert set(stands(parse_rig(rig_text(channels=("hands",))))) == {"setback scale"}


@pytest.mark.parametrize(
    ("wrong", "cure"),
    [({"offset_mm": -2.9}, "move the scale"), ({"slope_error": 0.02}, "change the scale"),
     ({"backlash_mm": -0.8}, "take the play out")],
)  # fmt: skip
def test_a_scale_that_is_off_is_a_caution_with_its_cure(proved_rig, wrong, cure):
    off = proved_rig.model_copy(update={"setback_scale": proved_rig.setback_scale.model_copy(update=wrong)})

    state, words = stands(off)["setback scale"]

    assert state == "caution"
    assert cure in words
