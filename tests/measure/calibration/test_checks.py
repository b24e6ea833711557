"""Every slip of the issue's list, made on a simulated jig: named, told what to do, repeated without starting again."""

from pathlib import Path

import numpy as np
import pytest

from daq.measure.calibration.bench_plan import tasks
from daq.measure.calibration.checks import findings
from daq.measure.calibration.finding import Wrong
from daq.measure.calibration.procedure import Bench, Taken, redo, take
from daq.measure.calibration.steadiness import settled
from tests.measure.calibration.simulated_bench import PER_N, done, plan, settled_scans, worked_until

DATA_SHEET = {name: 1.02 * per_n for name, per_n in PER_N.items()}


def found(bench, loads_n, *, expected=None, minutes=0.0, said_tilt_deg=None, **how):
    reading = settled_scans(loads_n, **how)
    return findings(bench, reading, minutes=minutes, expected_per_n=expected, tilt_deg=said_tilt_deg)


def kinds(bench, loads_n, **how):
    return [finding.kind for finding in found(bench, loads_n, **how)]


@pytest.mark.parametrize("expected", [None, DATA_SHEET])
def test_careful_work_is_never_faulted(expected):
    bench = Bench(plan())
    while bench.task is not None:
        reading, taken = done(bench.task, seed=len(bench.taken))
        tilt_deg = bench.task.tilt_deg

        assert findings(bench, reading, minutes=20.0, expected_per_n=expected, tilt_deg=tilt_deg) == (), bench.task.id
        bench = take(bench, taken)


def test_electronics_still_warming_wait():
    (finding,) = found(Bench(plan()), {}, minutes=6.0, seconds=90.0)

    assert finding.kind is Wrong.STILL_WARMING
    assert finding.sentence == "on for 6 min; wait another 9 min"
    assert kinds(Bench(plan()), {}, minutes=20.0, seconds=30.0) == [Wrong.TOO_SHORT]
    assert kinds(Bench(plan()), {}, minutes=20.0, seconds=90.0, drift_n=2.0) == [Wrong.UNSTABLE] * 3


def test_an_unstable_zero_is_named_with_its_size():
    bench = worked_until("bar/2/zero")

    (finding,) = found(bench, {}, drift_n=1.0)

    assert finding.kind is Wrong.UNSTABLE
    assert finding.sentence.startswith("bar: the reading moves by 8")
    assert "(1.0" in finding.sentence
    assert "let the weight hang still" in finding.sentence


def test_a_saturated_cell_is_named_and_cannot_be_accepted():
    bench = worked_until("bar/1/rising/5")

    (finding,) = found(bench, {"bar": 2000.0})

    assert finding.kind is Wrong.SATURATED
    assert not finding.may_be_accepted
    assert "lower the gain" in finding.sentence


def test_a_reading_of_a_moment_is_too_short():
    assert kinds(worked_until("bar/1/zero"), {}, seconds=1.0) == [Wrong.TOO_SHORT]


@pytest.mark.parametrize("at", ["bar/1/rising/1", "bar/1/rising/3", "bar/2/rising/4"])
def test_a_forgotten_weight(at):
    bench = worked_until(at)
    before = max((load for load in (0.0, 50.0, 100.0, 200.0, 300.0) if load < bench.task.load_n), default=0.0)

    (finding,) = found(bench, {"bar": before} if before else {})

    assert finding.kind is Wrong.WEIGHT_FORGOTTEN
    assert "put" in finding.sentence
    assert finding.may_be_accepted


def test_a_weight_left_on():
    falling = worked_until("bar/1/falling/3")
    empty = worked_until("bar/1/zero-return")
    next_zero = worked_until("bar/2/zero")

    assert [finding.kind for finding in found(falling, {"bar": 300.0})] == [Wrong.WEIGHT_LEFT_ON]
    assert "the last weight is still on" in found(falling, {"bar": 300.0})[0].sentence
    for bench in (empty, next_zero):
        (finding,) = found(bench, {"bar": 50.0})
        assert finding.kind is Wrong.WEIGHT_LEFT_ON
        assert "take it off" in finding.sentence


def test_weights_in_the_wrong_order():
    (finding,) = found(worked_until("bar/1/rising/2"), {"bar": 300.0})

    assert finding.kind is Wrong.WRONG_ORDER
    assert finding.sentence.startswith("bar: asked was 100.00 N, the reading fits 300")


def test_kilograms_taken_for_newtons():
    (finding,) = found(worked_until("bar/1/rising/1"), {"bar": 50.0 * 9.80665}, expected=DATA_SHEET)

    assert finding.kind is Wrong.WRONG_UNIT
    assert "a factor 9.8: kilograms taken for newtons" in finding.sentence
    (other,) = found(worked_until("bar/1/rising/5"), {"bar": 400.0 / 9.80665})
    assert "newtons taken for kilograms" in other.sentence


def test_the_first_two_weights_exchanged_are_named_though_no_data_sheet_tells_newtons():
    bench = take(worked_until("bar/1/rising/1"), read_as("bar/1/rising/1", {"bar": 100.0}))

    (finding,) = found(bench, {"bar": 50.0})

    assert finding.kind is Wrong.WRONG_ORDER
    assert "as if this weight and that of bar/1/rising/1 were exchanged" in finding.sentence
    (other,) = found(bench, {"bar": 137.0})
    assert other.kind is Wrong.MOVED_FIXTURE
    assert "or was that of bar/1/rising/1?" in other.sentence


def read_as(task_id, loads_n):
    """A reading with these loads on, taken for that task."""
    reading = settled_scans(loads_n)
    return Taken(task_id, "2025-03-04T10:00:00Z", reading.mean, reading.sd, reading.seconds)


def test_a_first_zero_with_something_on_it_is_named_in_counts():
    (finding,) = found(worked_until("bar/1/zero"), {"bar": 60.0})

    assert finding.kind is Wrong.MOVED_FIXTURE
    # 60 N times 8554 counts per newton
    assert "moved by +5132" in finding.sentence


def test_a_first_weight_on_another_cell_is_told_where_it_shows():
    plain = Bench(plan(loads_n=(("bar", (50.0, 100.0, 200.0)),), places=(), crosstalk_n=0.0))

    (finding,) = found(worked_until("bar/1/rising/1", plain), {"nose": 50.0})

    assert finding.kind is Wrong.WEIGHT_FORGOTTEN
    assert "though that of nose did" in finding.sentence


def test_a_moved_fixture():
    (zero,) = found(worked_until("bar/2/zero"), {}, zero_n=-13.0)
    (loaded,) = found(worked_until("bar/2/rising/3"), {"bar": 200.0}, zero_n=23.0)

    assert zero.kind is loaded.kind is Wrong.MOVED_FIXTURE
    assert "take this series again" in zero.sentence
    assert "repeat this reading, or the series" in loaded.sentence


def test_a_weight_on_the_wrong_cell():
    for at in ("nose/1/rising/1", "nose/2/rising/3", "cross-talk/1/nose"):
        (finding,) = found(worked_until(at), {"rear": 200.0})

        assert finding.kind is Wrong.WRONG_CELL
        assert "shows on rear, not on nose" in finding.sentence


@pytest.mark.parametrize("at", ["rear/1/rising/1", "rear/1/rising/3", "rear/1/zero-return", "cross-talk/1/rear"])
def test_a_load_on_another_cell_beside_the_right_one(at):
    bench = worked_until(at)
    right = {"rear": bench.task.load_n} if bench.task.load_n else {}

    (finding,) = found(bench, {**right, "nose": 40.0})

    assert finding.kind is Wrong.LOAD_ELSEWHERE
    assert finding.sentence.startswith(("nose shows +40", "nose shows +39.9"))
    assert "take off its load" in finding.sentence
    assert finding.may_be_accepted


@pytest.mark.parametrize("other", ["nose", "rear"])
def test_a_load_on_a_cell_of_which_nothing_is_known_yet_is_named_in_counts_whichever_way_it_is_wired(other):
    (finding,) = found(worked_until("bar/1/rising/1"), {"bar": 50.0, other: 40.0})

    assert finding.kind is Wrong.LOAD_ELSEWHERE
    # 40 N times the cell's counts per newton, and 1 % of the bar's 50 N on the nose
    assert finding.sentence.startswith(f"{other} shows {'+17' if other == 'nose' else '-17'}")


def test_a_weight_that_hung_on_another_cell_at_the_zero_spoils_the_series():
    bench = take(worked_until("bar/2/zero"), read_as("bar/2/zero", {"rear": 50.0}))

    (finding,) = found(bench, {"bar": 50.0})

    assert finding.kind is Wrong.LOAD_ELSEWHERE
    assert "take the series again" in finding.sentence


@pytest.mark.parametrize("at", ["corners/zero", "cross-talk/1/zero", "cross-talk/2/zero", "tare/1", "tare/5"])
def test_a_weight_left_on_the_jig_when_it_should_be_empty(at):
    bench = worked_until(at)

    (finding,) = found(bench, {"nose": 50.0})

    assert finding.kind is Wrong.WEIGHT_LEFT_ON
    assert finding.sentence.startswith("nose: the empty jig shows 50")


def test_bar_and_saddle_may_come_onto_bare_cells_but_a_zero_that_moves_later_is_named():
    assert kinds(worked_until("corners/zero"), {"bar": 23.0}) == []
    assert kinds(worked_until("cross-talk/1/zero"), {"bar": 23.0}) == [Wrong.MOVED_FIXTURE]


def test_placements_are_judged_by_the_cells_that_share_them():
    bench = worked_until("corners/1")

    assert kinds(bench, {}) == [Wrong.WEIGHT_FORGOTTEN]
    assert kinds(bench, {"nose": 10.0, "rear": 10.4}) == [Wrong.WRONG_UNIT]
    assert kinds(bench, {"nose": 60.0, "rear": 40.0}) == [Wrong.MOVED_FIXTURE]
    assert kinds(bench, {"nose": 120.0, "rear": 80.0, "bar": 50.0}) == [Wrong.LOAD_ELSEWHERE]
    # a saddle 5 % wrong off its axis is what the placements are there to find
    assert kinds(bench, {"nose": 130.0, "rear": 80.0}) == []


def test_a_tilt_that_was_not_asked_for():
    (finding,) = found(worked_until("tare/2"), {}, tilt_deg=3.0, said_tilt_deg=3.0)

    assert finding.kind is Wrong.WRONG_TILT
    assert kinds(worked_until("tare/2"), {}, tilt_deg=1.4, said_tilt_deg=1.4) == []


def test_a_faulted_reading_is_repeated_and_the_rest_stays():
    bench = worked_until("bar/1/rising/3")
    reading = settled_scans({"bar": 100.0})
    assert findings(bench, reading) != ()

    again = worked_until("bar/1/rising/4", bench)

    assert findings(redo(again, "bar/1/rising/3"), settled_scans({"bar": 200.0})) == ()
    assert len(again.used) == 5


def test_nothing_is_wrong_when_nothing_is_due():
    assert findings(worked_until(), settled_scans({})) == ()


def test_every_kind_of_finding_is_made_here():
    """The list of slips and this file stay together."""
    text = Path(__file__).read_text(encoding="utf-8")

    assert [kind.name for kind in Wrong if f"Wrong.{kind.name}" not in text] == []
    assert len(tasks(plan())) > 50


def test_a_reading_is_the_mean_with_scatter_and_drift_apart():
    rng = np.random.default_rng(1)
    t_s = np.arange(1000) / 100.0
    counts = np.column_stack([500.0 + 30.0 * t_s / t_s[-1] + rng.normal(0, 4.0, 1000), np.full(1000, 8_388_607)])

    reading = settled(t_s, counts)

    assert reading.mean[0] == pytest.approx(515.0, abs=0.5)
    assert reading.sd[0] == pytest.approx(4.0, rel=0.1)
    assert reading.drift[0] == pytest.approx(30.0, abs=2.0)
    assert reading.saturated == (False, True)
    with pytest.raises(ValueError, match=r"at least 10 scans in order of time, got 5; wait longer"):
        settled(t_s[:5], counts[:5])
