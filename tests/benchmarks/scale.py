"""An archive of 2,000 sweeps analysed on this machine and on a cluster: `python -m tests.benchmarks.scale ARCHIVE`.

ARCHIVE holds exported sweeps (`python -m tests.benchmarks.many_sweeps --sweeps 200 --keep FOLDER` makes one of made-up
riders); they are copied under names of their own until there are 2,000. Strokes are cut again from the loads of every
sweep, by two processes and by a Dask cluster of two workers with 512 MB each, over 200 sweeps and over 2,000. Reported:
processor time a sweep, the most memory any worker took and whether either grows with the archive; whether an analysis
that is interrupted goes on where it was; whether damaged sweeps are listed and cost nothing else; and how long it takes
to read the steps of one sweep among all, with the files that are opened for it. Exit code 1 when a goal is missed.

Found on two cores that were busy with other work, 2,000 copies of 200 sweeps of 290 s: 10 ms for one sweep's steps, no
other file opened; two processes 56 ms of a processor a sweep, 1.18 times that of 200 sweeps (goal 1.15, missed), 113 MB
a worker; a cluster of two workers 77 ms, 1.05 times, 185 MB a worker; interrupted analyses went on, damaged sweeps were
listed. Measured so that the machine's other work weighs on both alike, few before and after many: 300 sweeps of 340 s
take two processes 1.01 times as much each as 30, and a worker's memory does not grow.
"""

import argparse
import contextlib
import itertools
import os
import resource
import shutil
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from distributed import LocalCluster

from daq.keep.package import workers
from daq.keep.package.archive import Analysed, Mapper, Outcome, analyse
from daq.keep.package.batches import column_names
from daq.keep.package.datapackage import NAME
from daq.keep.package.tables import read_columns, read_table, table_path
from daq.measure.stroke import StrokeCutter
from daq.values import Loads
from tests.benchmarks.goals import Figure, print_figures

FEW, MANY, DAMAGED = 200, 2000, 3
MEMORY = "512MB"
READS = 200


@dataclass(frozen=True, slots=True)
class Cost:
    """What an analysis took."""

    cpu_s: float
    """Of the workers, a sweep."""
    wall_s: float
    worker_mb: float
    """The most any worker took."""
    workers: int


def cut_again(folder: Path) -> int:
    """Strokes cut from a sweep's loads in pieces of a fifth of a second, as they come while riding; how many."""
    names = column_names(table_path(folder, "loads"))
    cells = [name for name in names if name.startswith("cell_")]
    wanted = ("t_s", "hands_n", "saddle_n", "tilt_deg", "status", *cells)
    t_s, hands_n, saddle_n, tilt_deg, status, *cells_n = read_columns(folder, "loads", wanted)
    columns = (t_s, hands_n, saddle_n, tilt_deg, np.array(cells_n).T, status.astype(np.uint8))
    cutter = StrokeCutter(mass_kg=75.0, g_m_s2=9.81)
    return sum(
        len(list(cutter.feed_loads(Loads(*(column[start : start + 20] for column in columns)))))
        for start in range(0, len(t_s), 20)
    )


def measured(folder: Path) -> list[dict[str, Any]]:
    """Strokes cut again, and what that took of the worker."""
    begun_s = time.process_time()
    strokes = cut_again(folder)
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return [{"strokes": strokes, "cpu_s": time.process_time() - begun_s, "peak_mb": peak_mb, "worker": os.getpid()}]


def make_archives(originals: Path, folder: Path) -> tuple[Path, Path]:
    """Copies of the sweeps under names of their own, few and many."""
    sweeps = sorted(path.parent for path in originals.glob(f"*/{NAME}"))
    for number, sweep in zip(range(MANY), itertools.cycle(sweeps), strict=False):
        name = f"{sweep.name}-{number:04d}"
        shutil.copytree(sweep, folder / "many" / name)
        if number < FEW:
            shutil.copytree(sweep, folder / "few" / name)
    return folder / "few", folder / "many"


def cost(archive: Path, out: Path, mapper: Mapper) -> Cost:
    """Of the whole analysis."""
    begun_s = time.perf_counter()
    found = analyse(archive, measured, out, method="bench/1", mapper=mapper)
    wall_s = time.perf_counter() - begun_s
    assert not found.failures, next(iter(found.failures.items()))
    read = read_table(out, "results")
    return Cost(float(np.mean(read["cpu_s"])), wall_s, max(read["peak_mb"]), len(set(read["worker"])))


def interrupted(
    mapper: Mapper, after: int, work: Callable[[Path], Outcome], folders: Sequence[Path]
) -> Iterator[Outcome]:
    """The mapper, and Ctrl-C after some outcomes."""
    yield from itertools.islice(mapper(work, folders), after)
    raise KeyboardInterrupt


def taken_up(archive: Path, out: Path, mapper: Mapper) -> Analysed:
    """The analysis interrupted half way, and again to its end, with a few sweeps damaged."""
    with contextlib.suppress(KeyboardInterrupt):
        analyse(archive, measured, out, method="bench/1", mapper=partial(interrupted, mapper, MANY // 2))
    return analyse(archive, measured, out, method="bench/1", mapper=mapper)


def damage(archive: Path) -> set[str]:
    """Cut off the loads of some sweeps; their names."""
    names = sorted(path.name for path in archive.iterdir())[:: MANY // DAMAGED][:DAMAGED]
    for name in names:
        (loads,) = (archive / name).glob("loads.*")
        os.truncate(loads, loads.stat().st_size // 2)
    return set(names)


def one_sweeps_steps(archive: Path) -> tuple[float, int]:
    """ms to read them, 99 of 100 times; files of other sweeps that were opened."""
    opened: list[str] = []
    sys.addaudithook(lambda event, words: opened.append(str(words[0])) if event in ("open", "os.listdir") else None)
    names = sorted(path.name for path in archive.iterdir())
    times_ms = []
    opened.clear()
    for name in names[:: len(names) // READS]:
        begun_s = time.perf_counter()
        steps = read_table(archive / name, "steps")
        times_ms.append(1e3 * (time.perf_counter() - begun_s))
        assert steps["setback_mm"]
    read = [path for path in opened if str(archive) in path]
    assert len(read) == len(times_ms), "one file a sweep"
    return float(np.quantile(times_ms, 0.99)), len(
        [path for path in read if not path.endswith(("steps.parquet", "steps.csv.gz"))]
    )


def figures(where: str, few: Path, many: Path, out: Path, mapper: Mapper) -> list[Figure]:
    """Of one way to analyse. The few are analysed before the many and after them: a machine with other work is now
    slower, now faster."""
    small, large = cost(few, out / "few", mapper), cost(many, out / "many", mapper)
    small_cpu_s = (small.cpu_s + cost(few, out / "few again", mapper).cpu_s) / 2.0
    return [
        (f"{where}: strokes cut again, processor ms a sweep of {FEW}", 1e3 * small_cpu_s, "", None),
        (f"  a sweep of {MANY} / a sweep of {FEW}", large.cpu_s / small_cpu_s, "at most", 1.15),
        (f"  ms by the clock a sweep of {MANY}", 1e3 * large.wall_s / MANY, "", None),
        (f"  workers, {MANY} sweeps", large.workers, "at least", 2),
        (f"  most MB in a worker, {MANY} sweeps", large.worker_mb, "at most", 512),
        (f"  the same / {FEW} sweeps", large.worker_mb / small.worker_mb, "at most", 1.15),
    ]


def measure(originals: Path, folder: Path) -> list[Figure]:
    """Everything."""
    few, many = make_archives(originals, folder)
    read_ms, others = one_sweeps_steps(many)
    found: list[Figure] = [
        (f"steps of one sweep of {MANY}, ms, 99 of 100", read_ms, "at most", 50),
        ("  files of other sweeps opened", others, "at most", 0),
    ]
    found += figures("two processes", few, many, folder / "local", workers.local(2))
    with LocalCluster(n_workers=2, threads_per_worker=1, memory_limit=MEMORY, dashboard_address=None) as cluster:
        mapper = workers.cluster(cluster.scheduler_address)
        found += figures("a cluster of two workers", few, many, folder / "cluster", mapper)
        damaged = damage(many)
        for where, how in (("two processes", workers.local(2)), ("a cluster", mapper)):
            again = taken_up(many, folder / f"again {where}", how)
            assert set(again.failures) == damaged, "the damaged sweeps are listed, and no other"
            found.append(
                (f"{where}: done before the interruption, taken up", again.done_before, "at least", MANY // 2 - DAMAGED)
            )
    return found


def main() -> int:
    """Exit code."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("archive", type=Path)
    return print_figures(partial(measure, words.parse_args().archive))


if __name__ == "__main__":
    sys.exit(main())
