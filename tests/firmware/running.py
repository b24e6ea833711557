"""The reference board's machine code with a host that listens: what every test of it begins with."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field

import numpy as np

from daq.sources.reference_bench import CONVERTERS, BoardBench, Built, made_up
from daq.values import Samples, joined
from daq.wire import board

ID = bytes.fromhex("5173000000000042")
SEEDS = (11, 12, 13, 14)
SPREAD = (0.0, 0.003, -0.002, 0.0011)
"""Shares by which four converters of one kind run slow: a third of a per cent of one another is ordinary."""
MS = 1e3
S = 1e6


@dataclass
class Running:
    """A bench and what its host has heard."""

    bench: BoardBench
    decoder: board.BoardDecoder = field(default_factory=lambda: board.BoardDecoder("board"))
    items: list[board.Item] = field(default_factory=list)
    request: int = 0

    def run(self, seconds: float) -> list[board.Item]:
        """What the board says in the seconds to come."""
        pieces = self.bench.run_pieces(self.bench.now_us + seconds * S)
        said = [item for _, item in self.decoder.feed_pieces([(int(us), data) for us, data in pieces])]
        self.items += said
        return said

    def ask(self, op: int, *operands: int, within_s: float = 0.5) -> board.Reply:
        """The answer to a command; it has to come in time."""
        self.request += 1
        self.bench.hear(b"\0" + board.encode_command(board.Command(self.request, board.CommandOp(op), operands)))
        (reply,) = (item for item in self.run(within_s) if isinstance(item, board.Reply))
        assert (reply.request, reply.op) == (self.request, op)
        return reply

    @property
    def hello(self) -> board.HelloBody:
        """The last one heard."""
        assert self.decoder.hello is not None
        return self.decoder.hello


@contextmanager
def running(built: Built, *, made: bool = True, spread: bool = False, **options) -> Iterator[Running]:
    """A board just switched on. made: its converters read made-up counts, else what the bridges are set to."""
    options.setdefault("eeprom", ID + (6).to_bytes(4, "little"))
    bench = BoardBench(built, **options)
    for i in range(CONVERTERS):
        bench.make(i, seed=SEEDS[i] if made else 0, period_error=SPREAD[i] if spread else 0.0)
    try:
        yield Running(bench)
    finally:
        bench.close()


def scans(items) -> Samples | None:
    """All scans among the items as one."""
    parts = [item for item in items if isinstance(item, Samples)]
    return joined(parts) if parts else None


def wrong_counts(counts: np.ndarray, *, left_out: int = 0, only: Sequence[int] = range(CONVERTERS)) -> int:
    """How many counts (n, k) of these made-up converters are not those of the next conversion.

    left_out: so many conversions may be missing between two, as of a converter that runs faster than the scans.
    """
    wrong = 0
    for column, i in enumerate(only):
        expected = made_up(SEEDS[i], i, np.arange(len(counts) * (1 + left_out) + 200))
        at = int(np.flatnonzero(expected == counts[0, column])[0])
        if not left_out:
            wrong += int((counts[:, column] != expected[at : at + len(counts)]).sum())
            continue
        for count in counts[1:, column]:
            ahead = np.flatnonzero(expected[at + 1 : at + 2 + left_out] == count)
            wrong += not len(ahead)
            at += 1 + int(ahead[0]) if len(ahead) else 1
    return wrong
