"""DEVELOPERS.md draws the sweep's states from the table itself."""

from pathlib import Path

from daq.sweep.run import TRANSITIONS, State

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
