"""A hundred inputs that nobody would write for each command that reads files from elsewhere; 3,000 in full."""

import pytest

from tests.faults.fuzz import fuzz
from tests.faults.fuzz_inputs import WORDS


@pytest.mark.parametrize("name", WORDS)
def test_no_input_makes_a_traceback_a_hang_or_takes_the_memory(name):
    found = fuzz(name, 100)

    assert found.cases == 100
    assert found.failures == []
