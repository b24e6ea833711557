import csv
from pathlib import Path

import pytest

from daq.rider.segments import SEGMENTS, count, total_fraction

TABLE = Path(__file__).parent.parent / "published" / "body" / "deleva1996.csv"
ROWS = {
    "head": "Head 2",
    "trunk": "Trunk 3",
    "upper_arm": "UpperArm",
    "forearm": "Forearm",
    "hand": "Hand",
    "thigh": "Thigh",
    "shank": "Shank",
    "foot": "Foot",
}
"""Our segments and the rows of de Leva 1996 with the same ends."""


@pytest.mark.parametrize(("sex", "letter"), [("female", "F"), ("male", "M")])
def test_every_segment_is_as_de_leva_published_it(sex, letter):
    with TABLE.open() as file:
        published = {row["segment"]: row for row in csv.DictReader(file)}

    for name, segment in SEGMENTS[sex].items():
        row = published[ROWS[name]]

        assert 100.0 * segment.mass_fraction == pytest.approx(float(row[f"mass_pct_{letter}"]), abs=1e-9)
        assert 100.0 * segment.com_fraction == pytest.approx(float(row[f"com_long_pct_{letter}"]), abs=1e-9)


@pytest.mark.parametrize(("sex", "total"), [("female", 0.9999), ("male", 1.0)])
def test_the_segments_make_up_a_whole_body(sex, total):
    # sums of the published table itself
    assert total_fraction(sex) == pytest.approx(total, abs=1e-12)


def test_a_body_has_one_head_and_two_of_each_limb():
    assert [count(name) for name in ("head", "trunk", "thigh", "hand")] == [1, 1, 2, 2]
