"""The sentence for the client: what was decided, and which way that is from where the saddle was."""

from types import SimpleNamespace

import pytest

from daq.fit.explaining import sentence, what_was_found
from daq.values import Verdict
from tests.fit.sweeps import ridden


@pytest.mark.parametrize(
    ("present_mm", "chosen_mm", "said"),
    [
        (60.0, 60.2, "It stays at 60 mm."),
        (60.0, 45.0, "It goes 15 mm forward, to 45 mm."),
        (60.0, 71.0, "It goes 11 mm back, to 71 mm."),
        (None, 60.0, "It goes to 60 mm."),
    ],
)
def test_a_decision_says_which_way_it_goes_or_that_it_stays(present_mm, chosen_mm, said):
    case = SimpleNamespace(decision=SimpleNamespace(setback_mm=chosen_mm))

    assert sentence(case, SimpleNamespace(main=None, present_mm=present_mm)).endswith(f" {said}")


@pytest.mark.parametrize(
    ("load_n", "verdict"),
    [
        (lambda mm: 80.0 + 0.6 * (mm - 55.0), Verdict.LIGHT),
        (lambda mm: 80.0 + 0.35 * (mm - 55.0) + 1.9 * max(50.0 - mm, 0.0), Verdict.ONSET),
    ],
)
def test_hands_that_grow_lighter_first_are_not_told_to_stay_the_same(load_n, verdict):
    """Neither verdict says that the load is level behind: it does not rise, or rises more from there on."""
    sweep = ridden(load_n)

    assert sweep.onset.verdict is verdict
    assert "equally" not in what_was_found(SimpleNamespace(main=sweep))


def test_light_hands_are_told_as_what_was_seen_at_the_positions_ridden():
    said = what_was_found(SimpleNamespace(main=ridden(lambda mm: 80.0)))

    assert said == "As your saddle came forward, we did not see your hands carry more at any position we rode."
