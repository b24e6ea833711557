import csv
from pathlib import Path

import pytest

from daq.measure.gravity import normal_gravity_m_s2

TABLE = Path(__file__).parent.parent / "published" / "earth" / "gravity.csv"


def test_gravity_is_that_of_the_ellipsoid_and_of_another_package():
    with TABLE.open() as file:
        for row in csv.DictReader(file):
            latitude = float(row["lat_deg"])

            assert normal_gravity_m_s2(latitude) == pytest.approx(float(row["wgs84_somigliana"]), abs=1e-10)
            assert normal_gravity_m_s2(latitude) == pytest.approx(float(row["boule_wgs84_h0"]), abs=2e-10)
            # boule's is exact above the ellipsoid, the series is not: 6e-8 at 500 m
            assert normal_gravity_m_s2(latitude, 500.0) == pytest.approx(float(row["wgs84_series_h500m"]), abs=6e-9)
            assert normal_gravity_m_s2(latitude, 500.0) == pytest.approx(float(row["boule_wgs84_h500m"]), abs=6e-8)


def test_both_hemispheres_are_alike():
    assert normal_gravity_m_s2(-48.0, 300.0) == normal_gravity_m_s2(48.0, 300.0)


@pytest.mark.parametrize(("latitude", "height"), [(91.0, 0.0), (45.0, 20_000.0)])
def test_places_off_the_earth_are_refused(latitude, height):
    with pytest.raises(ValueError, match=r"(latitude_deg|height_m): expected"):
        normal_gravity_m_s2(latitude, height)
