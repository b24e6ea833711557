"""Tests that share a slow set-up run in one worker, which makes it once."""

import os
import subprocess
import sys

from tests.__main__ import SPREAD

FILE = """
import pytest


@pytest.fixture(scope="module")
def made():
    with open({noted!r}, "a") as noted:
        noted.write("made ")


@pytest.mark.parametrize("number", range(8))
def test_one(made, number):
    pass
"""


def test_what_the_tests_of_a_file_share_is_made_once(tmp_path):
    noted = tmp_path / "noted"
    for name in ("test_first.py", "test_second.py"):
        (tmp_path / name).write_text(FILE.format(noted=str(noted)))

    command = [sys.executable, "-m", "pytest", "-p", "xdist", *SPREAD, "-n", "2", "--rootdir", str(tmp_path)]
    alone = {**os.environ, "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
    done = subprocess.run(command, cwd=tmp_path, env=alone, capture_output=True, text=True, check=False)

    assert "16 passed" in done.stdout, done.stdout + done.stderr
    assert noted.read_text() == "made made "
