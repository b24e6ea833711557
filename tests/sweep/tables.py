"""Tables of steps as the command reads and answers them."""

from daq.sweep.contract import contract
from daq.sweep.steps_csv import answered, read_table


def parse_steps(text):
    """The steps in the table's order, and its warnings."""
    table = read_table(text)
    return table.steps, table.warnings


def onset_json(text, **words):
    """What `foreaft onset STEPS.csv --json` prints, and the warnings; words: of `answered`."""
    table = read_table(text)
    return contract(answered(table, **words)), table.warnings
