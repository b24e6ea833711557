"""Fifty screens at 1 kHz, half of them hostile: `python -m tests.benchmarks.streams`. Exit code 1 if a goal is missed.

The whole daemon of tests.benchmarks.end_to_end. In a process of its own 25 screens read; in another 25 do harm and come
again whenever they are cut off: never read, read a little now and then, ping or talk without end, end in
mid-handshake. The goal is for those that read: the age of each block's newest scan when it arrives.

Found on two quiet cores: median 7 ms, 99th percentile of the worst screen 44 ms; nothing strange in the log.
"""

import asyncio
import contextlib
import itertools
import json
import logging
import random
import socket
import subprocess
import sys
import tempfile
from pathlib import Path

import httpx
import uvloop

from daq.keep.store import Store
from daq.live.daemon import listen, serve, url_of
from daq.live.real import begin, links_of
from daq.live.session.acquisition import Rider
from daq.live.session.session import Session
from daq.rig_file import parse_rig
from daq.sources.clock import SessionClock, steady_ns
from tests.benchmarks import end_to_end
from tests.benchmarks.end_to_end import calibration, opened_pty, rig_of, write_into

SECONDS = 60
MOST_LATE_MS = 100.0
GOOD = HOSTILE = 25
PING = b"\x89\xfd" + bytes(4 + 125)
WORD = b"\x81\xfd" + bytes(4 + 125)
"""Frames of 125 bytes, masked with zeros (RFC 6455, 5.2)."""
KINDS = ("never", "slowly", "pings", "talks", "resets")
READERS = """
import asyncio, json, struct, sys
import numpy as np, websockets
from daq.sources.clock import steady_ns
async def read(url, zero_ns, late):
    async with websockets.connect(url, max_size=None) as stream:
        try:
            async for message in stream:
                if isinstance(message, bytes):
                    n, t0 = struct.unpack_from("<Hd", message, 2)
                    late.append((steady_ns() - zero_ns) / 1e9 - t0 - np.frombuffer(message, "<f4", n, 12)[-1])
        except websockets.ConnectionClosed:
            pass
async def main(url, zero_ns, count):
    lates = [[] for _ in range(count)]
    await asyncio.gather(*(read(url, zero_ns, late) for late in lates))
    # the first seconds are those of connecting; the same number of blocks has to have come to all
    print(json.dumps([[len(late), *(1e3 * np.percentile(late[100:], (50, 99)))] for late in lates]))
asyncio.run(main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3])))
"""


async def harm(host: str, port: int, kind: str) -> None:
    """One hostile screen, again and again."""
    while True:
        with contextlib.suppress(OSError, asyncio.IncompleteReadError):
            sock = socket.socket()
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            sock.setblocking(False)
            await asyncio.get_running_loop().sock_connect(sock, (host, port))
            reader, writer = await asyncio.open_connection(sock=sock, limit=1024)
            writer.write(
                f"GET /api/v1/stream HTTP/1.1\r\nHost: {host}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n"
                f"Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n\r\n".encode()
            )
            await _misbehave(reader, writer, kind)
        await asyncio.sleep(random.uniform(0.05, 0.2))


async def _misbehave(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, kind: str) -> None:
    for _ in itertools.count():
        match kind:
            case "resets":
                writer.transport.abort()
                return
            case "slowly":
                await reader.read(256)
                await asyncio.sleep(0.5)
            case "pings" | "talks":
                writer.write((PING if kind == "pings" else WORD) * 10)
                await writer.drain()
                await asyncio.sleep(0.01)
            case _:
                await asyncio.sleep(1.0)
                writer.write(b"")
        if writer.transport.is_closing():
            return


async def all_harm(host: str, port: int) -> None:
    """Until killed."""
    await asyncio.gather(*(harm(host, port, KINDS[i % len(KINDS)]) for i in range(HOSTILE)))


class Heard(logging.Handler):
    """What the daemon logs: why streams were cut off, and whatever it should not say."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.cut: list[str] = []
        self.strange: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        if record.getMessage() == "stream cut off":
            self.cut.append(record.why)  # type: ignore[attr-defined]
        elif record.levelno >= logging.ERROR:
            self.strange.append(f"{record.name}: {record.getMessage()} {record.exc_info}")


async def besieged(folder: Path, heard: Heard) -> str:
    """What the readers tell at the end."""
    board_end, _, path = opened_pty()
    clock, text = SessionClock(), rig_of(path)
    zero_ns = steady_ns() - clock.now_us() * 1000
    storing = begin(
        Store.open(folder / "bench.sqlite"), rig_text=text, calibration=calibration(), simulated=True, clock=clock
    )
    session = Session(parse_rig(text), calibration(), clock, Rider("R-0000", 75.0), storing=storing)
    listener = listen("127.0.0.1", 0)
    where = httpx.URL(url_of(listener))
    stream = f"ws://{where.host}:{where.port}/api/v1/stream"
    readers: list[subprocess.Popen[str]] = []

    async def measure() -> None:
        await asyncio.sleep(0.5)
        command = [sys.executable, "-c", READERS, stream, str(zero_ns), str(GOOD)]
        readers.append(subprocess.Popen(command, stdout=subprocess.PIPE, text=True))
        await asyncio.sleep(3.0)
        with subprocess.Popen(
            [sys.executable, "-m", "tests.benchmarks.streams", where.host, str(where.port)]
        ) as hostile:
            writer = write_into(board_end)
            await asyncio.to_thread(writer.wait)
            hostile.kill()

    logging.getLogger().addHandler(heard)
    await serve(session, links_of(session), listener=listener, until=measure())
    return readers[0].communicate()[0]


def main() -> int:
    """Exit code."""
    end_to_end.SECONDS = SECONDS
    heard = Heard()
    with tempfile.TemporaryDirectory() as folder:
        told = json.loads(uvloop.run(besieged(Path(folder), heard)))
    worst_ms, median_ms = max(one[2] for one in told), sorted(one[1] for one in told)[GOOD // 2]
    reasons = ", ".join(f"{heard.cut.count(why)} {why}" for why in sorted(set(heard.cut)))
    print(f"{len(told)} screens that read, {min(one[0] for one in told)} blocks each at least")
    print(f"age of a scan: median {median_ms:.0f} ms, p99 of the worst screen {worst_ms:.0f} ms")
    print(f"cut off: {reasons}")
    print(f"strange lines in the log: {len(heard.strange)} {heard.strange[:3]}")
    missed = worst_ms > MOST_LATE_MS or bool(heard.strange) or not heard.cut
    print("a goal is missed" if missed else "all goals met")
    return int(missed)


if __name__ == "__main__":
    if sys.argv[1:]:
        uvloop.run(all_harm(sys.argv[1], int(sys.argv[2])))
    else:
        raise SystemExit(main())
