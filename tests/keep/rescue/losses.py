"""What a salvage says is lost of each sweep."""

from daq.keep.again.recompute import recompute_stored
from daq.keep.rescue.salvage import salvage
from daq.keep.store import Store
from daq.keep.store.verify import verify
from tests.faults.rescue import harm

SWEEPS = 5
"""Four of one session and one of the next."""


def unlist_indices(path):
    """As if their pages were lost too: nothing leads to them any more."""
    harm(path, "PRAGMA writable_schema = ON", "DELETE FROM sqlite_schema WHERE name LIKE '%_by_time'")


def salvaged(path):
    """(what the salvage says is lost, the losses of each sweep)."""
    target = path.with_name("new.sqlite")
    found = salvage(path, target)
    with Store.open(target, write=False) as new:
        assert verify(new).problems == ()
        return found, {sweep.id: recompute_stored(new, sweep.id).losses for sweep in new.sweeps()}
