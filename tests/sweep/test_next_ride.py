"""The positions that would settle a sweep, as a plan has them: the same that the sentence names."""

import re

import pytest

from daq.sweep.bend import bend_of
from daq.sweep.evidence import gathered
from daq.sweep.next_ride import next_positions_mm, next_ride, what_settles
from tests.sweep.rides import hinge, ride


def asked(steps):
    evidence = gathered(steps)
    found = bend_of(evidence)
    return what_settles(evidence, found, next_ride(evidence, found))[0], next_positions_mm(evidence, found)


@pytest.mark.parametrize(("onset_mm", "noise_n"), [(55.0, 4.0), (52.0, 2.0), (33.0, 0.3), (40.0, 3.0)])
def test_the_positions_are_those_of_the_sentence(onset_mm, noise_n):
    said, positions_mm = asked(ride(hinge(onset_mm, added=0.6), noise_n=noise_n, seed=3))

    named = {float(mm) for mm in re.findall(r"\b\d+\b(?! minutes| steps)", said.partition(", about ")[0])}
    assert set(positions_mm) == named or "all positions once more" in said


def test_where_most_likely_nothing_rises_all_positions_are_ridden_out_and_back():
    said, positions_mm = asked(ride(lambda _: 80.0, noise_n=4.0, seed=5))

    assert "all positions once more" in said
    assert positions_mm == (80, 70, 60, 50, 40, 30, 35, 45, 55, 65, 75)


@pytest.mark.parametrize(
    ("onset_mm", "noise_n", "said"),
    [
        (31.0, 2.0, "a rise, if there is one, begins at the foremost position or forward of it, so ride 25 and 20 mm"),
        (74.0, 0.5, "the rise may begin at the rearmost position, so ride 85 and 90 mm"),
        (76.0, 0.5, "where the rise begins, if anywhere, is at the rearmost position or behind it, so ride 85 and 90"),
    ],
)
def test_a_rise_at_an_end_is_not_claimed_beside_most_likely_none(onset_mm, noise_n, said):
    evidence = gathered(ride(hinge(onset_mm, added=0.6), noise_n=noise_n, seed=2))
    found = bend_of(evidence)
    beyond = max(found.p_light, found.p_loaded) > found.p_onset

    assert said in what_settles(evidence, found, next_ride(evidence, found))[0]
    assert beyond is ("if " in said)


@pytest.mark.parametrize(("onset_mm", "beyond"), [(77.0, (90.0, 85.0)), (33.0, (25.0, 20.0))])
def test_a_rise_that_begins_at_an_end_asks_for_the_next_two_places_beyond_it_as_far_apart_as_before(onset_mm, beyond):
    assert asked(ride(hinge(onset_mm, added=1.0), noise_n=1.0, seed=3))[1] == beyond
