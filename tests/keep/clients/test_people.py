import datetime
import re
import sqlite3

import numpy as np
import pytest

from daq.items import Event
from daq.keep.clients import people
from daq.keep.clients.forgetting import forget
from daq.keep.errors import NotThere, StoreBusy, StoreError
from daq.keep.store import Store
from daq.keep.store.backup import back_up, restore
from daq.keep.store.verify import verify
from tests.keep.jig import begin, concatenated, recorded, second_of_session

NAME = "Ada Quetzalcoatl-Featherstone"


@pytest.fixture
def path(tmp_path):
    return tmp_path / "store.sqlite"


@pytest.fixture
def store(path):
    with Store.open(path) as opened:
        yield opened


def sweep(store, session_id, client, from_us, to_us):
    sweep_id = store.begin_sweep(
        session_id, from_us=from_us, plan={}, rider={}, gradient_pct=0, calibration={}, client_id=client.id
    )
    store.put_result(sweep_id, kind="onset", method="grid/1", content={"onset_mm": 90})
    store.end_sweep(sweep_id, to_us=to_us, state="finished")
    return sweep_id


def test_a_pseudonym_says_nothing_of_the_name_and_can_be_read_aloud(store):
    made = [people.add_client(store, name=NAME) for _ in range(50)]

    assert len({client.pseudonym for client in made}) == 50
    assert all(re.fullmatch(r"R-[2-9A-HJKMNP-TV-Z]{6}", client.pseudonym) for client in made)
    assert people.client_called(store, made[0].pseudonym.lower()) == made[0]
    assert people.name_of(store, made[0].id) == NAME


def test_the_latest_word_on_a_consent_counts_and_silence_is_no(store):
    client = people.add_client(store)
    people.set_consent(store, client.id, "service", True)
    people.set_consent(store, client.id, "research", True)
    people.set_consent(store, client.id, "research", False)

    assert people.consents(store, client.id) == {"service": True, "research": False, "images": False}
    with pytest.raises(ValueError, match="expected one of service, research, images, got 'marketing'"):
        people.set_consent(store, client.id, "marketing", True)


def test_records_past_their_date_are_listed(store):
    early = people.add_client(store, keep_until=datetime.date(2027, 1, 31))
    people.add_client(store, keep_until=datetime.date(2028, 1, 31))
    people.add_client(store)

    assert [one for one in people.clients(store) if people.is_overdue(one, datetime.date(2027, 1, 31))] == []
    assert [one for one in people.clients(store) if people.is_overdue(one, datetime.date(2027, 2, 1))] == [early]


def test_a_forgotten_client_leaves_no_trace_in_the_files(store, path):
    client = people.add_client(store, name=NAME)
    session_id = begin(store, client_id=client.id)
    store.put(session_id, second_of_session(0))
    sweep(store, session_id, client, 0, 1_000_000)
    pseudonym = client.pseudonym.encode()
    assert any(NAME.encode() in file.read_bytes() for file in path.parent.iterdir())

    forgotten = forget(store, client.pseudonym)
    assert (forgotten.sessions, forgotten.sweeps) == (1, 1)
    for file in path.parent.iterdir():
        content = file.read_bytes()
        assert NAME.encode() not in content
        assert pseudonym not in content
    assert store.sessions() == []
    assert verify(store).problems == ()


def test_others_keep_theirs_in_a_shared_session(store):
    session_id = recorded(store, 10)
    first, second = people.add_client(store), people.add_client(store)
    sweep(store, session_id, first, 2_500_000, 4_500_000)
    kept = sweep(store, session_id, second, 5_000_000, 9_000_000)
    before = concatenated(list(store.read_items(session_id)))

    assert forget(store, first.pseudonym).sessions == 0
    after = concatenated(list(store.read_items(session_id)))
    gone = (before.received_us >= 2_500_000) & (before.received_us < 4_500_000)
    assert after.received_us.tolist() == before.received_us[~gone].tolist()
    assert after.counts.tolist() == before.counts[~gone].tolist()
    assert [one.id for one in store.sweeps()] == [kept]
    assert verify(store).problems == ()


@pytest.mark.parametrize("entered", ["pseudonym", "exported_as"])
def test_sweeps_ridden_without_a_visit_or_imported_go_by_what_was_entered(store, entered):
    session_id = recorded(store, 10)
    for whose, from_us, to_us in (("R-0042", 1_000_000, 3_000_000), ("R-0043", 5_000_000, 6_000_000)):
        store.begin_sweep(session_id, from_us=from_us, plan={}, rider={entered: whose}, gradient_pct=0, calibration={})
        store.end_sweep(len(store.sweeps()), to_us=to_us, state="finished")

    gone = forget(store, "r-0042")
    assert (gone.sweeps, gone.sessions) == (1, 0)
    assert [sweep.rider for sweep in store.sweeps()] == [{entered: "R-0043"}]
    assert not list(store.read_items(session_id, 1_000_000, 3_000_000))
    with pytest.raises(NotThere, match="no client R-0042"):
        forget(store, "R-0042")
    assert forget(store, "R-0043").sessions == 1


def test_copies_out_of_reach_are_named(store, tmp_path):
    client = people.add_client(store)
    back_up(store, tmp_path / "before.sqlite")
    sweep(store, recorded(store, 1), client, 0, 1)
    back_up(store, tmp_path / "after.sqlite")

    assert forget(store, client.pseudonym).backups == (tmp_path / "after.sqlite", tmp_path / "before.sqlite")
    with pytest.raises(StoreError, match="no client"):
        people.client(store, client.id)


def test_a_backup_holds_the_name_of_a_client_who_has_not_ridden_yet(store, tmp_path):
    back_up(store, tmp_path / "before.sqlite")
    client = people.add_client(store, name=NAME)
    back_up(store, tmp_path / "after.sqlite")

    assert NAME.encode() in (tmp_path / "after.sqlite").read_bytes()
    assert forget(store, client.pseudonym).backups == (tmp_path / "after.sqlite",)


def test_after_a_restore_the_copies_made_before_are_still_named(store, path, tmp_path):
    client = people.add_client(store, name=NAME)
    sweep(store, recorded(store, 1), client, 0, 1)
    back_up(store, tmp_path / "first.sqlite")
    back_up(store, tmp_path / "second.sqlite")
    store.close()
    restore(tmp_path / "first.sqlite", path)

    with Store.open(path) as restored:
        named = forget(restored, client.pseudonym).backups
    assert named == tuple(
        sorted([*tmp_path.glob("*.before-restore"), tmp_path / "first.sqlite", tmp_path / "second.sqlite"])
    )
    assert len(named) == 3


def test_nothing_is_said_to_be_gone_while_a_reader_keeps_the_bytes_in_the_file(store, path):
    # sqlite.org/wal.html: a checkpoint cannot pass a reader that still sees an older state.
    client = people.add_client(store, name=NAME)
    reader = sqlite3.connect(path, isolation_level=None)
    reader.execute("BEGIN")
    reader.execute("SELECT name FROM client_names").fetchall()
    store.put(begin(store), second_of_session(0))

    with pytest.raises(StoreBusy, match=r"read by another program.*nothing is removed yet"):
        forget(store, client.pseudonym)
    assert people.name_of(store, client.id) == NAME
    reader.close()
    assert forget(store, client.pseudonym).overwritten
    assert not any(NAME.encode() in file.read_bytes() for file in path.parent.iterdir())


def test_a_sweeps_window_holds_its_first_microsecond_and_not_its_last(store):
    session_id = recorded(store, 4)
    scans = concatenated(list(store.read_items(session_id))).received_us
    from_us, to_us = (int(at) for at in np.unique(scans)[[15, 30]])
    store.put(session_id, [Event(at, "mark", {"text": str(at)}) for at in (from_us - 1, from_us, to_us - 1, to_us)])
    client = people.add_client(store)
    sweep(store, session_id, client, from_us, to_us)
    other = sweep(store, session_id, people.add_client(store), to_us, to_us + 1)

    forget(store, client.pseudonym)

    items = list(store.read_items(session_id))
    left = concatenated(items).received_us
    assert left.tolist() == scans[(scans < from_us) | (scans >= to_us)].tolist()
    assert {from_us - 1, to_us} == {
        item.received_us for item in items if isinstance(item, Event) and item.kind == "mark"
    }
    assert [one.id for one in store.sweeps()] == [other]


def test_what_a_forgotten_client_agreed_to_goes_too_and_what_others_did_stays(store):
    gone, stays = people.add_client(store, name=NAME), people.add_client(store)
    for client in (gone, stays):
        people.set_consent(store, client.id, "research", True)

    forget(store, gone.pseudonym)

    with store.reading() as db:
        assert db.execute("SELECT client_id, kind FROM consents").fetchall() == [(stays.id, "research")]
        assert db.execute("SELECT count(*) FROM client_names").fetchone() == (0,)
