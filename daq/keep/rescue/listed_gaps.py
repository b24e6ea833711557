"""What is lost of a table whose index is whole: the rows it lists and nobody found."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from typing import TypeAlias

from daq.keep.rescue.gap import OF_SCANS, OF_SENSORS, Gap
from daq.keep.rescue.index_rows import Listed

NEXT_US = 1_000_000
"""A gap in the scans reaches to those before and after it, if these are no further off."""
Spans: TypeAlias = list[tuple[int, int, bool]]
"""First and last receipt, and whether it is there; by number."""


def chunk_gaps(listed: Listed, found: Collection[int], sources: Mapping[int, str]) -> Iterator[Gap]:
    """Of scans; the index has session, source, last and first receipt."""
    streams: dict[tuple[int, str], Spans] = defaultdict(list)
    for number, (session_id, source_id, last_us, first_us) in sorted(listed.items()):
        name = sources.get(source_id, f"source {source_id}")
        streams[session_id, name].append((first_us, last_us, number in found))
    for (session_id, name), spans in streams.items():
        for from_us, to_us, _ in _runs(spans, NEXT_US):
            yield Gap(session_id, name, OF_SCANS, from_us, to_us)


def listed_sensor_gaps(listed: Listed, found: Collection[int]) -> Iterator[Gap]:
    """Of notifications; the index has session and receipt."""
    sessions: dict[int, Spans] = defaultdict(list)
    for number, (session_id, received_us) in sorted(listed.items()):
        sessions[session_id].append((received_us, received_us, number in found))
    for session_id, spans in sessions.items():
        for from_us, to_us, count in _runs(spans, 0):
            yield Gap(session_id, "", OF_SENSORS, from_us, to_us, count=count, least_us=0)


def _runs(spans: Spans, next_us: int) -> Iterator[tuple[int, int, int]]:
    """From, to, and number of each run of what is not there."""
    runs = [(there, list(ones)) for there, ones in itertools.groupby(spans, key=lambda span: span[2])]
    for before, (there, ones), after in zip([None, *runs], runs, [*runs[1:], None], strict=False):
        if there:
            continue
        from_us, to_us = ones[0][0], ones[-1][1]
        if before is not None and 0 <= from_us - before[1][-1][1] - 1 <= next_us:
            from_us = before[1][-1][1] + 1
        if after is not None and 0 <= after[1][0][0] - 1 - to_us <= next_us:
            to_us = after[1][0][0] - 1
        yield from_us, to_us, len(ones)
