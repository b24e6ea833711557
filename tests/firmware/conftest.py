"""The reference board, built once for the tests of a worker."""

import subprocess

import pytest

from daq.sources.reference_bench import build


@pytest.fixture(scope="session")
def built(tmp_path_factory):
    return build(tmp_path_factory.mktemp("reference_board"))


@pytest.fixture(scope="session")
def elf_symbol(built):
    """Where a variable of the firmware stands in data memory."""

    def address(name):
        listed = subprocess.run(["avr-nm", str(built.elf)], capture_output=True, text=True, check=True).stdout
        (line,) = (line for line in listed.splitlines() if line.split()[-1] == name)
        return int(line.split()[0], 16) & 0xFFFF

    return address
