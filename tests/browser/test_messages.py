"""The page's types of the daemon's messages against the saved examples, which another test holds against the daemon."""

import copy
import json
import subprocess
import sys
from pathlib import Path

from tests.__main__ import JS, ROOT, TSC
from tests.live.examples import EXAMPLES

HERE = Path(sys.prefix)
CHECKER = HERE / "js" / TSC.relative_to(JS)
"""In the environment that runs the tests; `python3 -m tests` puts it there."""
STRICT = ("--noEmit", "--strict", "--allowJs", "--checkJs", "--target", "ES2022", "--moduleResolution", "node")


def without(kind, field):
    """The examples, of which one lacks a field."""
    harmed = copy.deepcopy(EXAMPLES)
    del harmed[kind][field]
    return harmed


def test_the_pages_types_are_the_daemons_messages_field_by_field(tmp_path):
    told = {
        "as_saved": EXAMPLES,
        "unknown_field": {**EXAMPLES, "stroke": {**EXAMPLES["stroke"], "used": True}},
        "missing_field": without("sweep", "why_waiting"),
        "unknown_kind": {**EXAMPLES, "step": {**EXAMPLES["steps"]["steps"][0], "type": "step"}},
        "other_type": {**EXAMPLES, "notice": {**EXAMPLES["notice"], "text": 1}},
    }
    for name, messages in told.items():
        saved = json.dumps(list(messages.values()))
        types = f'import type {{ Message }} from "{ROOT}/dashboard/messages.js";'
        (tmp_path / f"{name}.ts").write_text(f"{types}\nexport const saved: Message[] = {saved};\n")

    files = [tmp_path / f"{name}.ts" for name in told]
    command = [HERE / "bin/node", CHECKER, *STRICT, *files]
    checked = subprocess.run(list(map(str, command)), cwd=tmp_path, capture_output=True, text=True, check=False)

    wrong = {line.partition(".ts(")[0] for line in checked.stdout.splitlines() if ".ts(" in line}
    assert wrong == set(told) - {"as_saved"}, checked.stdout
