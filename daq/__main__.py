"""`python3 -m daq ...` from a checkout: sets up .venv when needed, then runs the command `foreaft ...`."""

import sys

from daq.bootstrap import run_in_venv

run_in_venv(["foreaft", *sys.argv[1:]])
