"""The reference board's own machine code, executed: built from firmware_notes/reference_board, run by libsimavr.

The bench is deterministic and independent of real time: it is told what is wired to the board and until when to run.
Its C side is firmware_notes/reference_board/simulated/.
"""

from __future__ import annotations

import ctypes
import shutil
import subprocess
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from daq.values import Array

FOLDER = Path(__file__).parents[2] / "firmware_notes" / "reference_board"
HEADERS = Path("/usr/include/simavr")
PACKAGES: dict[str, str] = {
    "avr-gcc": "gcc-avr",
    "avr-size": "binutils-avr",
    "make": "make",
    "cc": "gcc",
    str(HEADERS / "sim_avr.h"): "libsimavr-dev",
    "/usr/lib/avr/include/avr/io.h": "avr-libc",
}
"""The programs and files it is built and run with, and the Debian package of each."""
CONVERTERS = 4
VECTORS = 26
MARK, BUTTON, TILT_MV, INPUT, BYTE, UNPLUGGED, SHORTED, QUICK = range(8)


class CannotBuild(Exception):
    """The board's firmware cannot be built or run here; the text says what to install."""


@dataclass(frozen=True, slots=True)
class Built:
    """The firmware as a program for the chip, and the bench to run it on."""

    elf: Path
    bench: Path
    said: str
    """What the build printed: flash and RAM."""
    hz: int


class _Figures(ctypes.Structure):
    _fields_ = [
        ("cycles", ctypes.c_uint64),
        ("idle", ctypes.c_uint64),
        ("latency", ctypes.c_uint64 * VECTORS),
        ("duration", ctypes.c_uint64 * VECTORS),
        ("served", ctypes.c_uint64 * VECTORS),
        *((name, ctypes.c_uint64) for name in ("high_least", "high_most", "low_least", "first_least", "late_most")),
        *((name, ctypes.c_uint64) for name in ("conversions", "overtaken", "torn", "untimely", "incomplete")),
        ("stack_untouched", ctypes.c_uint64),
    ]


def missing() -> list[str]:
    """The Debian packages that have to be installed first."""
    return [package for what, package in PACKAGES.items() if not (shutil.which(what) or Path(what).exists())]


def build(folder: Path, *, hz: int = 16_000_000, **options: int) -> Built:
    """The firmware with these options of its Makefile, and the bench. Raises CannotBuild."""
    if not FOLDER.is_dir():
        raise CannotBuild("the reference board is built from the project's folder; it is not in the installed package")
    if wanted := missing():
        raise CannotBuild(f"the reference board needs a compiler for its chip: apt install {' '.join(wanted)}")
    folder.mkdir(parents=True, exist_ok=True)
    words = [f"{name}={value}" for name, value in {"F_CPU": hz, **options}.items()]
    said = _run(["make", "-s", "-C", str(FOLDER), f"BUILD={folder.resolve()}", *words])
    sources = [str(FOLDER / "simulated" / name) for name in ("bench.c", "converter.c", "figures.c")]
    library = folder / "bench.so"
    flags = ["-std=gnu99", "-O2", "-Wall", "-Wextra", "-Werror", "-shared", "-fPIC", f"-I{HEADERS}"]
    _run(["cc", *flags, "-o", str(library), *sources, "-lsimavr", "-lm"])
    return Built(folder / "foreaft_board.elf", library, said.strip(), hz)


def _run(command: list[str]) -> str:
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise CannotBuild(f"the reference board does not build: {done.stderr or done.stdout}")
    return done.stdout


class BoardBench:
    """One board with what is wired to it. Times are microseconds of the bench, which continue over the board's
    restarts."""

    def __init__(self, built: Built, *, supply_mv: int = 5000, eeprom: bytes | None = None) -> None:
        """eeprom: its content from address 16 on, id and boot number; empty: a board that has never run."""
        self._lib = _library(built.bench)
        self.hz = built.hz
        self._bench = self._lib.bench_new(str(built.elf).encode(), built.hz, supply_mv)
        if not self._bench:
            raise CannotBuild(f"{built.elf} cannot be run")
        if eeprom is not None:
            self.eeprom(16, eeprom)
        self.now_us = 0.0
        self._bytes = (ctypes.c_uint8 * 65_536)()
        self._times = (ctypes.c_double * 65_536)()

    def close(self) -> None:
        """Close the bench; it cannot be used afterwards."""
        self._lib.bench_free(self._bench)
        self._bench = None

    def make(self, i: int, *, period_error: float = 0.0, hides: bool = False, seed: int = 0) -> None:
        """The properties of converter i: by what fraction its clock is slow, whether it hides unsettled conversions, a
        fixed reading regardless of the bridge."""
        self._lib.bench_make(self._bench, i, period_error, int(hides), seed)

    def at(self, us: float, what: int, value: float, index: int = 0) -> None:
        """Schedule an event: MARK, BUTTON (level), TILT_MV, INPUT (counts at gain 128), UNPLUGGED, SHORTED,
        QUICK: a conversion ends as soon as the chip has read the line high so often after the one before."""
        self._lib.bench_at(self._bench, us, what, index, value)

    def hear(self, data: bytes, us: float | None = None) -> None:
        """Send bytes from the host, one after the other, from now on or from the given time."""
        self._lib.bench_hear(self._bench, self.now_us if us is None else us, data, len(data))

    def run(self, until_us: float) -> bytes:
        """Run until the given time; returns what the board has sent meanwhile."""
        return b"".join(data for _, data in self.run_pieces(until_us))

    def run_pieces(self, until_us: float) -> list[tuple[float, bytes]]:
        """The same in pieces that end with a frame, each with the time at which its last bit was sent."""
        if self._lib.bench_run(self._bench, until_us):
            raise RuntimeError(f"the board's program stopped at {self._lib.bench_now_us(self._bench):.0f} us")
        self.now_us = self._lib.bench_now_us(self._bench)
        pieces = []
        while n := self._lib.bench_said(self._bench, self._bytes, self._times, len(self._bytes)):
            data = bytes(memoryview(self._bytes)[:n])
            times = np.ctypeslib.as_array(self._times)[:n]
            begin = 0
            for end in [*(np.flatnonzero(np.frombuffer(data, np.uint8) == 0) + 1).tolist(), n]:
                if end > begin:
                    pieces.append((float(times[end - 1]), data[begin:end]))
                begin = end
        return pieces

    def brown_out(self) -> None:
        """The supply dips and comes back: RAM content is undefined."""
        self._lib.bench_brown_out(self._bench)

    def poke(self, at: int, data: bytes) -> None:
        """Write data memory."""
        for i, value in enumerate(data):
            self._lib.bench_poke(self._bench, at + i, value)

    def eeprom(self, at: int, data: bytes) -> None:
        """Write the EEPROM."""
        self._lib.bench_eeprom(self._bench, at, (ctypes.c_uint8 * len(data))(*data), len(data), 1)

    def kept(self, at: int, n: int) -> bytes:
        """Read the EEPROM."""
        room = (ctypes.c_uint8 * n)()
        self._lib.bench_eeprom(self._bench, at, room, n, 0)
        return bytes(room)

    def flash(self, at: int, code: bytes) -> bytes:
        """Replace code there; returns what was there before."""
        before = (ctypes.c_uint8 * len(code))()
        self._lib.bench_flash(self._bench, at, (ctypes.c_uint8 * len(code))(*code), before, len(code))
        return bytes(before)

    @property
    def light(self) -> bool:
        """Whether the board's LED is on."""
        return bool(self._lib.bench_light(self._bench))

    def figures(self) -> Mapping[str, int | list[int]]:
        """What was measured since the start, in cycles of the chip: `struct figures` of bench.h."""
        figures = _Figures()
        self._lib.bench_figures(self._bench, ctypes.byref(figures))
        values = {name: getattr(figures, name) for name, *_ in _Figures._fields_}
        return {name: list(v) if isinstance(v, ctypes.Array) else int(v) for name, v in values.items()}


def made_up(seed: int, index: int, numbers: Array) -> Array:
    """What converter `index` reads in these conversions if it has a seed; as defined in bench.h."""
    x = (seed * 0x9E3779B9 + index * 0x85EBCA6B + numbers.astype(np.uint64) * 0xC2B2AE35) & 0xFFFFFFFF
    x ^= x >> 16
    x = (x * 0x7FEB352D) & 0xFFFFFFFF
    x ^= x >> 15
    x = (x * 0x846CA68B) & 0xFFFFFFFF
    x ^= x >> 16
    low = (x & 0xFFFFFF).astype(np.int64)
    return np.where(low >= 1 << 23, low - (1 << 24), low)


def _library(path: Path) -> ctypes.CDLL:
    lib = ctypes.CDLL(str(path))
    pointer, number, real, byte = ctypes.c_void_p, ctypes.c_int, ctypes.c_double, ctypes.c_uint8
    for name, result, arguments in (
        ("bench_new", pointer, (ctypes.c_char_p, ctypes.c_uint32, ctypes.c_uint32)),
        ("bench_free", None, (pointer,)),
        ("bench_make", None, (pointer, number, real, number, ctypes.c_uint32)),
        ("bench_at", None, (pointer, real, number, number, real)),
        ("bench_hear", None, (pointer, real, ctypes.c_char_p, number)),
        ("bench_run", number, (pointer, real)),
        ("bench_now_us", real, (pointer,)),
        ("bench_said", number, (pointer, pointer, pointer, number)),
        ("bench_brown_out", None, (pointer,)),
        ("bench_poke", None, (pointer, ctypes.c_uint16, byte)),
        ("bench_eeprom", None, (pointer, ctypes.c_uint16, pointer, number, number)),
        ("bench_flash", None, (pointer, ctypes.c_uint32, pointer, pointer, number)),
        ("bench_light", byte, (pointer,)),
        ("bench_figures", None, (pointer, pointer)),
    ):
        function = getattr(lib, name)
        function.restype, function.argtypes = result, arguments
    return lib
