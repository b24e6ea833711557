"""The saved examples of the daemon's messages, and what in a message does not fit its example."""

import json
from pathlib import Path

EXAMPLES = {one["type"]: one for one in json.loads((Path(__file__).parent / "messages.json").read_text())}
OPEN = {"notes"}
"""Fields whose keys are what a person entered."""


def misfits(sent, example, where=""):
    """Every difference of shape: a field that only one of them has, another type. Null is no difference."""
    if sent is None or example is None:
        return []
    if isinstance(sent, dict) and isinstance(example, dict):
        if where.rpartition(".")[2] in OPEN:
            return []
        only = [f"{where}.{name}: only in the example" for name in example.keys() - sent.keys()]
        only += [f"{where}.{name}: not in the example" for name in sent.keys() - example.keys()]
        both = sorted(sent.keys() & example.keys())
        return sorted(only) + [one for name in both for one in misfits(sent[name], example[name], f"{where}.{name}")]
    if isinstance(sent, list) and isinstance(example, list):
        return [one for each in sent for one in misfits(each, example[0], f"{where}[]")] if example else []
    kinds = [
        bool if isinstance(one, bool) else float if isinstance(one, int | float) else type(one)
        for one in (sent, example)
    ]
    return [] if kinds[0] is kinds[1] else [f"{where}: {kinds[0].__name__}, in the example {kinds[1].__name__}"]
