"""Stores as older versions made them."""

from daq.keep.store.rows import insert_row


def made(db):
    calibration = insert_row(db, "calibrations", digest="d", kept_utc="2026-01-01T00:00:00Z", content="{}")
    insert_row(db, "clients", pseudonym="R-ABCDEF", since_utc="2026-01-01T00:00:00+00:00")
    session = {"started_utc": "2026-01-01T00:00:00+00:00", "monotonic_origin_ns": 1, "software": "0", "rig": "r"}
    insert_row(db, "sessions", **session, calibration_id=calibration, simulated=0)
    insert_row(db, "events", session_id=1, received_us=5, kind="mark", content='{"text":"old"}')
    insert_row(db, "events", session_id=1, received_us=6, kind="mark", content='{"text":"harmed"}')
    insert_row(db, "sweeps", session_id=1, client_id=1, calibration_id=1, from_us=0, gradient_pct=0.0, plan="{}",
               rider="{}")  # fmt: skip
    db.execute('UPDATE events SET content = \'{"text":"HARMED"}\' WHERE id = 2')
