"""The stop gets through whatever a network does that has no pass, or has only the rider's."""

import pytest

from tests.faults.siege import KINDS, WITHIN_S, stops
from tests.live.test_network import on_a_network

STOPS = 8
"""So many of each kind here; a hundred in the full run of the faults."""


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


@pytest.mark.parametrize("kind", KINDS)
def test_every_stop_acts_within_a_second_while_the_way_is_besieged(tmp_path, kind):
    assert besiege(tmp_path, kind, STOPS).startswith(kind)
