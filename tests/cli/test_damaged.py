"""What the commands say of a store of which something is lost."""

import json
import sqlite3

import pytest

from daq.keep.clients import people
from daq.keep.store import Store
from tests.commands import foreaft
from tests.faults.rescue import make
from tests.keep.jig import recorded

COMMANDS = (
    *(["sweeps"], ["onset", 1], ["close", 1], ["clients"], ["verify"], ["calibrate", "list"]),
    *(["export", "--all", "out"], ["backup", "copy.sqlite"], ["forget", "R-AAAAAA", "--yes"]),
)


@pytest.fixture
def harmed(tmp_path):
    """A store of two sweeps with a chunk of the second damaged."""
    path = tmp_path / "harmed.sqlite"
    make(path, 2)
    with Store.open(path) as opened:
        for one in people.clients(opened):
            people.set_consent(opened, one.id, "research", True)
        with opened.writing() as db:
            db.execute("UPDATE chunks SET bytes = zeroblob(99) WHERE first_us BETWEEN 104900000 AND 105100000")
    return path


def test_a_sweep_with_a_gap_is_answered_with_what_is_missing(harmed):
    said = foreaft("onset", 2, "--store", harmed)
    as_json = foreaft("onset", 2, "--json", "--store", harmed)

    assert (said.exit_code, as_json.exit_code) == (0, 0)
    assert "sweep 2: lost: scans of 'board' from 105.0" in said.stderr
    assert "some of what was received in this sweep is lost: scans of 'board' from 105.0" in said.stdout
    assert "is lost: scans of 'board'" in json.loads(as_json.stdout)["reasons"][-1]


def test_all_is_exported_beside_the_daemon_with_its_gaps_and_what_cannot_be_is_left_out(harmed, tmp_path):
    with Store.open(harmed) as daemons:
        with daemons.writing() as db:
            db.execute("UPDATE sweeps SET plan = 'x' WHERE id = 1")
            db.execute("UPDATE twins SET content = 'x' WHERE of = 'sweeps' AND row_id = 1")
        done = foreaft("export", "--all", tmp_path / "out", "--store", harmed)
        again = foreaft("export", "--all", tmp_path / "out", "--store", harmed)

    assert done.exit_code == 1, done.stderr
    assert "left out: row 1 of sweeps is damaged" in done.stderr
    assert "exported without what is lost of it: scans of 'board' from 105.0" in done.stderr
    assert {path.name for path in (tmp_path / "out").iterdir() if path.is_file()} == {
        *("README.md", "EXAMPLES.md", "datapackage.json", "ro-crate-metadata.json", "sweeps.csv", "all_steps.csv")
    }
    assert again.exit_code == 1
    assert "is there already and stays as it is" in again.stderr


def test_sweeps_are_listed_with_the_time_each_began_and_a_damaged_one_is_told(harmed):
    done = foreaft("sweeps", "--json", "--store", harmed)
    assert (done.exit_code, done.stderr) == (0, "")
    # the session of these sweeps began at 01:59:59.500 in a summer-time zone of UTC+1 (tests.keep.jig)
    assert [one["begun_utc"] for one in json.loads(done.stdout)] == [
        "2026-03-29T00:59:59.500+00:00",
        "2026-03-29T01:01:14.500+00:00",
    ]
    with Store.open(harmed) as opened, opened.writing() as db:
        db.execute("UPDATE sweeps SET plan = 'x' WHERE id = 1")
        db.execute("UPDATE twins SET content = 'x' WHERE of = 'sweeps' AND row_id = 1")
    harmed_too = foreaft("sweeps", "--json", "--store", harmed)

    assert harmed_too.exit_code == 1
    assert [one["sweep"] for one in json.loads(harmed_too.stdout)] == [2]
    assert "row 1 of sweeps is damaged" in harmed_too.stderr


def test_sweeps_are_listed_for_people_to_a_tenth_of_a_millimetre(harmed):
    (first, _) = json.loads(foreaft("sweeps", "--json", "--store", harmed).stdout)
    low_mm, high_mm = first["interval_95_mm"]
    said = foreaft("sweeps", "--store", harmed).stdout.splitlines()[0]

    assert f"onset_mm {first['onset_mm']:.1f}  interval_95_mm {low_mm:.1f} to {high_mm:.1f}" in said
    assert "simulated" not in said


def test_sweeps_whose_raw_data_is_lost_are_listed_with_what_is_lost(harmed, tmp_path):
    foreaft("salvage", harmed, tmp_path / "new.sqlite")
    first, second = json.loads(foreaft("sweeps", "--json", "--store", tmp_path / "new.sqlite").stdout)
    lines = foreaft("sweeps", "--store", tmp_path / "new.sqlite").stdout.splitlines()

    assert (first["lost"], first["verdict_from_before_loss"]) == ([], False)
    assert second["lost"][0].startswith("scans of 'board' from 104.99")
    assert second["verdict_from_before_loss"]
    assert "lost" not in lines[0]
    assert "  lost scans of 'board' from 104.99" in lines[1]
    assert lines[1].endswith("(the verdict was stored before; foreaft onset 2 answers from what is left)")


def test_many_losses_are_listed_and_told_in_short(harmed, tmp_path):
    with Store.open(harmed) as opened, opened.writing() as db:
        db.execute("UPDATE chunks SET bytes = zeroblob(99) WHERE first_us > 80000000 AND id % 4 = 0")
    foreaft("salvage", harmed, tmp_path / "new.sqlite")
    _, second = json.loads(foreaft("sweeps", "--json", "--store", tmp_path / "new.sqlite").stdout)
    line = foreaft("sweeps", "--store", tmp_path / "new.sqlite").stdout.splitlines()[1]
    said = foreaft("onset", 2, "--store", tmp_path / "new.sqlite").stderr.splitlines()
    told = [one for one in said if one.startswith("sweep 2: lost: ")]
    exported = foreaft("export", "--all", tmp_path / "out", "--store", tmp_path / "new.sqlite").stderr

    more = f"and {len(second['lost']) - 5} more, "
    assert len(second["lost"]) > 10
    assert line.count("scans of") == exported.count("scans of") == len(told) - 1 == 5
    assert all(more in text for text in (line, told[-1], exported))
    assert (tmp_path / "out" / "sweeps.csv").read_text().count("scans of") == len(second["lost"]), "the data in full"


def test_of_a_finished_sweep_without_its_answer_it_is_said_how_to_compute_it(harmed):
    with Store.open(harmed) as opened:
        with opened.writing() as db:
            db.execute("DELETE FROM results WHERE sweep_id = 1")
        for plan, state in (({"purpose": "check"}, "finished"), ({}, "stopped")):
            rest = {"plan": plan, "rider": {}, "gradient_pct": 0.0, "calibration": {}}
            opened.end_sweep(opened.begin_sweep(1, from_us=0, **rest), to_us=1, state=state)
    first, second, third, fourth = foreaft("sweeps", "--store", harmed).stdout.splitlines()

    assert "verdict not stored (foreaft onset 1 computes it)" in first
    assert "verdict onset" in second
    assert "purpose check  state finished" in third
    assert "verdict" not in third + fourth


@pytest.fixture
def without_tables(tmp_path):
    """The file of a store whose log was lost in its first session."""
    with Store.open(tmp_path / "store.sqlite"):
        content = (tmp_path / "store.sqlite").read_bytes()
    (tmp_path / "lost").mkdir()
    (tmp_path / "lost" / "store.sqlite").write_bytes(content)
    return tmp_path / "lost" / "store.sqlite"


@pytest.mark.parametrize("words", COMMANDS, ids=lambda words: words[0])
def test_a_store_whose_log_was_lost_is_told_with_a_cure_and_nothing_is_written(without_tables, monkeypatch, words):
    monkeypatch.chdir(without_tables.parent)
    before = without_tables.read_bytes()
    done = foreaft(*words, "--store", without_tables)

    assert done.exit_code == 4
    assert "holds no tables: if it was in use, all of it was in its log store.sqlite-wal" in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert without_tables.read_bytes() == before
    assert sum(one.stat().st_size for one in without_tables.parent.glob("*-wal")) == 0


@pytest.mark.parametrize("words", [*COMMANDS, ["import", "."]], ids=lambda words: words[0])
def test_a_log_beside_an_empty_file_or_none_survives_every_command(tmp_path, monkeypatch, words):
    monkeypatch.chdir(tmp_path)
    with Store.open(tmp_path / "used.sqlite") as used:
        recorded(used, 1)
        log = (tmp_path / "used.sqlite-wal").read_bytes()
    for name in ("empty.sqlite", "gone.sqlite"):
        (tmp_path / f"{name}-wal").write_bytes(log)
    (tmp_path / "empty.sqlite").touch()
    for name in ("empty.sqlite", "gone.sqlite"):
        done = foreaft(*words, "--store", tmp_path / name)

        assert done.exit_code == 4
        assert f"foreaft salvage {tmp_path / name} NEW.sqlite brings what is in it into a new store" in done.stderr
        assert (tmp_path / f"{name}-wal").read_bytes() == log
        assert foreaft("salvage", tmp_path / name, tmp_path / f"new-{name}").exit_code == 0
    assert not (tmp_path / "gone.sqlite").exists()
    assert [one.name for one in tmp_path.glob("*-shm")] == []


@pytest.mark.parametrize("left", ["-wal", "-shm", "-journal"])
def test_an_empty_file_that_sqlite_has_left_is_no_store_and_none_is_made(tmp_path, monkeypatch, left):
    """A command that writes would begin with an empty store, at a path that has none."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / f"none.sqlite{left}").touch()
    for words in COMMANDS:
        done = foreaft(*words, "--store", tmp_path / "none.sqlite")

        assert done.exit_code == 4
        assert "no store at" in done.stderr
    assert [one.name for one in tmp_path.iterdir()] == [f"none.sqlite{left}"]


def test_what_is_not_there_cannot_be_salvaged(tmp_path):
    done = foreaft("salvage", tmp_path / "nothing", tmp_path / "new.sqlite")

    assert done.exit_code == 4
    assert f"there is neither {tmp_path / 'nothing'} nor a log of it" in done.stderr
    assert not list(tmp_path.iterdir())


def test_a_verdict_computed_after_a_loss_is_not_said_to_be_from_before(harmed, tmp_path):
    db = sqlite3.connect(harmed, isolation_level=None)
    for statement in ("PRAGMA foreign_keys = OFF", "DROP TABLE twins", "DROP TABLE sweeps", "DELETE FROM results"):
        db.execute(statement)
    db.close()
    foreaft("salvage", harmed, tmp_path / "new.sqlite")
    _, second = json.loads(foreaft("sweeps", "--json", "--store", tmp_path / "new.sqlite").stdout)

    assert second["lost"]
    assert second["verdict"] is not None
    assert not second["verdict_from_before_loss"]


def test_sweeps_rebuilt_by_a_salvage_are_closed_with_their_answers(harmed, tmp_path):
    db = sqlite3.connect(harmed, isolation_level=None)
    for statement in ("PRAGMA foreign_keys = OFF", "DROP TABLE twins", "DROP TABLE sweeps", "DELETE FROM results"):
        db.execute(statement)
    db.close()
    done = foreaft("salvage", harmed, tmp_path / "new.sqlite")

    assert done.exit_code == 1
    assert "sweep 1 is rebuilt from the event that began it" in done.stderr
    listed = json.loads(foreaft("sweeps", "--json", "--store", tmp_path / "new.sqlite").stdout)
    assert [(one["state"], one["verdict"]) for one in listed] == [("finished", "onset"), ("finished", "onset")]
