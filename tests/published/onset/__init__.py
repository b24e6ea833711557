"""The published broken lines as arrays."""

import csv
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent


def table(name):
    with (HERE / name).open(newline="") as file:
        return list(csv.DictReader(file))


def published(name):
    """x, y and weights (or None) of one of the five data sets of segmented.csv."""
    if name == "down":
        rows = table("down_elogit.csv")
        return tuple(np.array([float(row[key]) for row in rows]) for key in ("age", "z", "w"))
    if name == "stagnant":
        rows, keys = table("stagnant.csv"), ("x", "y")
    else:
        rows, keys = [row for row in table("plant.csv") if row["group"] == name], ("time", "y")
    return (*(np.array([float(row[key]) for row in rows]) for key in keys), None)
