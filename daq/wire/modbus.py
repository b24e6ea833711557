"""Loads in the registers of a Modbus transmitter: words to newtons. Asking for the words is the source's business.

The protocol fixes 16-bit words, high byte first (Modbus Application Protocol V1.1b3, 4.2) and no more: how a maker
spreads a number over two words, whether the manual counts registers from 0, 1 or 40001, and what one unit is worth
differ, and stand in the rig file.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass

from daq.values import Samples
from daq.wire.transmitter import newtons_per, scan_of

MOST_WORDS = 125
"""In one request (same, 6.3)."""
KINDS = {"int16": "h", "uint16": "H", "int32": "i", "uint32": "I", "float32": "f"}
WORD_ORDERS = ("big", "little")


@dataclass(frozen=True, slots=True)
class Register:
    """Where one load stands and how it is written. ValueError at once for what cannot be."""

    name: str
    address: int
    """As the manual counts."""
    kind: str = "int32"
    """int16, uint16, int32, uint32 or float32."""
    word_order: str = "big"
    """big: the high word first; little: the low word first."""
    scale: float = 1.0
    """Units per step: 0.01 when 1234 means 12.34."""
    unit: str = "kg"

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"register {self.name}: kind {self.kind!r}: expected one of {', '.join(KINDS)}")
        if self.word_order not in WORD_ORDERS:
            raise ValueError(f"register {self.name}: word order {self.word_order!r}: expected big or little")
        newtons_per(self.unit)

    @property
    def words(self) -> int:
        """How many words it takes."""
        return struct.calcsize(KINDS[self.kind]) // 2


def request_for(registers: Sequence[Register], *, base: int = 0) -> tuple[int, int]:
    """First address on the wire and number of words of the one request that brings all registers.

    base is what the manual calls the first register: 0, 1, 30001 or 40001. ValueError when an address lies before it or
    beyond 65535, or when more than 125 words would be needed.
    """
    if not registers:
        raise ValueError("no registers to read: expected at least one")
    start = min(register.address for register in registers) - base
    end = max(register.address + register.words for register in registers) - base
    if start < 0 or end > 0x10000:
        first = min(registers, key=lambda register: register.address)
        where = f"register {first.name} at {first.address}, counted from {base}"
        raise ValueError(f"{where}, is {start} on the wire: expected 0 to 65535 up to the last word")
    if end - start > MOST_WORDS:
        raise ValueError(f"registers span {end - start} words: one request brings at most {MOST_WORDS}")
    return start, end - start


def number_in(register: Register, words: Sequence[int]) -> float:
    """The number in the words of one register, scaled, in its unit. ValueError when there are too few or too many."""
    if len(words) != register.words:
        raise ValueError(f"register {register.name}: expected {register.words} words, got {len(words)}")
    ordered = words if register.word_order == "big" else words[::-1]
    raw = struct.pack(f">{len(words)}H", *ordered)
    (number,) = struct.unpack(">" + KINDS[register.kind], raw)
    return float(number) * register.scale


def samples_from(
    words: Sequence[int], registers: Sequence[Register], *, source: str, received_us: int, sequence: int
) -> Samples:
    """One scan from the answer to the request of request_for, channels in the order of the registers.

    A number that is not finite, which some makers send for an overload, is marked saturated. ValueError when the answer
    has another length than asked for.
    """
    start = min(register.address for register in registers)
    _, expected = request_for(registers, base=start)
    if len(words) != expected:
        raise ValueError(f"{source}: asked for {expected} words, got {len(words)}")
    loads_n = []
    for register in registers:
        at = register.address - start
        number = number_in(register, words[at : at + register.words])
        finite = number - number == 0.0
        loads_n.append(number * newtons_per(register.unit) if finite else None)
    return scan_of(loads_n, source=source, received_us=received_us, sequence=sequence)
