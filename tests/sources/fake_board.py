"""A board behind a real pseudo-terminal, with the faults a real one has. It speaks by the encoders of the protocol."""

from __future__ import annotations

import asyncio
import contextlib
import os
import tty
from dataclasses import replace

from serial.tools.list_ports_common import ListPortInfo

from daq.sources.board_side import BoardSide
from daq.values import Status
from daq.wire import board

CHANNELS = ("hands", "saddle", "tilt")
KINDS = (board.ChannelKind.BRIDGE, board.ChannelKind.BRIDGE, board.ChannelKind.TILT)
HELLO_EVERY_S = 0.2
"""Quicker than a real one, so that tests wait less."""


def hello(*, rate_hz=100.0, boot=1, names=CHANNELS, gain=128, **fields):
    """The hello of a board with these channels."""
    channels = tuple(board.Channel(name, kind, gain, rate_hz) for name, kind in zip(names, KINDS, strict=True))
    return board.HelloBody("5173000000000002", boot, "test board", rate_hz, channels, **fields)


def noise_of(number):
    """Counts that scan number so-and-so shows beyond the load."""
    return (number * 7919) % 11 - 5


class FakeBoard:
    """Sends scans of constant counts plus a little noise, answers commands, and misbehaves when told to."""

    def __init__(self, said=None, **settable):
        self._side = BoardSide(said or hello(), **settable)
        self.sent = 0
        """Scans written whole."""
        self.muted = False
        self.stalled = False
        """Keep what it has to say, and say it all at once afterwards."""
        self.frozen = set()
        """Columns that show no noise."""
        self.counts = [10_000, 50_000, 0]
        self.status = 0
        self.port = ""
        self._sequence = 0
        self._ticks_us = 0
        self.plug_in()

    @property
    def hello(self):
        """What it says of itself now."""
        return self._side.hello

    @property
    def plugged_in(self):
        return self._master >= 0

    def plug_in(self, *, elsewhere=False):
        """Appear, on whatever path the system gives; elsewhere: on another than before."""
        self._unsent = b""
        self._master, self._slave = os.openpty()
        if elsewhere and os.ttyname(self._slave) == self.port:
            there = self._master, self._slave
            self._master, self._slave = os.openpty()
            for end in there:
                os.close(end)
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.port = os.ttyname(self._slave)

    def unplug(self):
        """Vanish: the reader's end of the pseudo-terminal hangs up, as a pulled cable does."""
        os.close(self._slave)
        os.close(self._master)
        self._master = self._slave = -1

    def press_tare(self):
        """Its button: marked on every scan until the host says that the tare is done."""
        self._side.tare_asked = True

    def give_up_tare(self):
        """No longer marked: nobody has answered for a while."""
        self._side.tare_asked = False

    @property
    def tare_asked(self):
        return self._side.tare_asked

    def reboot(self):
        """Begin anew: numbers and ticks at 0, another boot."""
        self._sequence = self._ticks_us = 0
        self._side.hello = replace(self.hello, boot=self.hello.boot + 1, running=True)
        self.write(b"\0" + board.encode_hello(self.hello))

    def write(self, data):
        """Bytes as they are. What the line does not take yet waits; what waits when the cable is pulled is lost."""
        if self._master >= 0:
            self._unsent += data
            with contextlib.suppress(BlockingIOError):
                self._unsent = self._unsent[os.write(self._master, self._unsent) :]

    def scans(self, n):
        """The next n scans as bytes."""
        frames = []
        for _ in range(n):
            noise = noise_of(self._sequence & 0xFFFF)
            noisy = {0, 1} - self.frozen
            counts = [count + noise if i in noisy else count for i, count in enumerate(self.counts)]
            status = self.status | Status.TARE_BUTTON * self.tare_asked
            frames.append(board.encode_scan(self._ticks_us, self._sequence, status, counts, bits=24))
            self._sequence += 1
            self._ticks_us += round(1e6 / self.hello.scan_rate_hz)
        return b"".join(frames)

    async def run(self, pace=1.0):
        """Be a board until cancelled, on a clock that runs this much faster."""
        loop = asyncio.get_running_loop()
        begun_s = loop.time()
        kept = b""
        due_hello_s = 0.0
        scanned = 0
        while True:
            await asyncio.sleep(0.01)
            self._listen()
            now_s = loop.time() - begun_s
            new = int(now_s * pace * self.hello.scan_rate_hz) - scanned
            scanned += max(0, new)
            if self._master < 0 or self.muted:
                continue
            if now_s >= due_hello_s:
                self.write(board.encode_hello(self.hello))
                due_hello_s = now_s + HELLO_EVERY_S
            if self.hello.running and new > 0:
                kept += self.scans(new)
                self.sent += new
            if not self.stalled:
                self.write(kept)
                kept = b""

    def _listen(self):
        if self._master < 0:
            return
        try:
            heard = os.read(self._master, 4096)
        except (BlockingIOError, OSError):
            return
        self.write(self._side.hear(heard, self._ticks_us))


def usb_port(path, *, serial_number="FJ-0001", vid=0x16C0, pid=0x0483):
    """What pyserial's list of ports says of a USB device."""
    info = ListPortInfo(path)
    info.serial_number, info.vid, info.pid, info.description = serial_number, vid, pid, "test board"
    return info
