import contextlib
import datetime
from pathlib import Path

import pytest
from fastcrc import crc32

from daq.keep.clients import people, visits
from daq.keep.clients.joins import add_join
from daq.keep.store import Store, calibrations
from daq.keep.store.checksums import CHANGING, COVERED, row_crc
from daq.keep.store.sessions import add_copy
from daq.keep.store.verify import verify
from daq.measure.calibration.status import SensitivityCheck
from tests.keep.jig import recorded
from tests.measure.calibration.jig import jig

ROW = {"session_id": 12, "received_us": -5, "kind": "märk", "content": "{}"}


def test_the_checksum_is_crc_32_of_length_type_and_bytes_of_each_column():
    # Text by hand; CRC by another library, whose own check value is that of CRC-32/ISO-HDLC (G. Cook's catalogue).
    assert crc32.iso_hdlc(b"123456789") == 0xCBF43926

    text = b"2i12" + b"2i-5" + b"5sm\xc3\xa4rk" + b"2s{}"
    assert row_crc("events", ROW) == crc32.iso_hdlc(text)


@pytest.mark.parametrize("change", [{"session_id": 13}, {"received_us": 5}, {"kind": "mark"}, {"content": b"{}"}])
def test_any_change_of_value_or_type_changes_it(change):
    assert row_crc("events", {**ROW, **change}) != row_crc("events", ROW)


def fill_the_other_tables(store, session_id):
    client = people.add_client(store, name="Max", keep_until=datetime.date(2030, 1, 1))
    people.set_consent(store, client.id, "research", True)
    twin = people.add_client(store, name="Max again", keep_until=datetime.date(2030, 1, 1))
    with store.writing() as db:
        add_copy(db, "backup", Path("/elsewhere"), [1], client_id=client.id)
        add_join(db, "joined", client.id, twin.id, {})
    visit = visits.begin_visit(store, client.id, session_id)
    visits.add_note(store, visit, "intake", {})
    bench = calibrations.begin_bench(store, session_id, {})
    calibrations.add_step(store, bench, "skip", {})
    calibrations.add_certificate(store, jig(), bench, {})
    check = SensitivityCheck("hands_left", "2025-03-05T08:00:00Z", 196.13, 0.01, 196.2, 0.2)
    calibrations.add_check(store, jig(), check)


class Undone(Exception):
    """Ends a transaction that is to change nothing."""


@pytest.mark.parametrize("table", sorted(COVERED))
def test_verify_finds_a_changed_column_of_any_covered_table(tmp_path, table):
    with Store.open(tmp_path / "store.sqlite") as store:
        session_id = recorded(store, 1)
        sweep_id = store.begin_sweep(session_id, from_us=0, plan={}, rider={}, gradient_pct=0, calibration={"a": 1})
        store.put_result(sweep_id, kind="onset", method="grid/1", content={})
        store.end_sweep(sweep_id, to_us=9, state="finished")
        store.end_session(session_id, ended_us=9)
        fill_the_other_tables(store, session_id)
        assert verify(store).problems == ()
        with store.reading() as db:
            db.execute("PRAGMA foreign_keys = OFF")
            db.execute("PRAGMA ignore_check_constraints = ON")
        for column in (*COVERED[table], *CHANGING.get(table, ())):
            with contextlib.suppress(Undone), store.writing() as db:
                kind = db.execute(f"SELECT typeof({column}) FROM {table}").fetchone()[0]
                other = {
                    "integer": f"{column} + 1000",
                    "real": f"{column} + 1",
                    "text": f"{column} || ' '",
                    "blob": f"CAST({column} || x'00' AS BLOB)",
                    "null": "1000",
                }[kind]
                db.execute(f"UPDATE {table} SET {column} = {other}")
                assert verify(store).problems, column
                raise Undone
        assert verify(store).problems == ()
