"""Half an hour of riding at 1 kHz, simulated, as fast as the disk takes it: memory must not grow."""

import collections
import gc
import tracemalloc
from pathlib import Path

from daq.keep.store import Store
from daq.keep.store.verify import verify
from tests.keep.jig import begin, second_of_session


def soak(path: Path, *, seconds: int) -> tuple[int, int]:
    """Bytes of Python memory held after a tenth of the time and at the end, puts and reads included."""
    with Store.open(path) as store:
        session_id = begin(store)
        tracemalloc.start()
        try:
            for second in range(seconds):
                if second == seconds // 10:
                    gc.collect()
                    early, _ = tracemalloc.get_traced_memory()
                store.put(session_id, second_of_session(second, rate_hz=1000, channels=8))
                if second % 60 == 59:
                    read = store.read_items(session_id, (second - 59) * 1_000_000, second * 1_000_000)
                    collections.deque(read, maxlen=0)  # keeps none of them
            gc.collect()
            late, _ = tracemalloc.get_traced_memory()
        finally:
            tracemalloc.stop()
        found = verify(store)
    assert found.problems == ()
    assert found.scans == 1000 * seconds
    return early, late


GROWTH = 200_000
"""Bytes: a tenth of what one minute of these counts takes, so that keeping any of them would show."""
