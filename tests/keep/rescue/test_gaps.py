"""What numbers without a row, and silence, say where no index tells what there was."""

import pytest

from daq.items import Event, Notification
from daq.keep.rescue.gaps import note_gaps
from daq.keep.store import Store
from daq.keep.store.rows import delete_rows
from tests.keep.jig import begin, pedalling
from tests.keep.rescue.rides import POWER, ridden
from tests.rigs import rig_text


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "store.sqlite") as opened:
        yield opened


def told(store, *removed, **lost):
    """The sentences, after these rows are gone."""
    with store.writing() as db:
        for table, where in removed:
            delete_rows(db, table, where)
        return note_gaps(db, {}, **{"pages_lost": False, "tail_lost": False, **lost})


WHOLE = {"scans_s": range(60), "notified_s": range(60)}


@pytest.mark.parametrize("scans_s", [range(5, 60), range(50), ()], ids=["late", "ended early", "none"])
def test_a_board_that_was_silent_is_no_loss_where_the_numbers_of_chunks_go_on(store, scans_s):
    ridden(store, **WHOLE)
    ridden(store, scans_s=scans_s, notified_s=range(60))
    ridden(store, **WHOLE)

    assert told(store, pages_lost=True) == []


@pytest.mark.parametrize(
    ("where", "said"),
    [
        ("id BETWEEN 61 AND 65", "scans of 'board' from 0.000 to 5.0"),
        ("id BETWEEN 110 AND 120", "scans of 'board' from 48.9"),
        ("id BETWEEN 61 AND 120", "scans of 'board' from 0.000 to "),
    ],
    ids=["begin", "end", "all"],
)
def test_chunks_whose_numbers_are_missing_are_lost(store, where, said):
    for _ in range(3):
        ridden(store, **WHOLE)

    (sentence,) = told(store, ("chunks", where), pages_lost=True)
    assert sentence.startswith(f"session 2 has lost {said}")


def test_where_a_scale_was_read_by_a_person_there_are_no_scans_to_lose(store):
    typed = rig_text('[typed]\nunit = "kg"\nstep = 0.1', ("hands", "saddle"))
    ridden(store, rig=typed, answer={"result": "passed"})

    assert told(store, pages_lost=True, tail_lost=True) == [], "nor notifications: the torque was typed"


def test_numbers_that_may_have_gone_with_a_client_are_not_said_to_be_lost_for_sure(store):
    ridden(store, scans_s=range(60), notified_s=range(40))
    gone = ridden(store, **WHOLE)
    ridden(store, **WHOLE)

    of_session = f"session_id = {gone}"
    sentences = told(
        store,
        *((table, of_session) for table in ("chunks", "notifications", "events", "sweeps")),
        ("sessions", f"id = {gone}"),
    )
    assert [said for said in sentences if "sensors" in said] == [
        "session 1 has lost up to 60 notifications of sensors from 39.001 to 59.999 s, if any were sent"
    ]


def test_notifications_of_sessions_that_are_whole_are_not_lost_where_a_client_was_removed(store):
    ridden(store, **WHOLE)
    gone = ridden(store, **WHOLE)
    ridden(store, **WHOLE)

    tables = ("chunks", "notifications", "events", "sweeps")
    assert told(store, *((one, f"session_id = {gone}") for one in tables), ("sessions", f"id = {gone}")) == []


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        ({"result": "failed"}, []),
        ({"result": "passed"}, ["session 2 has lost notifications of sensors from 0.000 to 59.999 s"]),
        (None, ["session 2 has lost notifications of sensors from 0.000 to 59.999 s, if any were sent"]),
    ],
    ids=["had none", "had one", "unknown"],
)
def test_of_a_session_without_any_its_answer_tells_whether_there_was_a_sensor(store, answer, said):
    ridden(store, **WHOLE)
    ridden(store, scans_s=range(60), answer=answer)

    assert told(store, tail_lost=True) == said


def test_a_sweep_without_an_end_of_which_nothing_is_left_says_itself_what_is_lost(store):
    """What is left of its session is of before it began."""
    session_id = begin(store)
    store.put(session_id, [Event(1_000_000, "mark", {})])
    sweep_id = store.begin_sweep(session_id, from_us=5_000_000, plan={}, rider={}, gradient_pct=0.0, calibration={})
    lost = "what was received after 5.000 s, if anything was"

    assert told(store, pages_lost=True)[-1] == f"sweep {sweep_id} has no end: {lost}, is lost"
    assert store.losses(store.sweep(sweep_id)) == [lost]


def test_what_followed_two_sweeps_without_an_end_is_noted_once(store):
    session_id = begin(store)
    store.put(session_id, [Event(1_000_000, "mark", {})])
    first, second = (
        store.begin_sweep(session_id, from_us=us, plan={}, rider={}, gradient_pct=0.0, calibration={})
        for us in (2_000_000, 5_000_000)
    )
    lost = "what was received after 5.000 s, if anything was"

    assert told(store, pages_lost=True) == [f"sweep {one} has no end: {lost}, is lost" for one in (first, second)]
    assert store.losses(store.sweep(first)) == store.losses(store.sweep(second)) == [lost]


def test_a_session_in_between_that_had_no_sensor_takes_none_of_the_missing_numbers(store):
    ridden(store, **WHOLE)
    ridden(store, scans_s=range(60), answer={"result": "failed"})
    ridden(store, **WHOLE)

    (said,) = told(store, ("notifications", "id BETWEEN 61 AND 80"))
    assert said == "session 3 has lost 20 notifications of sensors from 0.000 to 20.001 s"


def test_a_gap_within_a_session_is_counted_by_its_numbers(store):
    ridden(store, **WHOLE)

    (said,) = told(store, ("notifications", "id BETWEEN 11 AND 15"))
    assert said == "session 1 has lost 5 notifications of sensors from 9.001 to 15.001 s"


def test_a_loss_that_no_sweep_needs_is_told_and_marks_none(store):
    session_id = ridden(store, **WHOLE)
    late = [pedalling(scans=100, rate_hz=100, channels=2, from_us=s * 1_000_000, source="board") for s in range(70, 80)]
    store.put(session_id, late)

    (said,) = told(store, ("chunks", "id BETWEEN 63 AND 66"))
    assert said.endswith(" s; that belongs to no sweep that is left")
    assert store.losses(store.sweep(1)) == []


def test_what_an_index_lists_as_lost_is_noted_in_a_sweep_however_near_its_end(store):
    session_id = ridden(store, **WHOLE)
    store.put(session_id, [Notification(at_us, "power", POWER, b"x") for at_us in (59_900_000, 70_000_000)])
    with store.writing() as db:
        listed = {row[0]: row[1:] for row in db.execute("SELECT id, session_id, received_us FROM notifications")}
        delete_rows(db, "notifications", "received_us >= 59900000")
        said = note_gaps(db, {"notifications": listed}, pages_lost=False, tail_lost=False)

    assert said == ["session 1 has lost 2 notifications of sensors from 59.900 to 70.000 s"]
    assert store.losses(store.sweep(1)) == ["up to 2 notifications of sensors from 59.900 to 60.000 s"]
