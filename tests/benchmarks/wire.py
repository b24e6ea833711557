"""What reading a board costs against a bare read loop: `python -m tests.benchmarks.wire`. Exit code 1 if one is missed.

A process of its own writes 8 channels, 1000 scans a second, one frame a write, into a real pseudo-terminal. Four
readers take turns: one throws the bytes away; one stamps them as they come and decodes what has come 20 times a second,
as the daemon does; one decodes every piece at once; one does that and puts it on the session's clock. What counts is
processor time of the reading process over the time that passed. The ticks in the frames are the writer's monotonic
clock, so a sample's age is known when it comes out at once.
"""

import os
import select
import subprocess
import sys
import time
import tty
from collections.abc import Callable

import numpy as np

from daq.live.session.beat import TICK_S
from daq.measure.clock import BoardClock
from daq.values import Samples
from daq.wire import board

SECONDS = 8
RATE_HZ = 1000
CHANNELS = 8
BURST = 200_000
MOST_OF_A_CORE = 0.06
MOST_LATE_MS = 1.0
LEAST_BURST_HZ = 50_000
WRITER = """
import os, sys, time
from daq.wire import board
fd, rate, n, k = map(int, sys.argv[1:])
counts = [(i * 2654435761) % 16777216 - 8388608 for i in range(k)]
start = time.monotonic()
for i in range(n):
    while time.monotonic() < start + i / rate:
        time.sleep(0.0002)
    os.write(fd, board.encode_scan(time.monotonic_ns() // 1000, i, 0, counts))
"""


def cost_of(take: Callable[[bytes], None]) -> float:
    """Share of a core this reader uses at 1 kHz."""
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    scans = SECONDS * RATE_HZ
    arguments = [sys.executable, "-c", WRITER, str(theirs), str(RATE_HZ), str(scans), str(CHANNELS)]
    writer = subprocess.Popen(arguments, pass_fds=[theirs])
    os.close(theirs)
    poll = select.epoll()
    poll.register(ours, select.EPOLLIN)
    begun = used = 0.0
    while True:
        poll.poll()
        try:
            got = os.read(ours, 65_536)
        except OSError:
            break
        if not begun:
            begun, used = time.perf_counter(), time.process_time()
        take(got)
    used = time.process_time() - used
    passed = time.perf_counter() - begun
    writer.wait()
    os.close(ours)
    return used / passed


def burst_hz() -> float:
    """Frames decoded and timed a second when they come as fast as they can be read, 4096 bytes at a time."""
    n = BURST
    numbers = np.arange(n)
    sent = Samples(
        source="jig",
        received_us=np.zeros(n, np.int64),
        ticks_us=(numbers * 20).astype(np.uint32),
        sequence=numbers.astype(np.uint16),
        status=np.zeros(n, np.uint8),
        counts=np.random.default_rng(1).integers(-(2**23), 2**23, (n, CHANNELS)).astype(np.int32),
    )
    stream = board.encode_scans(sent)
    decoder, clock = board.BoardDecoder("jig"), BoardClock()
    begun = time.perf_counter()
    for at in range(0, len(stream), 4096):
        for item in decoder.feed(stream[at : at + 4096], at // 2):
            clock.feed(item)
    passed = time.perf_counter() - begun
    if (decoder.scans, decoder.dropped, decoder.damaged) != (n, 0, 0):
        raise SystemExit(f"burst: {decoder.scans} of {n} scans, {decoder.dropped} dropped, {decoder.damaged} damaged")
    return n / passed


def main() -> int:
    """Print the figures; 1 when a goal is missed."""
    ages_us: list[int] = []
    pieces: list[tuple[int, bytes]] = []
    in_beats, decoder, timed, clock = *(board.BoardDecoder("jig") for _ in range(3)), BoardClock()

    def decode_in_beats(got: bytes) -> None:
        now_us = time.monotonic_ns() // 1000
        pieces.append((now_us, got))
        if now_us - pieces[0][0] >= 1e6 * TICK_S:
            in_beats.feed_pieces(pieces)
            pieces.clear()

    def decode(got: bytes) -> None:
        for item in decoder.feed(got, 0):
            ages_us.append((time.monotonic_ns() // 1000 - int(item.ticks_us[-1])) % (1 << 32))

    def decode_and_time(got: bytes) -> None:
        for item in timed.feed(got, time.monotonic_ns() // 1000):
            clock.feed(item)

    bare = cost_of(lambda got: None)
    beats = cost_of(decode_in_beats)
    decoding = cost_of(decode)
    timing = cost_of(decode_and_time)
    p99_ms = float(np.quantile(ages_us, 0.99)) / 1000
    hz = burst_hz()
    print(f"bare read loop           {100 * bare:5.1f} % of a core")
    print(f"  and decode in beats    {100 * beats:5.1f} %   {beats / bare:4.1f} times bare")
    print(f"  and decode at once     {100 * decoding:5.1f} %   {decoding / bare:4.1f} times bare")
    print(f"  and session clock      {100 * timing:5.1f} %   {timing / bare:4.1f} times bare")
    print(f"write to sample, p99     {p99_ms:5.2f} ms")
    print(f"burst                    {hz:,.0f} frames/s, {hz / RATE_HZ:,.0f} times the rate of a jig, none lost")
    missed = [
        name
        for name, met in (
            (f"decoding in beats under {100 * MOST_OF_A_CORE:.0f} % of a core", beats < MOST_OF_A_CORE),
            (f"p99 under {MOST_LATE_MS} ms", p99_ms < MOST_LATE_MS),
            (f"burst over {LEAST_BURST_HZ:,} frames/s", hz > LEAST_BURST_HZ),
        )
        if not met
    ]
    print("missed: " + "; ".join(missed) if missed else "all goals met")
    return 1 if missed else 0


if __name__ == "__main__":
    raise SystemExit(main())
