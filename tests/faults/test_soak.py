from tests.faults.soak import soak

GROWTH = 200_000
"""Bytes: a tenth of what one minute of these counts takes, so that keeping any of them would show."""


def test_memory_stays_flat_over_minutes_at_1_khz(tmp_path):
    early, late = soak(tmp_path / "store.sqlite", seconds=120)

    assert late - early < GROWTH
