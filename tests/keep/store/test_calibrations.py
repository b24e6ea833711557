"""Calibrations in the store: versioned, never overwritten, with checks, certificates and benches."""

import sqlite3
from dataclasses import replace

import pytest

from daq.keep.errors import StoreError
from daq.keep.rescue.salvage import salvage
from daq.keep.store import Store, calibrations
from daq.keep.store.verify import verify
from daq.measure.calibration.status import sensitivity_check
from daq.measure.calibration.uncertainty import Expanded
from tests.keep.jig import recorded
from tests.measure.calibration.jig import jig

EXPANDED = Expanded(0.2, 0.1, 1.96, float("inf"))


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "store.sqlite") as opened:
        yield opened


def check(at_utc="2025-03-05T08:00:00Z", shown_n=196.2):
    return sensitivity_check("hands_left", at_utc, load_n=196.13, u_load_n=0.01, shown_n=shown_n, uncertainty=EXPANDED)


def test_a_calibration_is_kept_once_and_a_changed_one_beside_it(store):
    first = calibrations.keep(store, jig())
    again = calibrations.keep(store, jig())
    other = calibrations.keep(store, replace(jig(), made_utc="2025-06-01T00:00:00Z"))

    assert (first, again) == (1, 1)
    assert [one.calibration.made_utc for one in calibrations.calibrations(store)] == [
        "2025-03-04T10:11:12Z",
        "2025-06-01T00:00:00Z",
    ]
    assert calibrations.found(store, str(other)).calibration.made_utc == "2025-06-01T00:00:00Z"
    assert calibrations.found(store, "bench-7").id == other


def test_a_calibration_that_is_not_there_is_named_with_those_that_are(store):
    calibrations.keep(store, jig())

    with pytest.raises(StoreError, match=r"no calibration 'x' in .*; it has 1 \(bench-7\)"):
        calibrations.found(store, "x")


def test_checks_stay_with_the_calibration_they_checked(store):
    calibrations.add_check(store, jig(), check())
    calibrations.add_check(store, jig(), check("2025-03-06T08:00:00Z", 210.0))
    calibrations.add_check(store, replace(jig(), id="other"), check("2025-03-07T08:00:00Z"))

    assert [one.passed for one in calibrations.checks(store, jig())] == [True, False]
    assert calibrations.checks(store, replace(jig(), id="third")) == ()


def test_a_bench_comes_back_with_its_steps_in_order(store):
    number = calibrations.begin_bench(store, 1, {"order": 2})
    calibrations.add_step(store, number, "take", {"task": "warm-up"})
    calibrations.add_step(store, number, "redo", {"task": "warm-up"})

    found = calibrations.bench(store, number)
    assert found.setup == {"order": 2}
    assert found.steps == (("take", {"task": "warm-up"}), ("redo", {"task": "warm-up"}))
    assert [one.id for one in calibrations.benches(store)] == [number]


def test_certificates_are_added_never_overwritten_and_the_latest_is_shown(store):
    bench = calibrations.begin_bench(store, 1, {})
    number = calibrations.add_certificate(store, jig(), bench, {"text": "first"})
    calibrations.add_certificate(store, jig(), bench, {"text": "second"})

    assert calibrations.certificate(store, number) == {"text": "second"}
    assert calibrations.versions(store, bench) == 2
    with pytest.raises(StoreError, match="has no certificate"):
        calibrations.certificate(store, 99)


def test_damage_to_a_kept_check_is_found(tmp_path):
    path = tmp_path / "store.sqlite"
    with Store.open(path) as opened:
        calibrations.add_check(opened, jig(), check(shown_n=210.0))
    db = sqlite3.connect(path)
    db.execute("UPDATE weight_checks SET content = replace(content, '210.0', '196.1')")
    db.commit()
    db.close()

    with Store.open(path) as opened:
        assert verify(opened).problems == ("row 1 of weight_checks is damaged",)


def test_a_salvage_brings_benches_certificates_and_checks_along(tmp_path):
    with Store.open(tmp_path / "old.sqlite") as old:
        recorded(old, 2)
        bench = calibrations.begin_bench(old, 1, {"order": 1})
        calibrations.add_step(old, bench, "take", {"task": "warm-up"})
        number = calibrations.add_certificate(old, jig(), bench, {"text": "kept"})
        calibrations.add_check(old, jig(), check())
    salvage(tmp_path / "old.sqlite", tmp_path / "new.sqlite")

    with Store.open(tmp_path / "new.sqlite", write=False) as new:
        assert calibrations.certificate(new, number) == {"text": "kept"}
        assert calibrations.bench(new, bench).steps == (("take", {"task": "warm-up"}),)
        assert len(calibrations.checks(new, jig())) == 1
