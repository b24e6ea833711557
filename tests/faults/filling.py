"""The demo as a program of its own whose disk fills up and empties: a line on its input says which.

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


def take_orders(store: Path) -> None:
    """full: no file may grow any more (setrlimit(2), RLIMIT_FSIZE; Python ignores its signal). room: they may."""
    _, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    for line in sys.stdin:
        log = store.with_name(store.name + "-wal")
        size = min(store.stat().st_size, log.stat().st_size) if line.strip() == "full" else hard
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
        print("done", flush=True)


if __name__ == "__main__":
    path = Path(sys.argv[1])
    listener = listen("127.0.0.1", 0)
    running = Demo(Store.open(path), kind="hinge", seed=1, pace=2.0)
    threading.Thread(target=take_orders, args=(path,), daemon=True).start()
    print(url_of(listener), flush=True)
    uvloop.run(running.run(listener, by_hand=True, when_done=lambda: None))
