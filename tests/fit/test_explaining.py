"""The sentence for the client: what was decided, and which way that is from where the saddle was."""

from types import SimpleNamespace

import pytest

from daq.fit.explaining import sentence


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
