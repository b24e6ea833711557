"""What the links cost against bare loops: `python -m tests.benchmarks.links`. Exit code 1 when a goal is missed.

A process of its own writes 8 channels, 1000 scans a second, one frame a write, into a real pseudo-terminal; its ticks
are its monotonic clock. Readers take turns: a bare loop that only stamps the bytes, the serial link, the same with
what it read decoded 20 times a second as the daemon does, and the board link with a whole session behind it (decoder,
clock, loads, checks of cells; no store, no pages). Modbus is polled as fast as it goes, by a bare write and read of
the same bytes and by the link, against pymodbus' own server.
"""

import asyncio
import os
import select
import subprocess
import sys
import time
import tty

import numpy as np
import uvloop
from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice

from daq.live.links import links_of
from daq.live.session.acquisition import Rider
from daq.live.session.beat import TICK_S
from daq.live.session.session import Session
from daq.measure.calibration import CalibratedChannel, Calibration
from daq.rig import LoadRegister, ModbusTransmitter, SerialBoard
from daq.rig_file import parse_rig
from daq.sources.clock import SessionClock
from daq.sources.modbus_link import ModbusLink
from daq.sources.serial_port import SerialLink
from daq.transmitters import TransmitterDecoder, registers_of
from daq.values import Samples
from daq.wire import board
from tests.rigs import rig_text
from tests.sources.cable import Cable
from tests.sources.waiting import running

SECONDS = 8
RATE_HZ = 1000
CHANNELS = 8
MOST_OF_A_CORE = 0.06
MOST_LATE_MS, MOST_LATE = 1.0, 1.5
LEAST_POLL_SHARE = 0.2
"""Of the bare polls a second: the client's own frames and checks may cost the rest."""
POLLING_S = 3.0
REQUEST = bytes.fromhex("01030064000285d4")
"""Two holding registers from 100 of unit 1, with the CRC of Modbus over Serial Line V1.02, 2.5.1.2."""
NAMES = [f"{part}_{i}" for part in ("hands", "saddle") for i in range(CHANNELS // 2)]
WRITER = """
import os, sys, time
from daq.wire import board
fd, rate, n, k = map(int, sys.argv[1:5])
names = sys.argv[5:]
channels = tuple(board.Channel(name, board.ChannelKind.BRIDGE, 128, float(rate)) for name in names)
hello = board.HelloBody("00" * 8, 1, "bench", float(rate), channels)
counts = [(i * 2654435761) % 16777216 - 8388608 for i in range(k)]
start = time.monotonic()
for i in range(n):
    while time.monotonic() < start + i / rate:
        time.sleep(0.0002)
    if i % rate == 0:
        os.write(fd, b"\\0" + board.encode_hello(hello))
    counts[i % k] ^= 1
    os.write(fd, board.encode_scan(time.monotonic_ns() // 1000, i, 0, counts))
"""


class Line:
    """A pseudo-terminal with the writing process on its far end."""

    def __enter__(self) -> "Line":
        self.far, self._near = os.openpty()
        tty.setraw(self._near)
        self.port = os.ttyname(self._near)
        return self

    def write(self) -> "subprocess.Popen[bytes]":
        """Start writing."""
        words = [str(self.far), str(RATE_HZ), str(SECONDS * RATE_HZ), str(CHANNELS), *NAMES]
        return subprocess.Popen([sys.executable, "-c", WRITER, *words], pass_fds=[self.far])

    def __exit__(self, *_: object) -> None:
        os.close(self.far)
        os.close(self._near)


def bare() -> tuple[float, float]:
    """Share of a core of a loop that only reads and stamps, and its p99 from write to stamp, ms."""
    pieces: list[tuple[int, bytes]] = []
    with Line() as line:
        near = os.open(line.port, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
        poll = select.epoll()
        poll.register(near, select.EPOLLIN)
        writer = line.write()
        begun = used = 0.0
        while writer.poll() is None:
            if not poll.poll(0.1):
                continue
            got = os.read(near, 65_536)
            pieces.append((time.monotonic_ns() // 1000, got))
            if not begun:
                begun, used = time.perf_counter(), time.process_time()
        share = (time.process_time() - used) / (time.perf_counter() - begun)
        os.close(near)
    return share, p99_late_ms(pieces)


def p99_late_ms(pieces: list[tuple[int, bytes]]) -> float:
    """From the tick in a frame, taken just before it was written, to its receipt."""
    decoder = board.BoardDecoder("board")
    samples = [item for _, item in decoder.feed_pieces(pieces) if isinstance(item, Samples)]
    late_us = np.concatenate([(part.received_us - part.ticks_us) % (1 << 32) for part in samples])
    return float(np.quantile(late_us, 0.99)) / 1000


async def _share_while(line: Line, arrived: "asyncio.Event") -> float:
    writer = line.write()
    await arrived.wait()
    begun, used = time.perf_counter(), time.process_time()
    while writer.poll() is None:
        await asyncio.sleep(0.1)
    return (time.process_time() - used) / (time.perf_counter() - begun)


async def link_share(*, decoding: bool) -> tuple[float, float]:
    """The same of the serial link, without or with a decoder behind it. SystemExit when that misses scans."""
    arrived = asyncio.Event()
    pieces: list[tuple[int, bytes]] = []
    decoder, decoded = board.BoardDecoder("board"), 0

    def take(_: int, data: bytes) -> None:
        arrived.set()
        pieces.append((time.monotonic_ns() // 1000, data))

    def decode() -> None:
        nonlocal decoded
        fresh, decoded = pieces[decoded:], len(pieces)
        decoder.feed_pieces(fresh)

    async def in_beats() -> None:
        while decoding:
            await asyncio.sleep(TICK_S)
            decode()

    with Line() as line:
        link = SerialLink(SerialBoard(port=line.port), SessionClock(), take)
        async with running(link.run(), in_beats()):
            await asyncio.sleep(0.3)
            share = await _share_while(line, arrived)
    decode()
    if (decoder.scans, decoder.dropped, decoder.damaged) != (RATE_HZ * SECONDS, 0, 0):
        raise SystemExit(f"{decoder.scans} scans, {decoder.dropped} dropped, {decoder.damaged} damaged")
    return share, p99_late_ms(pieces)


async def session_share() -> float:
    """Share of a core of the board link with the session behind it."""
    channels = tuple(CalibratedChannel(name, "force", (0.0, 1e-5)) for name in NAMES)
    calibration = Calibration("bench", "2026-01-01T00:00:00+00:00", channels)
    with Line() as line:
        text = rig_text(f'[board]\nport = "{line.port}"', {name: name.split("_")[0] for name in NAMES})
        session = Session(parse_rig(text), calibration, SessionClock(), Rider("R-0000", 75.0))
        arrived = asyncio.Event()
        sensors = session.acquisition.sensors
        told = sensors.told
        async with running(*(link() for link in links_of(session)), session.run()):
            told, sensors.told = sensors.told, lambda said: (arrived.set(), told(said))[1]
            await asyncio.sleep(0.3)
            share = await _share_while(line, arrived)
        decoder = sensors.decoder
        if decoder.dropped or decoder.damaged or decoder.scans < RATE_HZ * (SECONDS - 1):
            raise SystemExit(f"{decoder.scans} scans, {decoder.dropped} dropped")
    return share


async def polls_hz() -> tuple[float, float]:
    """Modbus polls a second: bare, and by the link."""
    cable = Cable()
    device = SimDevice(id=1, simdata=[SimData(100, values=1250, datatype=DataType.INT32)])
    server = ModbusSerialServer(device, port=cable.there, baudrate=115200)
    async with running(cable.run(), server.serve_forever()):
        await asyncio.sleep(0.3)
        bare = await asyncio.to_thread(_bare_polls, cable.here)
        table = ModbusTransmitter(
            link="modbus",
            port=cable.here,
            parity="none",
            poll_hz=200.0,
            registers=(LoadRegister(name="hands", address=100),),
        )
        decoder = TransmitterDecoder(table, "board")
        link = ModbusLink(
            table.model_copy(update={"poll_hz": 100_000.0}),
            registers_of(table),
            SessionClock(),
            lambda us, poll: decoder.feed_pieces([(us, poll)]) and None,
        )
        async with running(link.run()):
            await asyncio.sleep(POLLING_S)
        await server.shutdown()
    return bare, decoder.scans / POLLING_S


def _bare_polls(port: str) -> float:
    """A request the server does not answer in time is sent again and not counted."""
    near = os.open(port, os.O_RDWR | os.O_NOCTTY)
    polls, end_s = 0, time.monotonic() + POLLING_S
    while time.monotonic() < end_s:
        os.write(near, REQUEST)
        got = b""
        while len(got) < 9 and select.select([near], [], [], 0.2)[0]:
            got += os.read(near, 256)
        polls += len(got) == 9
    os.close(near)
    return polls / POLLING_S


def main() -> int:
    """Print the figures; 1 when a goal is missed."""
    alone, alone_ms = bare()
    link, link_ms = uvloop.run(link_share(decoding=False))
    decoding, decoding_ms = uvloop.run(link_share(decoding=True))
    session = uvloop.run(session_share())
    bare_hz, link_hz = uvloop.run(polls_hz())
    print("8 channels at 1 kHz     of a core            write to stamp, p99")
    print(f"  bare loop           {100 * alone:5.1f} %               {alone_ms:6.2f} ms")
    for name, share, late_ms in (("serial link", link, link_ms), ("link and decoder", decoding, decoding_ms)):
        ratios = share / alone, late_ms / alone_ms
        print(f"  {name:<18}  {100 * share:5.1f} %  {ratios[0]:4.1f} times  {late_ms:6.2f} ms  {ratios[1]:.1f} times")
    print(f"  board and session   {100 * session:5.1f} %  {session / alone:4.1f} times")
    print(f"Modbus, bare          {bare_hz:7.0f} polls/s")
    print(f"Modbus link           {link_hz:7.0f} polls/s, {link_hz / bare_hz:.2f} of bare")
    missed = [
        name
        for name, met in (
            (f"read and decoded under {100 * MOST_OF_A_CORE:.0f} % of a core", decoding < MOST_OF_A_CORE),
            (
                f"p99 under {MOST_LATE_MS} ms, or {MOST_LATE} times the bare loop on a busy machine",
                decoding_ms < MOST_LATE_MS or decoding_ms < MOST_LATE * alone_ms,
            ),
            (f"Modbus link over {LEAST_POLL_SHARE} of bare", link_hz > LEAST_POLL_SHARE * bare_hz),
        )
        if not met
    ]
    print("missed: " + "; ".join(missed) if missed else "all goals met")
    return 1 if missed else 0


if __name__ == "__main__":
    raise SystemExit(main())
