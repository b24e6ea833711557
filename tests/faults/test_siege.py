"""The stop gets through whatever a network does that has no pass, or has only the rider's."""

import pytest

from tests.faults.siege import KINDS, besiege

STOPS = 8
"""So many of each kind here; a hundred in the full run of the faults."""


@pytest.mark.parametrize("kind", KINDS)
def test_every_stop_acts_within_a_second_while_the_way_is_besieged(tmp_path, kind):
    assert besiege(tmp_path, kind, STOPS).startswith(kind)
