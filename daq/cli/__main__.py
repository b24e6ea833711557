"""`python -m daq.cli` is the command `foreaft`."""

from daq.cli import main

main(prog_name="foreaft")
