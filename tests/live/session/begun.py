"""Parts of a session, put together by hand."""

from daq.keep.store import Store
from daq.live.session.acquisition import Acquisition, Rider
from daq.live.session.storing import Storing
from daq.sources.clock import SessionClock
from tests.ridden import CALIBRATION, RIG


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


def acquisition_into(storing, recorder=None):
    """What takes in a board and a power sensor, and hands it to this."""
    return Acquisition(
        RIG, CALIBRATION, SessionClock(), Rider("R-1", 75.0), storing=storing, simulated=True, recorder=recorder
    )
