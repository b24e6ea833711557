"""Decide opened for a test, and where its marker is."""

import json

from daq.sweep.run import State
from tests.browser.answers import ANSWERS, sweep_in


def opened(desk, messages, screen):
    at = desk()
    at.answers = json.loads(ANSWERS.read_text())
    at.answers["visit/evidence"] |= {"decision": None, "chosen_mm": 59.0}
    visit = at.answers["visit"]["visit"] | {"decision": None}
    at.answers["visit"]["visit"] = visit
    at.open({**messages["snapshot"], "visit": visit, "sweep": sweep_in(messages, State.FINISHED)}, screen)
    at.wait(lambda: at.page.locator(".marker").count())
    return at


def shown(at):
    fields = [at.page.get_by_label(name).input_value() for name in ("Setback decided", "Saddle height", "Bar ahead")]
    return [int(value) for value in fields]


def focus_marker(at):
    """The chart is drawn again once its size is known; a focus given in between would be one of a node that is gone."""
    node = at.page.locator(".marker")
    at.wait(lambda: node.focus() or node.evaluate("it => it === document.activeElement"))
