"""How a command uses the machine: on one thread, since threads of linear algebra that wait for each other cost more
than they compute, and with memory that it keeps.
"""

import os
import subprocess
import sys
import textwrap

import pytest


@pytest.mark.parametrize(("asked", "threads"), [({}, 1), ({"OPENBLAS_NUM_THREADS": "2"}, 2)])
def test_a_command_has_one_thread_for_linear_algebra_unless_more_are_asked_for(asked, threads):
    """/proc/self/task (proc(5)) has a folder for each thread; OpenBLAS starts its own when numpy is loaded."""
    alone = {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")}
    told = "import os, daq.cli, daq.sweep.line; print(len(os.listdir('/proc/self/task')))"

    run = [sys.executable, "-c", told]
    done = subprocess.run(run, env={**alone, **asked}, capture_output=True, text=True, check=False)

    assert done.stdout == f"{threads}\n", done.stderr


def test_a_command_keeps_the_memory_it_frees():
    """getrusage(2) counts pages faulted in: 4 MB are 1,024, the first time. Under glibc, as on every system with the
    packages these tests install."""
    told = """
        import resource, daq.cli, numpy as np
        def faults(): return resource.getrusage(resource.RUSAGE_SELF).ru_minflt
        def used(): return [np.ones(8192) for _ in range(64)]
        used()
        before = faults()
        used()
        print(faults() - before)
    """

    run = [sys.executable, "-c", textwrap.dedent(told)]
    done = subprocess.run(run, capture_output=True, text=True, check=False)

    assert done.returncode == 0, done.stderr
    assert int(done.stdout) < 100
