"""What firmware_notes/host.md promises, each with the test that holds it."""

import re
from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_every_promise_names_a_test_that_is_there():
    text = (ROOT / "firmware_notes" / "host.md").read_text().partition("## What is promised")[2].partition("\n## ")[0]
    rows = [line.split(" | ") for line in text.splitlines() if line.startswith("| ")][1:]
    named = [re.fullmatch(r"`(tests/\S+\.py)::(test_\w+)` \|", row[-1]) for row in rows if row[-1] != "the same |"]

    assert len(rows) >= 24
    for one in named:
        assert one is not None
        assert f"def {one[2]}(" in (ROOT / one[1]).read_text()
