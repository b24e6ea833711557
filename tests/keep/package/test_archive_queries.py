"""The queries in daq/keep/package/archive.md run as they stand there, and give what the tables hold."""

import re
from pathlib import Path

import duckdb
import pytest

from daq.keep.package.export import export
from daq.keep.store import Store
from tests.keep.sweeps import computed, stored

PAGE = Path(__file__).parents[3] / "daq" / "keep" / "package" / "archive.md"
QUERIES = re.findall(r"```sql\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)


@pytest.fixture(scope="module")
def answers(tmp_path_factory):
    folder = tmp_path_factory.mktemp("archive")
    with Store.open(folder / "store.sqlite") as store:
        export(store, [stored(store, seconds=2) for _ in range(3)], folder / "sweeps", computed, form="parquet")
    with duckdb.connect() as db:
        return [db.execute(query.replace("{archive}", str(folder / "sweeps"))).fetchall() for query in QUERIES]


def test_onsets_of_all_sweeps(answers):
    assert [(row[2], row[4], row[5]) for row in answers[0]] == [(True, "onset", 98.7)] * 3


def test_hand_load_against_setback(answers):
    assert [row[1:3] for row in answers[1]] == [(3, 120.0)]
    assert answers[1][0][3] == pytest.approx(80.1)


def test_step_means_from_the_scans(answers):
    t_s = computed(None, 0).loads[0].t_s
    used = computed(None, 0).steps[0].strokes
    scans = sum(any(stroke.start_s <= t < stroke.end_s for stroke in used) for t in t_s)
    assert [row[1:3] for row in answers[2]] == [(1, scans)] * 3


def test_why_strokes_were_left_out(answers):
    assert sum(row[1] for row in answers[3]) == 9


def test_what_made_the_numbers(answers):
    assert answers[4] == [("0.1.0", "onset", "grid/1", 3), ("0.1.0", "step", "step/1", 3)]


def test_one_file_of_all_steps(answers):
    assert answers[5] == [(3,)]
