from tests.faults.kill import check_nothing_lost, kill_repeatedly


def test_no_acknowledged_second_is_lost_to_kill_9_and_the_session_goes_on(tmp_path):
    path = tmp_path / "store.sqlite"
    acknowledged = kill_repeatedly(path, times=4, seed=4)

    assert len(acknowledged) >= 4
    check_nothing_lost(path, acknowledged)
