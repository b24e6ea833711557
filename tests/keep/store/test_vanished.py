"""What a store that takes over from a vanished one knows of the file left behind."""

from daq.keep.store import Store
from daq.keep.store.sessions import copies_of
from daq.keep.store.vanished import carry_over
from daq.sweep.plan import Plan, out_and_back
from tests.keep.jig import CALIBRATION, recorded

PLAN = Plan(positions_mm=out_and_back(80.0, 30.0, 6), settle_s=6.0, dwell_s=8.0, torque_band_nm=2.0)


def test_the_file_left_behind_is_named_as_a_copy_of_every_sweep(tmp_path):
    """Somebody may find it again, renamed: a client to be forgotten has to be looked for there too."""
    old = Store.open(tmp_path / "store.sqlite")
    session_id = recorded(old, 2)
    sweep_id = old.begin_sweep(
        session_id, from_us=0, plan=PLAN, rider={"mass_kg": 75.0}, gradient_pct=0.0, calibration=CALIBRATION
    )
    old.path.unlink()

    with carry_over(old, tmp_path / "refuge") as new, new.reading() as db:
        ((kind, _, path),) = copies_of(db, [sweep_id], None)

    assert (kind, path) == ("backup", str(tmp_path / "store.sqlite"))
    assert new.path == tmp_path / "store.1.carried-over.sqlite"
