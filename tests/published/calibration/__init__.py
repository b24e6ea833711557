"""Published figures for calibration, read for the tests; README.md says where each comes from."""

import csv
import json
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent


def columns(name):
    """The columns of a table as arrays, by their names."""
    with (HERE / name).open(newline="") as file:
        rows = list(csv.DictReader(file))
    return {key: np.array([float(row[key]) for row in rows]) for key in rows[0]}


def facts(name):
    return json.loads((HERE / name).read_text())
