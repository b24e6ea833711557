"""A session with a sweep under way."""

from daq.keep.store import Store
from daq.live.session.storing import Storing


def begun(path, **options):
    store = Store.open(path)
    session_id = store.begin_session(
        started_utc="2026-01-01T00:00:00+00:00",
        monotonic_origin_ns=0,
        software="test",
        rig="",
        calibration={},
        simulated=True,
    )
    return store, Storing(store, session_id, **options)
