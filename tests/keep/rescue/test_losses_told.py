"""Whatever is lost is told, in the sweeps it is missing from, and nothing that is not."""

import sqlite3

import pytest

from daq.items import Notification
from daq.keep.again.recompute import recompute_stored
from daq.keep.rescue.found_rows import found_in
from daq.keep.rescue.pages import Pages
from daq.keep.rescue.salvage import salvage
from daq.keep.store import Store
from tests.faults import rescue
from tests.faults.rescue import harm, make
from tests.keep.rescue.losses import SWEEPS, salvaged, unlist_indices


def zero_rows(path, first, last):
    """Zeroes the pages that hold notifications of these numbers; all rows that were on them, by session: (how many,
    receipt of the first and of the last)."""
    with Pages(path) as pages:
        places = found_in(pages).places["notifications"]
        wiped = {places[number][0] for number in range(first, last + 1)}
        content, size = bytearray(path.read_bytes()), pages.size
    lost = [number for number, (page, _) in places.items() if page in wiped]
    db = sqlite3.connect(path)
    told = db.execute(
        "SELECT session_id, count(*), min(received_us), max(received_us) FROM notifications "
        f"WHERE id IN ({', '.join(map(str, lost))}) GROUP BY session_id"
    ).fetchall()
    db.close()
    for page in wiped:
        content[(page - 1) * size : page * size] = bytes(size)
    path.write_bytes(content)
    return told


@pytest.mark.parametrize(
    ("table", "said", "lost"),
    [
        ("chunks", "the scans of all sweeps are lost", "scans of 'board' from "),
        ("notifications", "what sensors sent in all sessions is lost", "notifications of sensors from "),
        ("results", "the stored answers of all sweeps are lost; foreaft onset SWEEP computes", None),
    ],
)
def test_a_missing_table_is_told_with_what_was_in_it(path, table, said, lost):
    harm(path, f"DROP TABLE {table}")
    found, losses = salvaged(path)

    assert found.problems[0].startswith(
        f"the table '{table}' is missing from the file, and nothing is left of it: {said}"
    )
    assert [len(phrases) for phrases in losses.values()] == [0 if lost is None else 1] * SWEEPS
    assert all(phrase.startswith(lost) for phrases in losses.values() for phrase in phrases)
    assert len(found.problems) == (1 if lost is None else 3), "the table, and each of the two sessions"


def test_a_missing_table_with_twins_is_no_loss(path):
    harm(path, "DROP TABLE visits", "DROP TABLE benches")
    found, losses = salvaged(path)

    assert found.problems == ()
    assert "the table 'visits' is missing from the file: 2 rows read from their twins" in found.told[-1]
    assert set(losses.values()) == {()}


def test_a_table_lost_with_its_twins_is_told(path):
    harm(path, "DROP TABLE visit_notes", "DROP TABLE twins")
    found, _ = salvaged(path)

    assert found.problems == (
        "the table 'visit_notes' is missing from the file, and so are its twins: whatever was in it is lost; a backup "
        "may have it",
    )


def test_a_table_the_file_does_not_list_any_more_is_read_from_its_pages(path):
    harm(path, "PRAGMA writable_schema = ON", "DELETE FROM sqlite_schema WHERE tbl_name = 'chunks'")
    found, losses = salvaged(path)

    assert found.problems == ()
    assert found.told == ("the table 'chunks' is missing from the file: 350 rows read from its pages",)
    assert set(losses.values()) == {()}


def test_a_table_dropped_by_a_program_that_wipes_nothing_may_have_lost_its_last_rows(path):
    harm(path, "PRAGMA secure_delete = OFF", "DROP TABLE chunks")
    found, losses = salvaged(path)

    assert " rows found on its pages; there may have been more" in found.problems[0]
    assert losses[5] != ()


def test_of_a_session_without_a_sensor_nothing_is_told(tmp_path, monkeypatch):
    path = tmp_path / "store.sqlite"
    items = [item for item in rescue.ridden(pieces=100, seconds=14) if not isinstance(item, Notification)]
    monkeypatch.setattr(rescue, "ridden", lambda **_: items)
    make(path, 1)
    harm(path, "DROP TABLE notifications")
    found, losses = salvaged(path)

    assert (found.problems, losses) == ((), {1: ()})


@pytest.mark.parametrize(("first", "last"), [(281, 350), (320, 350), (1, 40), (270, 300)])
def test_an_index_that_is_whole_counts_what_is_lost_of_each_session(path, first, last):
    """350 notifications, of which the last 70 are of the second session."""
    counted = zero_rows(path, first, last)
    found, losses = salvaged(path)

    assert found.problems[1:] == tuple(
        f"session {session_id} has lost {count} notifications of sensors "
        f"from {from_us / 1e6:.3f} to {to_us / 1e6:.3f} s"
        for session_id, count, from_us, to_us in counted
    )
    whole = [phrases for phrases in losses.values() if not phrases]
    assert 1 <= len(whole) < SWEEPS
    assert all("notifications of sensors from" in phrase for phrases in losses.values() for phrase in phrases)


def test_without_an_index_missing_numbers_count_them_at_the_begin_and_the_end_of_sessions(path):
    ((one, first, *_), (two, second, *_)) = zero_rows(path, 270, 300)
    unlist_indices(path)
    found, losses = salvaged(path)

    at_most = f"up to {first + second} notifications of sensors from "
    assert [said.partition(at_most)[0] for said in found.problems[1:3]] == [
        f"session {one} has lost ",
        f"session {two} has lost ",
    ]
    assert [len([phrase for phrase in losses[n] if at_most in phrase]) for n in range(1, 6)] == [0, 0, 0, 1, 1]


def test_without_an_index_and_without_a_number_behind_them_they_may_be_lost(path):
    zero_rows(path, 320, 350)
    unlist_indices(path)
    found, losses = salvaged(path)

    (said,) = [problem for problem in found.problems if "sensors" in problem]
    assert said.startswith("session 2 has lost notifications of sensors from ")
    assert said.endswith(", if any were sent")
    assert [sum("sensors" in phrase for phrase in losses[n]) for n in range(1, 6)] == [0, 0, 0, 0, 1]


def test_of_a_whole_session_without_any_left_its_answer_says_that_there_were_some(path):
    zero_rows(path, 281, 350)
    unlist_indices(path)
    found, losses = salvaged(path)

    assert any(
        problem.startswith("session 2 has lost notifications of sensors from 0.000 to") for problem in found.problems
    )
    assert "if any were sent" not in losses[5][0]


def test_a_sensor_that_fell_silent_is_not_taken_for_a_loss_where_the_numbers_go_on(tmp_path, monkeypatch):
    path = tmp_path / "store.sqlite"
    items = [
        item
        for item in rescue.ridden(pieces=100, seconds=14)
        if not (isinstance(item, Notification) and item.received_us > 30_000_000)
    ]
    monkeypatch.setattr(rescue, "ridden", lambda **_: items)
    make(path, SWEEPS)
    harm(path, "DELETE FROM chunks WHERE id = 100")
    unlist_indices(path)
    content = path.read_bytes()
    path.write_bytes(content + bytes(4096))
    db = sqlite3.connect(path, isolation_level=None)
    (pages,) = db.execute("PRAGMA page_count").fetchone()
    db.close()
    grown = bytearray(path.read_bytes())
    grown[28:32] = (pages + 1).to_bytes(4, "big")  # the header counts one page more, on which there is nothing
    path.write_bytes(grown)
    found, losses = salvaged(path)

    assert "nothing can be read on 1 page of 4096 bytes" in found.problems
    assert [sum("sensors" in phrase for phrase in losses[n]) for n in range(1, 5)] == [0, 0, 0, 0]
    assert [phrase.endswith("if any were sent") for phrase in losses[5] if "sensors" in phrase] == [True]


def test_the_torque_that_is_lost_is_not_blamed_on_the_jig(path):
    harm(path, "DROP TABLE notifications")
    salvage(path, path.with_name("new.sqlite"))

    with Store.open(path.with_name("new.sqlite"), write=False) as new:
        answer = recompute_stored(new, 1).onset
    (torque,) = [one for one in answer.validity if one.test == "torque"]
    assert "some of the record is lost, which may be why" in torque.means
    assert torque.cure == "bring the sweep back from a backup or an export, or ride it again with a power sensor"
    assert answer.reasons[-1].startswith(
        "some of what was received in this sweep is lost: notifications of sensors from"
    )


def test_an_answer_that_was_stored_last_and_is_lost_is_told(path):
    harm(path, "UPDATE results SET content = '{}' WHERE id IN (4, 5)")
    found, losses = salvaged(path)

    assert "sweeps 4, 5: the stored answer is lost, if there was one; foreaft onset SWEEP computes an answer again" in (
        found.problems
    )
    assert set(losses.values()) == {()}
    with Store.open(path.with_name("new.sqlite"), write=False) as new:
        assert recompute_stored(new, 5).onset is not None


def test_sweeps_without_an_answer_are_nothing_to_tell_where_no_answer_can_be_lost(path):
    harm(path, "DELETE FROM results WHERE id = 5", "PRAGMA secure_delete = OFF", "DROP TABLE visits")
    found, _ = salvaged(path)

    assert found.problems == ()


def test_a_damaged_row_may_be_one_that_was_received_last(path):
    """Of a damaged notification no page is missing, and no index tells."""
    harm(path, "UPDATE notifications SET payload = x'00' WHERE id > 320")
    unlist_indices(path)
    found, losses = salvaged(path)

    assert found.problems[0] == "damaged and left out: 30 rows"
    assert [sum("sensors" in phrase for phrase in losses[n]) for n in range(1, 6)] == [0, 0, 0, 0, 1]


def test_a_table_that_has_twins_is_not_said_to_be_read_from_its_pages_when_it_was_emptied(path):
    """Of a table dropped together with the twins, the rows that are found may not be all."""
    harm(path, "DROP TABLE twins", "PRAGMA writable_schema = ON", "DELETE FROM sqlite_schema WHERE name = 'visits'")
    found, _ = salvaged(path)

    assert found.problems == (
        "the table 'visits' is missing from the file: 2 rows found on its pages; there may have been more, gaps "
        "between them are told below",
    )


def test_a_damaged_row_is_told_beside_one_of_the_same_number_that_has_a_twin(path):
    """The client comes back from the twin; the answer has none."""
    harm(path, "UPDATE clients SET since_utc = 'x' WHERE id = 2", "UPDATE results SET content = '{}' WHERE id = 2")
    found = salvage(path, path.with_name("new.sqlite"))

    assert "damaged or lost, and read from the twin: 1 row" in found.told
    assert "damaged and left out: 1 row" in found.problems


def test_a_ride_that_looks_for_no_onset_has_no_answer_to_lose(path):
    rest = {"plan": {"purpose": "check"}, "rider": {}, "gradient_pct": 0.0, "calibration": {}}
    with Store.open(path) as store:
        check = store.begin_sweep(2, from_us=90_000_000, **rest)
        store.end_sweep(check, to_us=90_000_001, state="finished")
    harm(path, "UPDATE results SET content = '{}' WHERE id IN (4, 5)")
    found = salvage(path, path.with_name("new.sqlite"))

    assert [one for one in found.problems if "the stored answer is lost" in one] == [
        "sweeps 4, 5: the stored answer is lost, if there was one; foreaft onset SWEEP computes an answer again"
    ]
