import json
import math
import shutil
import subprocess
import sys
from functools import partial
from pathlib import Path

import duckdb
import pytest

from daq.keep.errors import StoreError
from daq.keep.package import workers
from daq.keep.package.analyses import STEP_MEANS, all_step_means, step_means
from daq.keep.package.archive import analyse
from daq.keep.package.export import export
from daq.keep.package.tables import read_table
from daq.keep.store import Store
from tests.keep import analyses
from tests.keep.sweeps import computed, stored

ROOT = Path(__file__).parents[3]
SUMMING = 1e-12
"""A few hundred values of up to 100 added in another order differ by their count times 100 times 2.2e-16 at most."""


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    """Twenty sweeps, every other one as CSV."""
    folder = tmp_path_factory.mktemp("archive")
    with Store.open(folder / "store.sqlite") as store:
        ids = [stored(store, seconds=2) for _ in range(20)]
        for begin, form in enumerate(("parquet", "csv.gz")):
            export(store, ids[begin::2], folder / "sweeps", computed, form=form)
    return folder / "sweeps"


def run(archive, analysis, out, mapper, **options):
    return analyse(archive, analysis, out, method=STEP_MEANS, mapper=mapper, **options)


def journal(out):
    return [json.loads(line) for line in (out / "journal.jsonl").read_text().splitlines()]


def table(out, name="results"):
    columns = read_table(out, name)
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


@pytest.mark.parametrize("table_name", ["strokes", "loads"])
@pytest.mark.parametrize("processes", [1, 2, 3])
def test_step_means_are_those_of_duckdb(archive, tmp_path, processes, table_name):
    analysis = partial(step_means, table=table_name)
    analysed = run(archive, analysis, tmp_path, workers.local(processes))

    columns = "sweep, step, hands_n, saddle_n, tilt_deg"
    both = " UNION ALL ".join(
        f"SELECT {columns} FROM '{archive}/*/{table_name}.{form}'" for form in ("parquet", "csv.gz")
    )
    expected = duckdb.sql(
        f"SELECT sweep, step, count(*), avg(hands_n), avg(saddle_n), avg(tilt_deg) FROM ({both}) "
        "WHERE step IS NOT NULL GROUP BY sweep, step ORDER BY sweep, step"
    ).fetchall()
    found = [tuple(row.values()) for row in table(tmp_path)]
    assert (analysed.sweeps, analysed.failures, len(expected)) == (20, {}, 20)
    for a, b in zip(found, expected, strict=True):
        assert a[:3] == b[:3]
        assert all(math.isclose(x, y, rel_tol=1e-14, abs_tol=SUMMING) for x, y in zip(a[3:], b[3:], strict=True))


@pytest.mark.parametrize("order", ["sweep, stroke", "stroke, sweep DESC"])
def test_step_means_of_one_table_of_all_sweeps_are_those_of_duckdb(archive, tmp_path, order):
    table = tmp_path / "strokes.parquet"
    with duckdb.connect() as db:
        db.execute(
            "CREATE TABLE strokes AS SELECT * REPLACE (CASE WHEN stroke < 3 THEN step ELSE 1 + stroke % 3 END AS step, "
            "CASE WHEN stroke = 2 THEN NULL ELSE hands_n + hash(sweep) % 7 END AS hands_n) "
            f"FROM '{archive}/*/strokes.parquet' ORDER BY {order}"
        )
        db.execute(f"COPY strokes TO '{table}' (FORMAT parquet)")
        expected = db.execute(
            "SELECT sweep, step, count(*), avg(hands_n), avg(saddle_n), avg(tilt_deg) FROM strokes "
            "WHERE step IS NOT NULL GROUP BY sweep, step ORDER BY sweep, step"
        ).fetchall()

    found = sorted(zip(*all_step_means(table).values(), strict=True))
    assert len(expected) == 30
    for a, b in zip(found, expected, strict=True):
        assert a[:3] == b[:3]
        assert all(math.isclose(x, y, rel_tol=1e-14, abs_tol=SUMMING) for x, y in zip(a[3:], b[3:], strict=True))


def test_exports_of_two_workshops_beside_each_other_are_one_archive(archive, tmp_path):
    for name in ("alps", "coast"):
        shutil.copytree(archive, tmp_path / "pooled" / name)

    (tmp_path / "pooled/none").mkdir()
    for name in ("sweeps.csv", "datapackage.json"):
        shutil.copy(archive / name, tmp_path / "pooled/none")
    analysed = run(tmp_path / "pooled", step_means, tmp_path / "out", workers.local(1))
    names = sorted(path.parent.name for path in archive.glob("*/datapackage.json"))
    assert (analysed.sweeps, analysed.failures) == (40, {})
    assert sorted({row["sweep"] for row in journal(tmp_path / "out")}) == sorted(
        f"{workshop}/{name}" for workshop in ("alps", "coast") for name in names
    )


def test_a_real_dask_cluster_gives_the_same_table(archive, tmp_path):
    script = f"""
from pathlib import Path
from distributed import LocalCluster
from daq.keep.package import tables, workers
from daq.keep.package.archive import analyse
from tests.keep.analyses import refusing_one
if __name__ == "__main__":
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        analysed = analyse(Path({str(archive)!r}), refusing_one, Path({str(tmp_path / "dask")!r}), method="m/1",
                           mapper=workers.cluster(cluster.scheduler_address))
    assert list(analysed.failures.values()) == ["ValueError: no strokes worth the name"], analysed.failures
"""
    (tmp_path / "script.py").write_text(script)
    command = [sys.executable, str(tmp_path / "script.py")]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env={"PYTHONPATH": str(ROOT)})
    assert done.returncode == 0, done.stderr
    analyse(archive, analyses.refusing_one, tmp_path / "local", method="m/1", mapper=workers.local(1))

    for name in ("results.parquet", "failures.parquet", "datapackage.json"):
        assert (tmp_path / "dask" / name).read_bytes() == (tmp_path / "local" / name).read_bytes()


def test_no_scheduler_is_one_sentence(archive, tmp_path):
    script = """
from pathlib import Path
from daq.keep.package import tables, workers
from daq.keep.errors import StoreError
workers.CONNECT_S = 1
try:
    next(workers.cluster("tcp://127.0.0.1:9")(print, [Path(".")]))
except StoreError as error:
    print(error)
"""
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)

    assert done.stdout.startswith("no Dask scheduler answers at tcp://127.0.0.1:9: ")
    assert done.stdout.count("\n") == 1


def test_a_damaged_line_of_the_journal_costs_its_own_sweep_alone(archive, tmp_path):
    first = run(archive, analyses.refusing_one, tmp_path, workers.local(1))
    journal = first.results.parent / "journal.jsonl"
    lines = journal.read_text().splitlines()
    journal.write_text("\n".join(["{broken", "[]", *lines[2:]]) + "\n")

    assert run(archive, analyses.refusing_one, tmp_path, workers.local(1)).done_before == 17
    assert len(table(tmp_path)) == 19


@pytest.mark.parametrize("processes", [1, 2])
def test_a_sweep_that_fails_is_listed_and_stops_nothing(archive, tmp_path, processes):
    analysed = run(archive, analyses.refusing_one, tmp_path, workers.local(processes))

    (failed,) = table(tmp_path, "failures")
    assert failed["sweep"].endswith("000003")
    assert failed["error"] == "ValueError: no strokes worth the name"
    assert analysed.failures == {failed["sweep"]: failed["error"]}
    assert len(table(tmp_path)) == 19


def test_a_process_that_dies_costs_its_own_sweep_alone(archive, tmp_path):
    analysed = run(archive, analyses.dying_on_one, tmp_path, workers.local(2))

    assert list(analysed.failures.values()) == ["the process that analysed it died"]
    assert len(table(tmp_path)) == 19


def test_an_analysis_cut_off_goes_on_where_it_was(archive, tmp_path):
    calls = archive.parent / "calls"
    calls.unlink(missing_ok=True)
    for cut_at in (7, 13):
        with pytest.raises(KeyboardInterrupt):
            run(archive, analyses.touching, tmp_path, workers.local(1), progress=partial(interrupt, cut_at))
    journal = tmp_path / "journal.jsonl"
    journal.write_bytes(journal.read_bytes()[:-20])  # killed in the middle of a line
    analysed = run(archive, analyses.touching, tmp_path, workers.local(1))

    assert analysed.done_before == 12
    assert len(calls.read_text().split()) == 21
    assert len(table(tmp_path)) == 20
    again = run(archive, analyses.touching, tmp_path, workers.local(1))
    assert again.done_before == 20
    assert len(calls.read_text().split()) == 21


def interrupt(cut_at, done, of):
    if done == cut_at:
        raise KeyboardInterrupt


def test_another_method_version_or_changed_data_are_analysed_anew(archive, tmp_path):
    run(archive, step_means, tmp_path, workers.local(1))
    other = analyse(archive, step_means, tmp_path, method="step-means/2", mapper=workers.local(1))
    folder = sorted(archive.glob("*/datapackage.json"))[0]
    before = folder.read_text()
    folder.write_text(before + " ")
    changed = analyse(archive, step_means, tmp_path, method="step-means/2", mapper=workers.local(1))
    folder.write_text(before)

    assert (other.done_before, changed.done_before) == (0, 19)


def test_sweeps_that_failed_are_tried_again(archive, tmp_path):
    run(archive, analyses.refusing_one, tmp_path, workers.local(1))
    mended = run(archive, step_means, tmp_path, workers.local(1))

    assert (mended.done_before, mended.failures) == (19, {})
    assert table(tmp_path, "failures") == []


def test_rows_of_any_plain_type_become_typed_columns(archive, tmp_path):
    run(archive, analyses.mixed, tmp_path, workers.local(1), form="parquet")

    schema = json.loads((tmp_path / "datapackage.json").read_text())["resources"][0]["schema"]["fields"]
    types = {field["name"]: field["type"] for field in schema}
    assert types == {
        "sweep": "string",
        "n": "integer",
        "x": "number",
        "ok": "boolean",
        "why": "number",
        "list": "string",
    }
    assert table(tmp_path)[0]["list"] == "[1,1]"


def test_the_journal_does_not_depend_on_the_order_in_which_outcomes_come(archive, tmp_path):
    run(archive, step_means, tmp_path / "a", workers.local(1))
    run(archive, step_means, tmp_path / "b", lambda work, folders: map(work, folders[::-1]))

    assert (tmp_path / "a" / "results.parquet").read_bytes() == (tmp_path / "b" / "results.parquet").read_bytes()


def test_dask_missing_is_one_sentence(archive, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)

    with pytest.raises(StoreError, match=r"a cluster needs dask\.distributed: pip install"):
        run(archive, step_means, tmp_path, workers.cluster("tcp://127.0.0.1:8786"))
