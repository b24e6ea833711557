"""What single-axis jigs may assume of the hands, from sweeps in a store that were ridden where it is measured."""

import tomllib

import pytest
from click.testing import CliRunner

from daq.cli import main
from daq.keep.clients import people
from daq.keep.store import Store
from daq.measure.calibration import to_dict
from daq.rig_file import parse_rig
from tests import pulled
from tests.keep.jig import begin
from tests.ridden import CALIBRATION, PLAN, ridden
from tests.rigs import rig_text


def stored(store, items, calibration, rig, *, client_id=None, simulated=False):
    session_id = begin(store, rig=rig, calibration=to_dict(calibration), simulated=simulated)
    for start in range(0, len(items), 50):
        store.put(session_id, items[start : start + 50])
    sweep_id = store.begin_sweep(
        session_id, from_us=0, plan=PLAN, rider={"mass_kg": 75.0}, gradient_pct=0, calibration=to_dict(calibration),
        client_id=client_id,
    )  # fmt: skip
    store.end_sweep(sweep_id, to_us=store.last_us(session_id) + 1, state="finished")
    return sweep_id


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    """Sweeps 1 and 2 of nobody, 3 of a client, 4 simulated, 5 on a jig without such a cell."""
    path = tmp_path_factory.mktemp("along") / "store.sqlite"
    with Store.open(path) as store:
        items, rig = pulled.items(), rig_text(channels=pulled.ROLES)
        client = people.add_client(store).id
        for how in ({}, {}, {"client_id": client}, {"simulated": True}):
            stored(store, items, pulled.CALIBRATION, rig, **how)
        stored(store, ridden(100), CALIBRATION, rig_text())
    return path


def learned(path, *sweeps):
    return CliRunner().invoke(main, ["balance", *map(str, sweeps), "--learn", "--store", str(path)])


def test_stored_sweeps_tell_the_table_of_another_rig_file(path):
    """The rider of these sweeps pulls with 60 N at each of five positions, and no spread tells how riders differ."""
    done = learned(path, 1)
    table = tomllib.loads(done.output)["unseen"]

    assert table["hands_tangential_n"] == pulled.PULL_N
    assert table["hands_tangential_u_n"] == 20.0
    assert table["source"] == "from 5 positions of 1 rider measured, too few to tell how riders differ"
    assert parse_rig(rig_text() + done.output).unseen.hands_tangential_n == pulled.PULL_N


def test_sweeps_of_nobody_are_one_riders_and_a_simulated_rider_is_said(path):
    assert "from 15 positions of 2 riders measured" in learned(path, 1, 2, 3, 3).output
    assert '"SIMULATED, from 5 positions' in learned(path, 4).output


@pytest.mark.parametrize(
    ("sweeps", "code", "says"),
    [
        ((1, 4), 2, "some of these riders are simulated and some real"),
        ((5,), 2, "sweep 5: its jig has no channel with role 'hands tangential'"),
        ((9,), 4, "no sweep 9"),
        ((1, "states.json"), 2, "expected one file, or with --learn the numbers of stored sweeps"),
    ],
)
def test_sweeps_that_do_not_tell_are_refused_with_the_reason(path, sweeps, code, says):
    done = learned(path, *sweeps)

    assert (done.exit_code, done.stdout) == (code, "")
    assert says in done.stderr
