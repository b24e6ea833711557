import json
from dataclasses import replace

import numpy as np
import pytest

from daq.measure.calibration import apply, expanded, from_dict, to_dict
from daq.measure.calibration.assembled import CREEP_ASSUMED, assembled
from daq.measure.calibration.certificate import SIMULATED, STATEMENT, Circumstances, budget, certificate
from daq.measure.calibration.monte_carlo import cross_check
from daq.measure.calibration.procedure import Bench, skip
from daq.measure.calibration.series import CellError
from tests.measure.calibration.simulated_bench import CHANNELS, CREEP, PER_N, TILT, plan, scans, worked_until
from tests.measure.calibration.simulated_cell import conditions

DONE = worked_until()


def made(bench=DONE):
    return assembled(bench, 2, conditions(), id="bench-1", made_utc="2025-03-04T12:00:00Z", simulated=True, tilt=TILT)


MADE = made()


def test_a_guided_calibration_measures_loads_on_a_tilted_jig_within_its_uncertainty():
    calibration = MADE.calibration
    zero = scans({}, seed=500)[1].mean(axis=0)
    truth = {"bar": 120.0, "nose": 250.0, "rear": 180.0}

    loads = apply(calibration, scans(truth, tilt_deg=2.0, seed=501)[1], zero).mean(axis=0)

    for name, true_n in truth.items():
        allowed_n = expanded(calibration.channel(name).uncertainty, true_n).expanded_n
        assert loads[CHANNELS.index(name)] == pytest.approx(true_n, abs=allowed_n)
        assert allowed_n < 0.5
    assert loads[0] == pytest.approx(2.0)


def test_loads_on_the_bar_do_not_show_at_the_saddle():
    zero = scans({}, seed=502)[1].mean(axis=0)

    loads = apply(MADE.calibration, scans({"bar": 300.0}, seed=503)[1], zero).mean(axis=0)

    # 1 % of 300 N showed before; what is left is within 0.05 N of scatter
    assert abs(loads[CHANNELS.index("nose")]) < 0.05


def test_cross_talk_and_tare_are_found_for_cells_in_the_boards_order():
    # board: nose, rear, bar; worked: bar, nose, rear
    assert MADE.crosstalk.names == ("nose", "rear", "bar")
    assert MADE.crosstalk.matrix == pytest.approx(np.array([[1, 0, 0.01], [0.02, 1, 0], [0, 0, 1]]), abs=2e-4)
    assert MADE.calibration.channel("nose").tare.sine_n == pytest.approx(18.0, abs=0.3)
    # the rear cell is corrected for 2 % of the 18 N that the nose cell shows
    assert MADE.calibration.channel("rear").tare.sine_n == pytest.approx(-18.0 - 0.02 * 18.0, abs=0.3)
    assert MADE.calibration.channel("rear").tare.covered_deg == (0.0, 3.0)


def test_what_the_creep_test_leaves_at_zero_is_told_and_stands_in_the_budget():
    left_n = 0.4
    taken = tuple(
        replace(one, counts=(*one.counts[:3], one.counts[3] + left_n * PER_N["bar"]))
        if one.task == "bar/creep/zero-return"
        else one
        for one in DONE.taken
    )
    found = made(replace(DONE, taken=taken))

    # OIML R60: minimum dead load output return is the change of the zero over 30 min of load, here 0.4 N of 400 N
    assert found.cells["bar"].figures.dead_load_return == pytest.approx(left_n / 400.0, rel=0.05)
    (zero,) = [term for term in found.calibration.channel("bar").uncertainty.terms if term.name == "zero"]
    assert zero.absolute_n == pytest.approx(left_n / 3**0.5, rel=0.05)
    assert zero.note == "change over the creep test"


def test_a_plan_kept_before_the_zero_after_creep_was_read_goes_on_without():
    bench = worked_until(bench=Bench(plan(creep_return=False)))

    assert made(bench).cells["bar"].figures.dead_load_return is None


def test_creep_is_what_was_followed_or_what_a_class_allows():
    bench = skip(worked_until("bar/creep/zero"))

    assert MADE.cells["bar"].figures.creep_relative == pytest.approx(CREEP, rel=0.1)
    assert made(worked_until(bench=bench)).cells["bar"].figures.creep_relative == CREEP_ASSUMED


def term(calibration, cell, name):
    terms = calibration.channel(cell).uncertainty.terms
    return next((one for one in terms if one.name == name), None)


def test_off_axis_placements_join_the_budget_of_the_cells_that_share_them():
    assert term(MADE.calibration, "nose", "off-axis")
    assert not term(MADE.calibration, "bar", "off-axis")
    # the edges differ by what nose load shows on the rear cell: corrected, so almost nothing is left
    assert MADE.off_axis["nose"] < 2e-4


def with_readings(bench, begins, change):
    """The bench with other counts for the tasks whose names begin so."""
    return replace(
        bench,
        taken=tuple(
            replace(one, counts=change(one)) if one.task.startswith(begins) and "zero" not in one.task else one
            for one in bench.taken
        ),
    )


def test_a_weight_that_shows_too_little_wherever_it_is_put_is_an_error_off_axis():
    """All placements alike say nothing against an error that they share."""
    zero = DONE.used["corners/zero"].counts
    weak = with_readings(
        DONE, "corners/", lambda one: tuple(z + 0.99 * (c - z) for c, z in zip(one.counts, zero, strict=True))
    )

    found = made(weak)

    assert found.off_axis["nose"] == pytest.approx(0.01, abs=3e-4)
    assert term(found.calibration, "nose", "off-axis").relative == pytest.approx(0.01 / np.sqrt(3.0), rel=0.03)


def test_load_that_an_assembly_carries_past_a_cell_stands_in_the_budget():
    zero = DONE.used["cross-talk/1/zero"].counts
    shunted = with_readings(
        DONE, "cross-talk/", lambda one: tuple(z + 0.995 * (c - z) for c, z in zip(one.counts, zero, strict=True))
    )

    line = term(made(shunted).calibration, "bar", "assembly")

    assert line.relative == pytest.approx(0.005 / np.sqrt(3.0), rel=0.05)
    assert line.note == "on the jig it shows 99.50 % of a load right over it"
    # the same weights as in the series: nothing is carried past
    assert term(MADE.calibration, "bar", "assembly").relative < 2e-4


def test_a_single_round_of_cross_talk_has_its_uncertainty_too():
    found = made(worked_until(bench=Bench(plan(crosstalk_repeats=1))))

    left = term(found.calibration, "nose", "cross-talk")
    scatter_n = found.cells["nose"].figures.repeatability_n
    # 200 N were put on, 200 N lie on each of the two others in use
    assert left.absolute_n == pytest.approx(scatter_n * np.sqrt(2.0))


@pytest.mark.parametrize("at", ["cross-talk/1/nose", "tare/3"])
def test_a_stage_left_out_half_way_counts_for_nothing_and_stands_in_no_ones_way(at):
    found = made(worked_until(bench=skip(worked_until(at))))

    assert (found.crosstalk is None) == at.startswith("cross-talk")
    assert (found.calibration.channel("nose").tare is None) == at.startswith("tare")


def test_a_stage_left_out_once_it_tells_enough_counts():
    found = made(worked_until(bench=skip(worked_until("cross-talk/2/zero"))))

    assert found.crosstalk.matrix == pytest.approx(MADE.crosstalk.matrix, abs=1e-3)


def test_an_unfinished_calibration_says_what_is_due():
    with pytest.raises(CellError, match="at stage rising; due is bar: add weight to 200 N"):
        made(worked_until("bar/1/rising/3"))


def test_a_bare_plan_without_assembly_gives_a_calibration_too():
    bench = worked_until(bench=Bench(plan(creep_min=0.0, places=(), crosstalk_n=0.0, tilts_deg=())))

    calibration = assembled(bench, 1, conditions(), id="b", made_utc="2025-03-04T12:00:00Z", simulated=True).calibration

    assert calibration.crosstalk is None
    assert calibration.channel("tilt").kind == "unused"
    assert calibration.channel("bar").tare is None


def test_the_made_calibration_survives_its_file():
    assert from_dict(json.loads(json.dumps(to_dict(MADE.calibration)))) == MADE.calibration


def page():
    who = Circumstances(made_by="A. Engineer", place="workshop", temperature_degc=21.5, instrument="board FJ-0001")
    return certificate(MADE, DONE, conditions(), who)


def test_a_certificate_is_plain_content():
    assert json.loads(json.dumps(page(), allow_nan=False)) == page()


def test_a_certificate_says_who_when_with_what_and_what_it_is_not():
    said = page()

    assert said["circumstances"]["made_by"] == "A. Engineer"
    assert (said["made_utc"], said["valid_until_utc"]) == ("2025-03-04T12:00:00Z", "2026-03-04T12:00:00Z")
    assert said["reference"]["weights"] == "class M2 (OIML R111)"
    assert said["statements"] == [STATEMENT, SIMULATED]
    assert "not an accredited calibration" in STATEMENT
    assert len(said["readings"]) == len(DONE.taken)


def test_a_certificates_points_are_the_readings_and_their_errors():
    bar = next(cell for cell in page()["cells"] if cell["channel"] == "bar")

    assert len(bar["points"]) == 2 * 11
    assert [round(point["load_n"]) for point in bar["points"][:7]] == [0, 50, 100, 200, 300, 400, 300]
    assert max(abs(point["error_n"]) for point in bar["points"]) < 0.1
    # class C, 3000 intervals over 400 N, from the table of OIML R60: 0.5, 1.0, 1.5 intervals times 0.7
    assert bar["limits"][0]["permissible_error_n"] == pytest.approx(0.5 * 0.7 * 400 / 3000)
    assert bar["limits"][-1]["permissible_error_n"] == pytest.approx(1.5 * 0.7 * 400 / 3000)


def test_a_budget_adds_up():
    uncertainty = MADE.calibration.channel("nose").uncertainty

    lines = budget(uncertainty, 200.0)

    assert sum(line["part_of_variance"] for line in lines) == pytest.approx(1.0)
    total = np.sqrt(sum(line["standard_uncertainty_n"] ** 2 for line in lines))
    assert total == pytest.approx(expanded(uncertainty, 200.0).standard_n)
    assert {"reference weights", "gravity", "cross-talk", "tilt tare", "fit"} <= {line["source"] for line in lines}
    sizes = [line["standard_uncertainty_n"] for line in lines]
    assert sizes == sorted(sizes, reverse=True)


def test_drawing_the_budget_gives_its_expanded_uncertainty():
    uncertainty = MADE.calibration.channel("nose").uncertainty

    found = cross_check(uncertainty, 200.0, np.random.default_rng(1))

    # two series leave one degree of freedom to the sensitivity: no formula is exact for that, a tenth is what remains
    assert found.by_drawing.symmetric[1] == pytest.approx(found.by_formula.expanded_n, rel=0.1)
