"""Damages at random, each kind once; `python -m tests.faults.full` does forty on a store of 24 sweeps."""

from tests.faults.bits import flip
from tests.faults.damages import DAMAGES
from tests.faults.rescue import check_all


def test_what_is_whole_comes_back_what_is_lost_is_told_and_every_command_works(tmp_path):
    assert len(check_all(tmp_path, sweeps=2, cases=len(DAMAGES), seed=1)) == len(DAMAGES)


def test_no_flipped_bit_changes_a_record_unnoticed(tmp_path):
    noticed, of_no_use = flip(tmp_path, flips=150, seed=1)

    assert noticed > 30
    assert noticed + of_no_use == 150
