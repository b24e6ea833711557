"""What reading a port by a thread costs against the event loop: `python -m tests.benchmarks.ports [seconds]`.

The simulated board at 100 scans a second, ten times as fast as life, over a pseudo-terminal: this process' CPU time for
a second of board time, and how late the last scans are. One process, one run: figures to compare with one another.
"""

import asyncio
import sys
import time

from daq.rig import SerialBoard
from daq.sources import ports
from daq.sources.clock import SessionClock
from daq.sources.loop import run
from daq.sources.serial_port import SerialLink
from daq.sources.terminal import Terminal

BLOCK = bytes(range(1, 33)) * 4
"""128 bytes: about a frame of 1 kHz each 4 ms, as a board of 8 channels sends."""
EVERY_S = 0.004


async def measured(seconds):
    """CPU seconds used and bytes received while a board sends for so many seconds, and the median delay in ms."""
    terminal, clock, got, delays = Terminal(), SessionClock(), 0, []
    sent_s = []

    def heard(_, data):
        nonlocal got
        while len(delays) < (got + len(data)) // len(BLOCK):
            delays.append(time.perf_counter() - sent_s[len(delays)])
        got += len(data)

    link = SerialLink(SerialBoard(port=terminal.port), clock, heard)
    task = asyncio.create_task(link.run())
    await asyncio.sleep(0.3)
    cpu_s, end_s = time.process_time(), time.perf_counter() + seconds
    while time.perf_counter() < end_s:
        sent_s.append(time.perf_counter())
        terminal.write(BLOCK)
        await asyncio.sleep(EVERY_S)
    await asyncio.sleep(0.1)
    used_s = time.process_time() - cpu_s
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    terminal.close()
    return used_s / seconds, got, 1e3 * sorted(delays)[len(delays) // 2]


def main():
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    for name, files in (("event loop", True), ("thread", False)):
        ports.PORTS_ARE_FILES = files
        share, got, delay_ms = run(measured(seconds))
        print(f"{name:12s} {100 * share:5.1f} % of a core, {got} bytes, median delay {delay_ms:.2f} ms")


if __name__ == "__main__":
    main()
