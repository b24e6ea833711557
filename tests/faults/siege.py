"""Attacks on the way of the stop, and how long stops take under them. As a program: the attacker, a process of its own.

python -m tests.faults.siege HOST PORT KIND [COOKIE]
"""

import asyncio
import contextlib
import random
import subprocess
import sys
import time

import httpx
import uvloop

from daq.live.web import access
from daq.live.web.access import COOKIE, Role
from daq.sweep.run import State
from tests.live.jig import SHORT
from tests.live.network import on_a_network

WITHIN_S = 1.0
"""A stop that takes longer comes too late for whoever is falling."""
KINDS = ("hold", "flood", "spam")
"""300 connections without a pass held open; 60 that ask at full speed, for what is given and what is refused; the
rider's pass sending stops at full speed."""
HELD, FLOODING, SPAMMING = 300, 60, 8
ASK = b"GET /health/live HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
REFUSED = (
    b"GET /health/live HTTP/1.1\r\nHost: elsewhere.example\r\n\r\n",
    b"POST /api/v1/marks HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 0\r\n\r\n",
    b"GET /api/v1/stream HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n"
    b"Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n\r\n",
    b'GET /health/live HTTP/1.1\r\nHost: 127.0.0.1\r\nCookie: foreaft="' + 7500 * b"\\" + b'"\r\n\r\n',
    b"GET /health/live HTTP/1.1\r\nHost: 127.0.0.1\r\n" + 15_000 * b"a:\r\n" + b"\r\n",
    b"POST /api/v1/access HTTP/1.1\r\nHost: 127.0.0.1\r\nTransfer-Encoding: chunked\r\n\r\n" + 40_000 * b"1\r\nx\r\n",
)
"""A foreign name, a command without a key, a stream without a key, a cookie that costs http.cookies 0.5 s, a head of
many lines, a body in small pieces."""
STOP = b'{"event":"stop"}'


def post_of_stop(cookie: str, more: str = "") -> bytes:
    """The stop as a browser with this pass sends it."""
    head = f"POST /api/v1/sweep/events HTTP/1.1\r\nHost: 127.0.0.1\r\nCookie: {cookie}\r\n{more}"
    return f"{head}Content-Type: application/json\r\nContent-Length: {len(STOP)}\r\n\r\n".encode() + STOP


async def ask_on(host: str, port: int, said: bytes, *, every_s: float) -> None:
    """One connection that asks again and again, opened anew whenever it is shut."""
    while True:
        with contextlib.suppress(OSError, asyncio.IncompleteReadError):
            reader, writer = await asyncio.open_connection(host, port)
            try:
                while True:
                    writer.write(said)
                    if not await reader.read(65536):
                        break
                    await asyncio.sleep(every_s)
            finally:
                writer.close()
        await asyncio.sleep(random.uniform(0.05, 0.2))


async def attack(host: str, port: int, kind: str, cookie: str) -> None:
    """Until killed."""
    count, said, every_s = {
        "hold": (HELD, (ASK,), 2.0),
        "flood": (FLOODING, (ASK, *REFUSED), 0.0),
        "spam": (SPAMMING, (post_of_stop(cookie),), 0.0),
    }[kind]
    async with asyncio.TaskGroup() as attackers:
        for number in range(count):
            attackers.create_task(ask_on(host, port, said[number % len(said)], every_s=every_s))


@contextlib.contextmanager
def besieged(url: str, kind: str, keys: access.Keys):
    """While an attacker of this kind is at work; the rider's pass is all that it may have."""
    where = httpx.URL(url)
    cookie = f"{COOKIE}={access.sealed(keys, Role.RIDE)}"
    command = [sys.executable, "-m", "tests.faults.siege", where.host, str(where.port), kind, cookie]
    with subprocess.Popen(command) as attacker:
        try:
            yield
        finally:
            attacker.kill()


async def stops(url, session, keys, kind: str, count: int) -> list[float]:
    """Seconds each of so many stops took from the fitter's hand to the answer, each on a connection of its own."""
    said = post_of_stop(f"{COOKIE}={access.sealed(keys, Role.RUN)}", "Connection: close\r\n")
    where, took_s = httpx.URL(url), []
    with besieged(url, kind, keys):
        await asyncio.sleep(3.0)
        for _ in range(count):
            await session.sweep.begin(SHORT)
            begun_s = time.monotonic()
            reader, writer = await asyncio.open_connection(where.host, where.port)
            writer.write(said)
            answer = await asyncio.wait_for(reader.read(), 10)
            took_s.append(time.monotonic() - begun_s)
            writer.close()
            assert answer.startswith(b"HTTP/1.1 200"), answer
            assert session.sweep.progress.state is State.STOPPED
            await asyncio.sleep(0.05)
    return took_s


if __name__ == "__main__":
    uvloop.run(attack(sys.argv[1], int(sys.argv[2]), sys.argv[3], sys.argv[4]))


def besiege(folder, kind, count):
    """So many stops, each within its second; how long they took, in a line."""
    took_s = []

    async def job(url, session, keys):
        took_s.extend(await stops(url, session, keys, kind, count))

    folder = folder / kind
    folder.mkdir()
    on_a_network(folder, job, pace=3.0)
    assert len(took_s) == count
    assert max(took_s) < WITHIN_S, sorted(took_s)[-5:]
    median_ms, longest_ms = 1e3 * sorted(took_s)[count // 2], 1e3 * max(took_s)
    return f"{kind}: {count} stops, median {median_ms:.0f} ms, longest {longest_ms:.0f} ms"
