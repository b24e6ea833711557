"""The daemon on the reference board's machine code, through a real pseudo-terminal: linked, calibrated, ridden."""

import asyncio
import re

import numpy as np
import pytest
import uvloop
from click.testing import CliRunner

from daq.cli import main
from daq.keep.again.recompute import recompute_stored
from daq.keep.proofs import keep
from daq.keep.store import Store
from daq.measure.calibration import expanded
from daq.rider.electronics import CELLS
from daq.rider.proof_faults import FAULTS
from daq.sources import reference_bench
from daq.sources.sniff import look_at
from daq.sweep.plan import Plan, out_and_back
from daq.sweep.run import State
from daq.values import Status, StepMean, Stroke, Verdict
from tests.firmware.running import running
from tests.live.bench.simulated import on_bench, wanted, work_through
from tests.live.jig import demo
from tests.proof.simulated_sheet import sheet_without

PLAN = Plan(positions_mm=out_and_back(85.0, 25.0, 8), settle_s=6.0, dwell_s=12.0, torque_band_nm=2.0)
PACE = 20.0


@pytest.fixture(scope="module")
def ridden(built, tmp_path_factory):
    """A sweep on the board, its supply dipping in the middle of the third step."""
    folder = tmp_path_factory.mktemp("reference")
    outputs, boots = [], []

    def see(output):
        outputs.append(output)
        if isinstance(output, StepMean) and len([o for o in outputs if isinstance(o, StepMean)]) == 2:
            asyncio.get_running_loop().call_later(10.0 / PACE, dip)

    def dip():
        boots.append(running_demo.session.acquisition.sensors.greeting.boot)
        running_demo.board.bench.brown_out()

    with demo(folder, pace=PACE, plan=PLAN, reference=built, on_output=see) as running_demo:
        uvloop.run(running_demo.run(None, by_hand=False, when_done=lambda: None))
        boots.append(running_demo.session.acquisition.sensors.greeting.boot)
        yield folder, running_demo, outputs, boots


def test_the_daemon_rides_a_sweep_on_the_board_and_names_the_onset(ridden):
    _, made, outputs, _ = ridden
    low_mm, high_mm = made.session.acquisition.ride.onset.interval_95_mm

    assert made.session.sweep.progress.state is State.FINISHED
    assert [o.setback_mm for o in outputs if isinstance(o, StepMean)] == list(PLAN.positions_mm)
    assert made.session.acquisition.ride.onset.verdict is Verdict.ONSET
    assert low_mm <= made.truth_fields()["onset_mm"] <= high_mm


def test_a_restart_of_the_board_in_mid_sweep_is_another_boot_and_loses_nothing(ridden):
    _, made, _, boots = ridden

    assert boots[1] == boots[0] + 1
    assert made.session.acquisition.sensors.decoder.lost[0] == 0
    assert made.session.acquisition.sensors.decoder.lost[1] <= 1  # the frame that was cut off


def test_strokes_are_cut_by_the_boards_crank_mark(ridden):
    _, _, outputs, _ = ridden

    strokes = [o for o in outputs if isinstance(o, Stroke)]
    assert np.mean([stroke.cadence_rpm for stroke in strokes[20:]]) == pytest.approx(90.0, rel=0.02)
    assert all(stroke.flags & Status.CRANK_MARK for stroke in strokes)


def test_the_stored_sweep_computes_again_to_the_same_bits(ridden):
    folder, made, outputs, _ = ridden

    with Store.open(folder / "demo.sqlite", write=False) as store:
        again = recompute_stored(store, 1)

    assert repr(list(again.steps)) == repr([o for o in outputs if isinstance(o, StepMean)])
    assert repr(again.onset) == repr(made.session.acquisition.ride.onset)


def test_a_calibration_with_weights_on_the_board_gives_the_loads_back(built, tmp_path):
    """One simulated cell and weights; the truth lies within what the calibration states."""
    wish = wanted(cells=("hands_left",), masses_kg=(10, 20, 40), read_s=2, series=2)

    async def all_of_it(made):
        await made.session.calibrating.begin_bench(wish)
        await work_through(made)

    made = on_bench(tmp_path / "bench.sqlite", all_of_it, pace=2 * PACE, reference=built)
    (cell,) = made.session.calibrating.bench.calibration.forces

    for load_n in (50.0, 150.0, 300.0):
        counts = made.jig.faults[cell.name].shown_n(load_n) / made.jig.electronics.newtons_per_count[0]
        error_n = np.polynomial.polynomial.polyval(counts, [0.0, *cell.coefficients[1:]]) - load_n
        assert abs(error_n) <= expanded(cell.uncertainty, load_n).expanded_n < 1.0


def test_the_probe_recognises_the_board(built):
    with running(built) as on:
        pieces = [(int(us), data) for us, data in on.bench.run_pieces(4e6)]

    found = look_at(pieces, baud=250_000)

    assert found.protocol == "board"
    assert "firmware 'reference 1.0, power-on, 5.0 V', set to 80 scans/s" in found.words
    assert found.rate_hz == pytest.approx(80.0, rel=0.01)
    assert [channel.name for channel in found.channels] == [*CELLS, "tilt"]
    assert (found.dropped, found.damaged) == (0, 0)


def test_the_demo_says_what_to_install_where_the_compiler_is_missing(monkeypatch):
    monkeypatch.setattr(reference_bench, "PACKAGES", {"no-such-compiler": "gcc-avr"})

    done = CliRunner().invoke(main, ["demo", "--headless", "--board", "reference"])

    assert done.exit_code == 3
    assert "apt install gcc-avr" in done.stderr


def test_a_proof_on_the_board_names_the_gain_that_is_wrong(tmp_path):
    """The weights on the bar, and some of the dummy's pull, read by the machine code; the rest is on the sheet."""
    keep(sheet_without("empty", "bar/", "loaded/1", wrong=FAULTS["gain"]), tmp_path / "p.json")
    words = ("--simulated", "--board", "reference", "--pace", "10", "--fault", "gain", "--store", tmp_path / "s.sqlite")

    done = CliRunner().invoke(main, ["prove", "run", str(tmp_path / "p.json"), *map(str, words)])

    assert done.exit_code == 1, done.stderr
    told = re.search(r"the hands' cells show \+(\d\.\d\d) ± (\d\.\d\d) %", done.stdout)
    assert told, done.stdout
    shown_pct, expanded_pct = map(float, told.groups())
    # how the readings fall in time is the machine's; what is stated has to hold the gain that is wrong, and to tell it
    assert abs(shown_pct - 2.0) <= expanded_pct < 0.5
