"""What an analysis over an archive costs, as ratios within one run: `python -m tests.benchmarks.archive`.

500 simulated sweeps of 11 steps, 495 strokes and 34 000 scans each (340 s at 100 Hz), as exported: step means over
the scans by this program's pool of two processes, its start included, against DuckDB on two threads; and strokes cut
again from the loads by one process and by two. Of 4000 sweeps, step means over the strokes, where opening a file is
most of the work: sweep by sweep, told without a goal, since Arrow needs as long to read one such file as DuckDB for the
whole query (daq/keep/package/archive.md); and from one table of all, made once, against the same query over the sweeps'
own files, with what making it costs. Exit code 1 when a goal is missed.

A worker loads this file again before it begins, so it imports at its top nothing that the workers do not need.
"""

import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from daq.keep.package import workers
from daq.keep.package.analyses import all_step_means, step_means
from daq.keep.package.archive import analyse
from daq.keep.package.tables import read_columns
from daq.measure.stroke import StrokeCutter
from daq.values import Loads
from tests.benchmarks.goals import Figure, print_figures


def cut_again(folder: Path) -> list[dict[str, Any]]:
    """Strokes cut from the loads in pieces of a fifth of a second, as they come while riding."""
    names = ("t_s", "hands_n", "saddle_n", "tilt_deg", "status", "cell_a_n", "cell_b_n", "cell_c_n", "cell_d_n")
    t_s, hands_n, saddle_n, tilt_deg, status, *cells_n = read_columns(folder, "loads", names)
    columns = (t_s, hands_n, saddle_n, tilt_deg, np.array(cells_n).T, status.astype(np.uint8))
    cutter = StrokeCutter(mass_kg=75.0, g_m_s2=9.81)
    strokes = [
        stroke
        for start in range(0, len(t_s), 20)
        for stroke in cutter.feed_loads(Loads(*(column[start : start + 20] for column in columns)))
    ]
    return [{"strokes": len(strokes), "hands_n": float(np.mean([stroke.hands_n for stroke in strokes]))}]


def with_duckdb(archive: Path, table: str) -> list[tuple[Any, ...]]:
    """The same step means in SQL, each under its file's name."""
    import duckdb

    with duckdb.connect() as db:
        db.execute("SET threads = 2")
        return db.execute(
            "SELECT filename, step, count(*), avg(hands_n), avg(saddle_n), avg(tilt_deg) "
            f"FROM read_parquet('{archive}/*/{table}.parquet', filename = true) WHERE step IS NOT NULL GROUP BY ALL"
        ).fetchall()


def copy_together(archive: Path, table: str, path: Path) -> None:
    """One table of all sweeps, as daq/keep/package/archive.md makes it; here each is named after its folder."""
    import duckdb

    with duckdb.connect() as db:
        db.execute("SET threads = 2")
        db.execute(
            "COPY (SELECT * EXCLUDE (filename) REPLACE (parse_path(filename)[-2] AS sweep) "
            f"FROM read_parquet('{archive}/*/{table}.parquet', filename = true) ORDER BY sweep) "
            f"TO '{path}' (FORMAT parquet)"
        )


def assert_same(archive: Path, table: Path) -> None:
    """The one table gives what the files give, but for the order of summing."""
    expected = sorted((Path(name).parent.name, *row) for name, *row in with_duckdb(archive, "strokes"))
    found = sorted(zip(*all_step_means(table).values(), strict=True))
    assert [row[:3] for row in found] == [row[:3] for row in expected]
    np.testing.assert_allclose([row[3:] for row in found], [row[3:] for row in expected], rtol=1e-12, atol=0)


def measure(folder: Path) -> list[Figure]:
    """(what, measured, 'at most' or 'at least', goal or None when it is only told)."""
    from tests.benchmarks.archive_made import FEWER, STEPS, SWEEPS, make_archive

    archive = make_archive(folder)
    fewer = folder / "fewer"

    def ours(archive: Path, analysis: Any, processes: int) -> float:
        with tempfile.TemporaryDirectory(dir=folder) as out:
            started = time.perf_counter()
            analysed = analyse(archive, analysis, Path(out), method="bench/1", mapper=workers.local(processes))
            taken = time.perf_counter() - started
        assert not analysed.failures
        return taken

    def by_duckdb(archive: Path, table: str) -> float:
        started = time.perf_counter()
        rows = with_duckdb(archive, table)
        taken = time.perf_counter() - started
        assert len(rows) == len(list(archive.glob("*/strokes.parquet"))) * STEPS
        return taken

    together = folder / "strokes.parquet"
    copy_together(archive, "strokes", together)
    assert_same(archive, together)

    scans = turns(lambda: ours(fewer, partial(step_means, table="loads"), 2), lambda: by_duckdb(fewer, "loads"))
    strokes = turns(lambda: ours(archive, step_means, 2), lambda: by_duckdb(archive, "strokes"))
    at_once = turns(lambda: seconds(lambda: all_step_means(together)), lambda: by_duckdb(archive, "strokes"))
    making = turns(
        lambda: seconds(lambda: copy_together(archive, "strokes", together)), lambda: by_duckdb(archive, "strokes")
    )
    again = turns(lambda: ours(fewer, cut_again, 1), lambda: ours(fewer, cut_again, 2))
    return [
        (f"step means over scans, {FEWER} sweeps, two processes / DuckDB", scans, "at most", 1.5),
        (f"  over strokes, {SWEEPS} sweeps", strokes, "", None),
        ("  the same of one table of all / DuckDB over their files", at_once, "at most", 1.5),
        ("  making that table, such queries", making, "", None),
        (f"strokes cut again, {FEWER} sweeps, two processes faster than one", again, "at least", 1.9),
    ]


def seconds(act: Callable[[], object]) -> float:
    """How long one act takes."""
    started = time.perf_counter()
    act()
    return time.perf_counter() - started


def turns(a: Callable[[], float], b: Callable[[], float], times: int = 3) -> float:
    """Shortest of a over shortest of b, taken in turn: what is left when the machine's other work is not in the way."""
    taken = [(a(), b()) for _ in range(times)]
    return min(one for one, _ in taken) / min(other for _, other in taken)


if __name__ == "__main__":
    sys.exit(print_figures(measure))
