"""What a rig file says of scale and proof, and how far it reaches: every answer, while it holds."""

from dataclasses import replace

import pytest

from daq.jig import beginning, conditions_of
from daq.proof.certificate import certificate, lines, rig_tables
from daq.proof.dummy import Plank
from daq.proof.proved import proved
from daq.proof.sheet import parts_of
from daq.proof.standing import proof_standing
from daq.rider.proof_faults import FAULTS
from daq.rig_file import RigError, parse_rig
from daq.setback_scale import NUMBERS, SetbackScale
from daq.sweep.plan import Plan, out_and_back
from daq.sweep.validity.judged import judged
from tests.proof.simulated_sheet import begun, worked
from tests.rigs import rig_text
from tests.sweep.validity.sweeps import ON_THE_JIG, answer, ride

NOW = "2025-05-04T10:00:00+00:00"
SCALE = SetbackScale(
    middle_mm=60.0, offset_mm=0.4, slope_error=0.0, backlash_mm=1.2, u_offset_mm=0.2, u_slope=0.0,
    checked_utc="2025-03-04T10:00:00+00:00",
)  # fmt: skip


@pytest.fixture(scope="module")
def rig():
    """A rig file with the tables that a proof printed."""
    bare = parse_rig(rig_text())
    made = proved(worked(begun(parts=parts_of(bare, "c1"), simulated=False), Plank(10.0, 0.15, 0.1, 0.54)))
    return parse_rig(f"{rig_text()}\n{rig_tables(made)}")


def standing(rig, calibration="c1", now=NOW, *, simulated=False):
    return proof_standing(rig, calibration, now, simulated=simulated)


def said(rig, calibration="c1", now=NOW, *, simulated=False):
    return standing(rig, calibration, now, simulated=simulated).said


def test_the_printed_tables_are_read_back_and_the_jig_counts_as_proved(rig):
    assert rig.proof.made_by == rig.setback_scale.checked_by == "R. Doe"
    assert said(rig).startswith("jig proved 2025-03-04: a known onset found within")


def test_a_bias_that_rounds_to_nothing_has_no_minus(rig):
    small = rig.model_copy(update={"proof": rig.proof.model_copy(update={"bias_mm": -0.031})})

    assert "found within +0.0 ± " in said(small)


def test_a_proof_ends_with_a_part_a_calibration_and_after_12_months(rig):
    moved = rig.model_copy(update={"geometry": rig.geometry.model_copy(update={"bar_x_m": 0.60})})
    failed = rig.model_copy(update={"proof": rig.proof.model_copy(update={"passed": False})})

    assert "a part or the calibration was changed" in said(moved)
    assert "a part or the calibration was changed" in said(rig, "c2")
    assert said(rig, now="2026-03-04T09:59:59+00:00").startswith("jig proved")
    assert "older than 12 months" in said(rig, now="2026-03-04T10:00:00+00:00")
    assert said(failed) == "jig not proved: it failed on 2025-03-04"
    assert [standing(one).state for one in (rig, moved, failed)] == ["proved", "missing", "failed"]
    assert "was of a real jig" in said(rig, simulated=True)
    assert said(parse_rig(rig_text())) == "jig not proved"


def test_a_proof_ends_with_another_setback_scale(rig):
    """It holds for the scale that it measured: a table with another number, or none, is another jig."""
    scale = rig.setback_scale
    for number in NUMBERS:
        other = scale.model_copy(update={number: getattr(scale, number) + 0.00001})
        found = said(rig.model_copy(update={"setback_scale": other}))
        assert found == "jig not proved: the setback scale's table was changed since the proof of 2025-03-04"
    without = said(rig.model_copy(update={"setback_scale": None}))
    assert without.endswith("the table [setback_scale] of the proof of 2025-03-04 is not in the rig file")
    by_another = scale.model_copy(update={"checked_by": "A. N. Other"})
    assert said(rig.model_copy(update={"setback_scale": by_another})).startswith("jig proved")


def test_every_answer_of_a_sweep_says_how_scale_and_proof_stand(rig):
    plan = Plan(out_and_back(90.0, 30.0, 7))
    content = {"mass_kg": None, "channels": (), "zero_counts": None}

    proven = conditions_of(rig, plan, beginning(plan, **content, proof=said(rig)), watched=True)
    before = conditions_of(parse_rig(rig_text()), plan, beginning(plan, **content), watched=True)

    assert proven.jig_said[0].startswith("setback scale checked 2025-03-04")
    assert proven.jig_said[1].startswith("jig proved")
    assert before.jig_said == ("setback scale not checked",)
    assert judged(answer(), ride(), replace(ON_THE_JIG, jig_said=before.jig_said)).evidence[-1] == before.jig_said[0]


def test_the_scales_uncertainty_is_in_the_interval():
    found = answer()
    low, high = found.interval_95_mm

    wider_low, wider_high = judged(found, ride(), replace(ON_THE_JIG, scale=SCALE)).interval_95_mm

    # u = sqrt(0.2^2 + 1.2^2/12) = 0.4; by quadrature with the half-width
    half = (((high - low) / 2.0) ** 2 + (1.96 * 0.4) ** 2) ** 0.5
    assert (wider_low, wider_high) == pytest.approx(((low + high) / 2.0 - half, (low + high) / 2.0 + half))
    assert judged(found, ride(), ON_THE_JIG).interval_95_mm == found.interval_95_mm


@pytest.mark.parametrize(
    ("wrong", "sentence"), [('made_utc = "2025"', "proof.made_utc"), ("bias = 1", "no such key in a rig file")]
)
def test_a_wrong_table_is_refused_by_its_key(wrong, sentence):
    table = 'made_by = "x"\npassed = true\nbias_mm = 0.0\nexpanded_mm = 0.1\nparts = "p"\n'

    with pytest.raises(RigError, match=sentence):
        parse_rig(f"{rig_text()}\n[proof]\n{table}{wrong}\n")


def test_a_certificate_says_that_nobody_accredits_it_and_until_when_it_holds(rig):
    content = certificate(proved(worked(begun(), Plank(10.0, 0.15, 0.1, 0.54))))

    assert rig.setback_scale.mark in content["scale"]
    assert any("not an accredited test" in sentence for sentence in content["statements"])
    assert any(sentence.startswith("It holds for this jig") for sentence in content["statements"])
    assert content["valid_until_utc"] == "2026-03-04T10:00:00+00:00"
    assert [one["degrees_of_freedom"] for one in content["budget"]] == [3, None]


def test_the_certificate_in_the_terminal_says_who_where_of_what_and_how_well():
    sheet = begun(place="Workshop", consists_of=("hands left (hands)",))
    told = "\n".join(lines(certificate(proved(worked(sheet, Plank(10.0, 0.15, 0.1, 0.54))))))

    for said in (
        "by R. Doe, Workshop, 2025-03-04T10:00:00+00:00; valid to 2026-03-04",
        "parts: hands left (hands), mark p1",
        "setback scale: at 60 mm",
        "calibration: c1",
        "dummy: dummy A, 2.000 N/mm, standard uncertainty 0.02",
        "ends of the caliper's measure, BB and saddle: standard uncertainty 0.100 mm, rectangular",
        "normal, 3 degrees of freedom",
    ):
        assert said in told


def test_a_failed_proof_is_valid_until_no_day(rig):
    failed = proved(worked(begun(), Plank(10.0, 0.15, 0.1, 0.54), wrong=FAULTS["tilt"]))

    assert certificate(failed)["valid_until_utc"] is None
    assert not [said for said in certificate(failed)["statements"] if "It holds" in said]
    assert "valid to" not in "".join(lines(certificate(failed)))
