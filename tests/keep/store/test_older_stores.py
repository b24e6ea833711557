"""Stores that earlier versions of the program made, one of each schema, opened, computed again, exported, imported.

made_earlier/schema1.sqlite.gz to schema5.sqlite.gz are demos of those versions on a plan of five positions of 3 s.
"""

import gzip
import json
import sqlite3
from pathlib import Path

import pytest

from daq.keep.again.recompute import recompute_stored
from daq.keep.json_text import plain
from daq.keep.package.export import export
from daq.keep.package.importing import import_sweep
from daq.keep.store import Store
from daq.keep.store.backup import back_up, restore
from daq.keep.store.migrations import STEPS
from daq.keep.store.verify import verify

FOLDER = Path(__file__).parent / "made_earlier"
NUMBERS = range(1, len(STEPS))


@pytest.fixture(params=NUMBERS)
def earlier(request, tmp_path):
    path = tmp_path / "store.sqlite"
    path.write_bytes(gzip.decompress((FOLDER / f"schema{request.param}.sqlite.gz").read_bytes()))
    return request.param, path


def test_every_earlier_schema_has_a_store_here():
    assert sorted(path.name for path in FOLDER.iterdir()) == [f"schema{each}.sqlite.gz" for each in NUMBERS]


def test_an_earlier_store_is_brought_forward_and_gives_its_steps_to_the_same_bits(earlier, tmp_path):
    number, path = earlier
    with Store.open(path) as store:
        assert store.sweep(1).state == "finished"
        kept = [one.content for one in store.results(1) if one.kind == "step"]
        again = recompute_stored(store, 1)
        problems = verify(store).problems
        (made,) = export(store, [1], tmp_path / "out", lambda *_: again, purpose="client", form="parquet")
    with Store.open(tmp_path / "other.sqlite") as other:
        imported = recompute_stored(other, import_sweep(other, made))

    assert path.with_name(f"store.schema{number}.sqlite").exists()
    assert problems == ()
    assert len(kept) == 5
    for before, now in zip(kept, again.steps, strict=True):
        told = json.loads(json.dumps(plain(now)))
        same = ("setback_mm", "hand_load_n", "saddle_load_n", "t_min", "crank_torque_nm", "excluded")
        assert {name: told[name] for name in same} == {name: before[name] for name in same}
    assert repr(imported.steps) == repr(again.steps)
    assert repr(imported.onset) == repr(again.onset)
    assert again.onset is not None


def test_what_an_earlier_store_noted_of_copies_is_noted_in_the_one_restored_over_it(earlier, tmp_path):
    """Copies of one client came later, with a column of their own."""
    _, path = earlier
    with Store.open(tmp_path / "today.sqlite") as today:
        back_up(today, tmp_path / "copy.sqlite")
    db = sqlite3.connect(path)
    db.execute("INSERT INTO copies(kind, made_utc, path) VALUES ('export', '2026-01-01T00:00:00+00:00', '/elsewhere')")
    db.commit()
    db.close()
    restore(tmp_path / "copy.sqlite", path)

    with Store.open(path, write=False) as restored, restored.reading() as db:
        assert "/elsewhere" in {row[0] for row in db.execute("SELECT path FROM copies")}
