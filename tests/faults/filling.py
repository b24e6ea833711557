"""The demo as a program of its own whose disk fills up or cannot be written any more, until it can: a line on its input
says which.

python -m tests.faults.filling STORE
"""

import resource
import sys
import threading
from pathlib import Path

import uvloop

from daq.keep.store import Store
from daq.live.daemon import listen, url_of
from daq.live.demo import Demo


def take_orders(store: Store) -> None:
    """full: no file may grow any more (setrlimit(2), RLIMIT_FSIZE; Python ignores its signal). read-only: SQLite
    answers every write as on a file system that the kernel has remounted read-only after a fault. room: as before."""
    _, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    for line in sys.stdin:
        order = line.strip()
        log = store.path.with_name(store.path.name + "-wal")
        size = min(store.path.stat().st_size, log.stat().st_size) if order == "full" else hard
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
        with store.reading() as db:
            db.execute(f"PRAGMA query_only = {order == 'read-only'}")
        print("done", flush=True)


if __name__ == "__main__":
    store = Store.open(Path(sys.argv[1]))
    listener = listen("127.0.0.1", 0)
    running = Demo(store, kind="hinge", seed=1, pace=2.0)
    threading.Thread(target=take_orders, args=(store,), daemon=True).start()
    print(url_of(listener), flush=True)
    uvloop.run(running.run(listener, by_hand=True, when_done=lambda: None))
