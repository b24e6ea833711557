"""Sessions in which nothing is ridden, but received, second by second."""

from daq.items import Event, Notification
from tests.keep.jig import begin, pedalling

POWER = "00002a63-0000-1000-8000-00805f9b34fb"


def ridden(store, *, scans_s=(), notified_s=(), answer=None, **session):
    """A session with one sweep of 60 s; the seconds in which scans and notifications were received."""
    session_id = begin(store, **session)
    sweep_id = store.begin_sweep(session_id, from_us=0, plan={}, rider={}, gradient_pct=0.0, calibration={})
    items = []
    for second in scans_s:
        samples = pedalling(scans=100, rate_hz=100, channels=2, from_us=second * 1_000_000, source="board")
        items.append(samples)
    items += [Notification(second * 1_000_000 + 999, "power", POWER, b"x") for second in notified_s]
    items.append(Event(59_999_000, "mark", {}))
    store.put(session_id, items)
    store.end_sweep(sweep_id, to_us=60_000_000, state="finished")
    if answer is not None:
        store.put_result(sweep_id, kind="onset", method="m", content={"validity": [{"test": "torque", **answer}]})
    return session_id
