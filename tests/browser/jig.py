"""The demo as a program of its own whose cable can be pulled and plugged: a line on its input says which.

python -m tests.browser.jig PACE STORE
"""

import os
import sys
import threading
from pathlib import Path

import uvloop

from daq.keep.store import Store
from daq.live import demo
from daq.live.daemon import listen, url_of
from daq.sources.simulator import SimulatedBoard
from daq.sources.terminal import new_terminal


class Nowhere:
    """What a board talks to while its cable is out."""

    def read(self):
        return b""

    def write(self, data):
        return len(data)

    def close(self):
        pass


class Pluggable(SimulatedBoard):
    """A simulated board at a port of fixed name, which vanishes and comes back."""

    orders: list[str] = []  # noqa: RUF012  one board a program
    place = ""

    def __init__(self, *arguments, **named):
        super().__init__(*arguments, **named)
        os.symlink(self.port, self.place)
        self.port, ordinary = self.place, self._before_beat

        def obey():
            while self.orders:
                getattr(self, self.orders.pop(0))()
            ordinary()

        self._before_beat = obey

    def pull(self):
        self.terminal.close()
        os.unlink(self.place)
        self.terminal = Nowhere()

    def plug(self):
        self.terminal = new_terminal()
        self.unsent = b""
        os.symlink(self.terminal.port, self.place)


def take_orders():
    for line in sys.stdin:
        Pluggable.orders.append(line.strip())


if __name__ == "__main__":
    pace, store = float(sys.argv[1]), Path(sys.argv[2])
    Pluggable.place = str(store.with_name("port"))
    demo.SimulatedBoard = Pluggable
    threading.Thread(target=take_orders, daemon=True).start()
    listener = listen("127.0.0.1", 0)
    running = demo.Demo(Store.open(store), kind="hinge", seed=1, pace=pace)
    print(url_of(listener), flush=True)
    uvloop.run(running.run(listener, by_hand=True, when_done=lambda: None))
