"""A command computes on one thread: threads of linear algebra that wait for each other cost more than they compute."""

import os
import subprocess
import sys

import pytest


@pytest.mark.parametrize(("asked", "threads"), [({}, 1), ({"OPENBLAS_NUM_THREADS": "2"}, 2)])
def test_a_command_has_one_thread_for_linear_algebra_unless_more_are_asked_for(asked, threads):
    """/proc/self/task (proc(5)) has a folder for each thread; OpenBLAS starts its own when numpy is loaded."""
    alone = {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")}
    told = "import os, daq.cli, daq.sweep.line; print(len(os.listdir('/proc/self/task')))"

    run = [sys.executable, "-c", told]
    done = subprocess.run(run, env={**alone, **asked}, capture_output=True, text=True, check=False)

    assert done.stdout == f"{threads}\n", done.stderr
