"""Kills a writing process again and again, without warning, and looks at what it had acknowledged."""

import subprocess
import sys
import time
from pathlib import Path

import numpy as np

from daq.keep.store import Store
from daq.keep.store.verify import verify
from daq.values import Samples
from tests.keep.jig import concatenated, same, second_of_session

ROOT = Path(__file__).parents[2]


def start_writer(path: Path) -> "subprocess.Popen[bytes]":
    """A process that writes to this store until it is killed."""
    command = [sys.executable, "-m", "tests.faults.writer", str(path)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, cwd=ROOT)


def kill_repeatedly(path: Path, *, times: int, seed: int) -> list[int]:
    """Kills the writer so many times at random moments; every second it had acknowledged, in order."""
    rng = np.random.default_rng(seed)
    acknowledged: list[int] = []
    for _ in range(times):
        writer = start_writer(path)
        assert writer.stdout is not None
        up = rng.uniform() < 2 / 3  # else the kill falls while it starts and opens the store
        # so many seconds it has acknowledged for sure, however busy the machine is
        first = b"".join(writer.stdout.readline() for _ in range(int(rng.integers(2, 6)) if up else 0))
        time.sleep(float(rng.uniform(0.0, 0.1 if up else 0.5)))
        writer.kill()
        rest = writer.stdout.read()
        writer.wait()
        writer.stdout.close()
        acknowledged += [int(line) for line in (first + rest).split(b"\n")[:-1]]
    return acknowledged


def check_nothing_lost(path: Path, acknowledged: list[int]) -> None:
    """The store opens ordinarily, verifies, and holds every acknowledged second, bit for bit, whole and once."""
    with Store.open(path) as store:
        (session,) = store.sessions()
        assert verify(store).problems == ()
        items = list(store.read_items(session.id))
    stored = concatenated(items)
    seconds = sorted(set((stored.received_us // 1_000_000).tolist()))
    assert set(acknowledged) <= set(seconds)
    assert seconds == list(range(1, len(seconds) + 1)), "a session that was cut off goes on where it ended"
    expected = concatenated([item for second in seconds for item in second_of_session(second)])
    assert same(stored, expected)
    points = [item for item in items if not isinstance(item, Samples)]
    assert len(points) == sum(not isinstance(item, Samples) for second in seconds for item in second_of_session(second))
