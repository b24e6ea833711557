"""DEVELOPERS.md draws the sweep's states from the table itself, and the places it names are there."""

import re
from pathlib import Path

from daq.sweep.run import TRANSITIONS, State
from tests.__main__ import PURE

DEVELOPERS = Path(__file__).parent.parent / "DEVELOPERS.md"


def drawing() -> str:
    lines = ["```mermaid", "stateDiagram-v2", f"    [*] --> {State.WAITING}"]
    for state, events in TRANSITIONS.items():
        for following in dict.fromkeys(events.values()):
            names = ", ".join(event for event, to in events.items() if to is following)
            lines.append(f"    {state} --> {following}: {names}")
        if not events:
            lines.append(f"    {state} --> [*]")
    return "\n".join([*lines, "```"])


def test_the_drawing_of_a_sweep_is_the_table():
    text = DEVELOPERS.read_text()

    drawn = text.split("<!-- states -->\n")[1].split("\n<!-- /states -->")[0]

    assert drawn == drawing(), f"put this between the marks in DEVELOPERS.md:\n{drawing()}"


def places():
    """(name, file) of each place in the table "Where is what"."""
    table = DEVELOPERS.read_text().split("## Where is what\n")[1].split("\n## ")[0]
    for names, path in re.findall(r"((?:`\w[\w.]*`(?: and )?)+) in `([\w/.]+)`", table):
        for name in re.findall(r"`([\w.]+)`", names):
            yield name, path


def test_what_the_table_names_is_where_it_says():
    named = list(places())

    assert len(named) >= 10
    for name, path in named:
        text = (DEVELOPERS.parent / path).read_text()
        for part in name.split("."):
            assert re.search(rf"(class|def|function) {part}\b", text), f"{path} has no {part}"


def test_what_the_quick_tests_name_is_there():
    tests = DEVELOPERS.parent / "tests"

    assert [name for name in PURE if not (tests / name).exists()] == []
