"""Faults in full: `python -m tests.faults.full`, or some by name: `python -m tests.faults.full a_million_scans`. The
test command runs the same in short form.

100 kills, a small file system filled and freed, files that may not grow, 60 truncations, 400 hits, 10,000 bits, 40
damages of a store of 24 sweeps with every command after each, half an hour at 1 kHz, a million scans of the reference
board, 3,000 files from elsewhere for each command that reads any, 100 stops under each attack on
their way, fifty streams of which half are hostile, a day of eight hours in memory. Takes about three hours; prints one
line each; exit code 1 when one fails.

Found on two cores that did much else: 2736 acknowledged seconds, none lost in 100 kills; of 400 hits 160 and of 10,000
bits 3159 noticed, the others where nothing is kept; of 40 damages only lost blocks and cut-off files cost more than one
chunk; 1,003,982 scans, none wrong, none lost; of 3,000 files for each command none took more than 1.1 s or 9 MiB;
memory after 20 minutes 213.8 MB, at most 213.9 MB later in 8 hours. On a quiet machine: the longest of 300 besieged
stops 74 ms.
"""

import json
import subprocess
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from daq.keep.store import Store
from daq.keep.store.verify import verify
from daq.sources.reference_bench import build
from tests.faults.bits import flip
from tests.faults.disk import check_seconds, fill, largest_file
from tests.faults.fuzz import fuzz, told
from tests.faults.fuzz_inputs import WORDS
from tests.faults.harm import hit_anywhere, made, readable, truncate
from tests.faults.kill import check_nothing_lost, kill_repeatedly
from tests.faults.rescue import check_all
from tests.faults.siege import KINDS, besiege
from tests.faults.soak import GROWTH, soak
from tests.firmware.endurance import wrong_or_lost
from tests.keep.jig import begin, concatenated, same, second_of_session

SMALL_DISK = (
    "mount -t tmpfs -o size=2m none {0} && {1} -c "
    "'from pathlib import Path; from tests.faults.disk import fill_small_disk; print(fill_small_disk(Path(\"{0}\")))'"
)
READ_ONLY_DISK = (
    "mount -t tmpfs none {0} && {1} -m tests.faults.full make {0} && mount -o remount,ro {0} && "
    "{1} -m tests.faults.full read {0}"
)


def kills(folder: Path) -> str:
    """100 random kill -9, one in three while the store is being opened."""
    acknowledged = kill_repeatedly(folder / "store.sqlite", times=100, seed=1)
    check_nothing_lost(folder / "store.sqlite", acknowledged)
    return f"{len(acknowledged)} seconds acknowledged, all there"


def small_disk(folder: Path) -> str:
    """A real file system of 2 MB, in a mount namespace of its own."""
    return in_own_mounts(SMALL_DISK, folder)


def read_only_disk(folder: Path) -> str:
    """A real file system mounted read-only."""
    return in_own_mounts(READ_ONLY_DISK, folder)


def in_own_mounts(script: str, folder: Path) -> str:
    """Runs a shell line where mounting concerns nobody else (unshare(1)); its last line."""
    command = ["unshare", "--user", "--map-root-user", "--mount", "sh", "-ec", script.format(folder, sys.executable)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout.strip().splitlines()[-1]


def make_for_reading(folder: Path) -> None:
    """The store that is then read on a disk nobody can write."""
    with Store.open(folder / "store.sqlite") as store:
        session_id = begin(store)
        for second in range(20):
            store.put(session_id, second_of_session(second))


def read_there(folder: Path) -> None:
    """Reads it whole, and prints how writing is refused."""
    check_seconds(folder / "store.sqlite", 20)
    try:
        Store.open(folder / "store.sqlite")
    except Exception as refusal:
        print(f"{type(refusal).__name__}: {refusal}")


def limited_files(folder: Path) -> str:
    """Files that may not grow, at sizes that hit the log, the file and the checkpoint between them."""
    for size in (100_000, 250_000, 1_000_000, 4_150_000, 4_300_000):
        path = folder / f"store{size}.sqlite"
        with Store.open(path) as store:
            session_id = begin(store)
            with largest_file(size):
                second, _ = fill(store, session_id, 0)
            store.put(session_id, second_of_session(second))
        check_seconds(path, second + 1)
    return f"5 sizes, {second} seconds before the last refused"


def truncations(folder: Path) -> str:
    """Cut off at 60 lengths."""
    path = folder / "store.sqlite"
    content = made(path, 300)
    scans = []
    for number, length in enumerate(np.linspace(150, len(content) - 1, 60).astype(int)):
        target = folder / f"salvaged{number}.sqlite"
        found = truncate(path, content, int(length), target)
        scans.append(0 if found is None else found.scans)
        if found is not None:
            with Store.open(target) as store:
                assert verify(store).problems == ()
            target.unlink()
    return (
        f"salvaged {scans[15]}, {scans[30]}, {scans[45]}, {scans[59]} of 30000 scans at 1/4, 1/2, 3/4, 1 of the length"
    )


def hits(folder: Path) -> str:
    """400 hits of 8 bytes anywhere in the file."""
    path = folder / "store.sqlite"
    content = made(path, 60)
    whole = concatenated([item for second in range(60) for item in second_of_session(second)])
    rng = np.random.default_rng(2)
    noticed = 0
    for _ in range(400):
        if hit_anywhere(path, content, rng):
            noticed += 1
        else:
            assert same(concatenated(readable(path)[0]), whole)
    return f"{noticed} noticed, the other {400 - noticed} fell where nothing is kept"


def bits(folder: Path) -> str:
    """10,000 single bits, one at a time."""
    noticed, of_no_use = flip(folder, flips=10_000, seed=3)
    return f"{noticed} noticed, the other {of_no_use} fell where nothing is kept"


def rescue(folder: Path) -> str:
    """40 damages of a store of 24 sweeps, salvaged and used by every command."""
    return "; ".join(check_all(folder, sweeps=24, cases=40, seed=7))


def half_an_hour(folder: Path) -> str:
    """1800 simulated seconds at 1 kHz of 8 channels."""
    early, late = soak(folder / "store.sqlite", seconds=1800)
    assert late - early < GROWTH, f"grew by {late - early} bytes"
    return f"{early} bytes held after 3 minutes, {late} at the end"


def a_million_scans(folder: Path) -> str:
    """The reference board's machine code for three and a half hours of its time; its microseconds wrap twice."""
    received, wrong, lost = wrong_or_lost(build(folder), scans_wanted=1_000_000)
    assert (wrong, lost) == (0, 0), f"{wrong} wrong, {lost} lost of {received}"
    return f"{received} scans of the reference board, none wrong, none lost"


def a_ride_on_the_board(folder: Path) -> str:
    """`foreaft demo` on the reference board: eleven steps, and the truth within the interval."""
    command = [sys.executable, "-m", "daq.cli", "demo", "--headless", "--json", "--board", "reference", "--pace", "10"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    low_mm, high_mm = answer["interval_95_mm"]
    assert low_mm <= answer["truth"]["onset_mm"] <= high_mm, done.stdout
    return f"onset at {answer['onset_mm']:.1f} mm, truth {answer['truth']['onset_mm']:.1f} mm"


def a_proof_on_the_board(folder: Path) -> str:
    """`foreaft prove` on the reference board, a sound jig: proved, every reading by its machine code."""
    words = ["prove", "run", str(folder / "p.json"), "--store", str(folder / "s.sqlite"), "--by", "full run", "--json"]
    command = [sys.executable, "-m", "daq.cli", *words, "--simulated", "--board", "reference", "--pace", "8"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    content = json.loads(done.stdout)
    return f"bias {content['bias_mm']:+.2f} mm, {content['intervals_held']} of {content['sweeps']} intervals held"


def files_from_elsewhere(_: Path) -> str:
    """3,000 changed or made-up inputs for each command that reads files from elsewhere."""
    found = {name: fuzz(name, 3000) for name in WORDS}
    failures = [failure for one in found.values() for failure in one.failures]
    assert not failures, "\n".join(failures[:20])
    return "; ".join(told(name, one) for name, one in found.items())


def greedy_streams(_: Path) -> str:
    """Fifty screens at 1 kHz, half of them hostile; the others' data stay fresh."""
    return of_bench("streams")


def a_day(_: Path) -> str:
    """The scans of an 8-hour day at 1 kHz through the whole session; its memory grows by no more than 10 MB."""
    return of_bench("memory")


def of_bench(name: str) -> str:
    """What a benchmark says when all its goals are met."""
    done = subprocess.run(
        [sys.executable, "-m", f"tests.benchmarks.{name}"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return "; ".join(done.stdout.splitlines()[-5:-1])


def sieges(folder: Path) -> str:
    """100 stops under each attack on their way, each within a second."""
    return "; ".join(besiege(folder, kind, 100) for kind in KINDS)


FAULTS: tuple[Callable[[Path], str], ...] = (
    kills,
    small_disk,
    read_only_disk,
    limited_files,
    truncations,
    hits,
    bits,
    rescue,
    half_an_hour,
    a_million_scans,
    a_ride_on_the_board,
    a_proof_on_the_board,
    files_from_elsewhere,
    sieges,
    greedy_streams,
    a_day,
)


def main(names: Sequence[str]) -> int:
    """Runs the named ones, all without a name, each in a folder of its own."""
    failed = 0
    for fault in [each for each in FAULTS if not names or each.__name__ in names]:
        started = time.monotonic()
        with tempfile.TemporaryDirectory() as folder:
            try:
                outcome = fault(Path(folder))
            except Exception:
                failed += 1
                outcome = "FAILED\n" + traceback.format_exc()
        print(f"{fault.__name__:<16} {time.monotonic() - started:6.1f} s  {outcome}", flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    match sys.argv[1:]:
        case ["make", folder]:
            make_for_reading(Path(folder))
        case ["read", folder]:
            read_there(Path(folder))
        case names:
            if unknown := set(names) - {fault.__name__ for fault in FAULTS}:
                raise SystemExit(
                    f"no fault {', '.join(sorted(unknown))}: {', '.join(each.__name__ for each in FAULTS)}"
                )
            raise SystemExit(main(names))
