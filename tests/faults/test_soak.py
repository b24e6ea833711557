from tests.faults.soak import GROWTH, soak


def test_memory_stays_flat_over_minutes_at_1_khz(tmp_path):
    early, late = soak(tmp_path / "store.sqlite", seconds=120)

    assert late - early < GROWTH
