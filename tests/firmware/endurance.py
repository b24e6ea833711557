"""Many scans of the reference board's machine code, each compared with the conversion it must carry."""

from __future__ import annotations

import numpy as np

from daq.sources.reference_bench import CONVERTERS, Built, made_up
from daq.values import Status
from tests.firmware.running import SEEDS, running, scans

PART_S = 50
LOWEST, HIGHEST = -(1 << 23), (1 << 23) - 1


def wrong_or_lost(built: Built, *, scans_wanted: int) -> tuple[int, int, int]:
    """Scans received, counts that are wrong, scans that were lost; over the wraps of numbers and microseconds."""
    received = wrong = 0
    first: list[int] = []
    with running(built) as on:
        while received < scans_wanted:
            got = scans(on.run(PART_S))
            on.items.clear()
            if not first:
                first = [
                    int(np.flatnonzero(made_up(SEEDS[i], i, np.arange(100)) == got.counts[0, i])[0])
                    for i in range(CONVERTERS)
                ]
            numbers = np.arange(received, received + len(got))
            right = np.column_stack([made_up(SEEDS[i], i, numbers + first[i]) for i in range(CONVERTERS)])
            at_end = ((right == LOWEST) | (right == HIGHEST)).any(axis=1)  # one made-up count in eight million
            wrong += int((got.counts[:, :CONVERTERS] != right).sum()) + int((got.sequence != numbers % 65_536).sum())
            wrong += int((got.status != at_end * Status.SATURATED).sum())
            received += len(got)
        return received, wrong, on.decoder.dropped + on.decoder.damaged + on.decoder.malformed
