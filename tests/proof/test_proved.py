"""Whole proofs, every sweep by the estimator and the tests of validity that a rider's sweep goes through."""

import pytest

from daq.proof.dummy import Plank
from daq.proof.proved import NotDone, proved
from daq.proof.sheet import Gradual, Mass, ProofPlan, ProofReading, Sheet, parts_of
from daq.proof.tasks import BadValue, check, due, tasks
from daq.rider.proof_faults import FAULTS
from daq.rig_file import parse_rig
from daq.values import Verdict
from tests.proof.simulated import NAMED_BY
from tests.proof.simulated_sheet import DUMMY, begun, worked
from tests.rigs import rig_text

PLANK = Plank(10.0, 0.15, 0.1, 0.54)
RIG = parse_rig(rig_text())


@pytest.fixture(scope="module")
def sound():
    return proved(worked(begun(), PLANK))


def test_a_sound_jig_is_proved(sound):
    assert sound.passed, sound.failed
    assert abs(float(sound.trueness.bias_mm)) < 0.5
    assert all(one.held for one in sound.answers)
    assert (sound.flat.verdict, sound.loaded.verdict) == (Verdict.LIGHT, Verdict.LOADED)
    assert sound.gradual.found
    assert sound.gradual.onset.gradual
    assert sound.gradual.rear_mm - sound.gradual.front_mm == 40.0
    # placements and settings scatter by 0.1 mm, 0.2 N on a rate of 2 N/mm: a rise of a tenth of that is found
    assert sound.smallest_rise_n_per_mm < 0.4


def test_a_dummy_without_torque_and_effort_is_no_reason_against_its_onsets(sound):
    for answer in sound.answers:
        (torque,) = [one for one in answer.onset.validity if one.test == "torque"]

        assert answer.onset.verdict is Verdict.ONSET
        assert not torque.forbids
        assert "a dummy rides" in torque.means


@pytest.mark.study
@pytest.mark.parametrize("fault", sorted(FAULTS))
def test_a_failed_proof_names_the_likely_part(fault):
    made = proved(worked(begun(), PLANK, wrong=FAULTS[fault], seed=2))

    assert not made.passed
    assert NAMED_BY[fault] in [one.part for one in made.findings if one.named]


def test_without_a_mass_to_share_and_without_plates_the_proof_is_the_same():
    alone = DUMMY.model_copy(update={"mass": None, "gradual": None})

    made = proved(worked(begun(dummy=alone, plan=ProofPlan()), None, seed=4))

    assert made.passed, made.failed
    assert made.gradual is None


def test_a_gradual_rise_found_outside_its_plates_fails_the_proof(sound):
    """The gap is typed 45 mm too long: the plates would be met further forward than the rise begins."""
    sheet = sound.sheet
    at = sheet.latest()["place/gradual"]
    off = at.model_copy(update={"typed": {**at.typed, "gap_mm": at.typed["gap_mm"] + 45.0}})

    made = proved(sheet.with_reading(off))

    (reason,) = made.failed
    assert reason.startswith("the gradual rise between")


def retold(sheet, names, **typed_off):
    """The sheet with what was typed at these tasks off by so much."""
    for task in names:
        at = sheet.latest()[task]
        typed = {name: value + typed_off.get(name, 0.0) for name, value in at.typed.items()}
        sheet = sheet.with_reading(at.model_copy(update={"typed": typed}))
    return sheet


def with_loads_of(sheet, name, other):
    """The sheet with the loads of another sweep at the same positions."""
    read = sheet.latest()
    for task, at in read.items():
        if task.rpartition("/")[0] == name:
            theirs = read[f"{other}/{task.rpartition('/')[2]}"]
            sheet = sheet.with_reading(at.model_copy(update={"hands_n": theirs.hands_n, "saddle_n": theirs.saddle_n}))
    return sheet


def test_a_gap_typed_wrong_at_every_placement_fails_the_proof_with_the_missed_intervals_counted(sound):
    places = [f"place/{i}" for i in range(1, sound.sheet.plan.placements + 1)]

    made = proved(retold(sound.sheet, places, gap_mm=4.0))

    assert f"{2 * len(places)} of {2 * len(places)} intervals of 95 % do not hold the dummy's onset" in made.failed


def test_a_sweep_whose_rope_hung_free_fails_the_proof_since_no_onset_is_named(sound):
    made = proved(with_loads_of(sound.sheet, "rise/1/level", "flat"))

    assert any(one.startswith("in 1 of 8 sweeps no onset was named") for one in made.failed)


def test_an_onset_where_nothing_pulls_fails_the_proof(sound):
    """The rope was left hooked in."""
    made = proved(with_loads_of(sound.sheet, "flat", "rise/1/level"))

    assert any(one.startswith("an onset is named where nothing pulls") for one in made.failed)


@pytest.mark.parametrize(
    "wrong", [{"later_mm": (0.0, 20.0)}, {"later_mm": (5.0, 20.0, 40.0)}, {"later_mm": (0.0, 40.0, 20.0)}]
)
def test_plates_that_cannot_be_meant_are_refused(wrong):
    with pytest.raises(ValueError, match="later_mm"):
        Gradual(**{"rates_n_per_mm": (0.7, 0.7, 0.7), **wrong})


def test_a_sheet_survives_its_file_and_gives_the_same_proof(sound):
    again = proved(Sheet.model_validate_json(sound.sheet.model_dump_json()))

    assert again.answers == sound.answers
    assert again.findings == sound.findings


def test_an_unfinished_sheet_is_no_proof():
    with pytest.raises(NotDone, match="next is empty"):
        proved(begun())


def test_every_position_is_reached_both_ways_and_both_attitudes_at_every_placement():
    every = [task.id for task in tasks(ProofPlan(placements=3))]

    assert len(every) == len(set(every))
    assert {"scale/forward/60", "scale/back/60", "rise/3/level/10", "rise/3/climb/10", "flat/0", "loaded/10"} <= set(
        every
    )


@pytest.mark.parametrize(
    ("task", "typed", "sentence"),
    [
        ("place/1", {"caliper_mm": 70.0}, "expected caliper_mm and gap_mm, got caliper_mm"),
        ("place/1", {"caliper_mm": 70.0, "gap_mm": 0.0}, "has to hang free"),
        ("place/1", {"caliper_mm": 150.0, "gap_mm": 10.0}, "onset would be 140.0 mm"),
        ("place/1", {"caliper_mm": 104.0, "gap_mm": 10.0}, "would pull 168 N; its limit is 150 N"),
        ("scale/forward/60", {"caliper_mm": 600.0}, "measure again, from the BB"),
        ("tilt/1/level", {"level_deg": 25.0}, "read it again"),
    ],
)
def test_what_cannot_be_meant_is_refused_when_it_is_typed(task, typed, sentence):
    at = next(one for one in tasks(ProofPlan()) if one.id == task)

    with pytest.raises(BadValue, match=sentence):
        check(begun(), at, ProofReading(task=task, at_utc="", t_min=0.0, typed=typed, tilt_deg=0.1, hands_n=0.0))


def test_plates_that_no_position_reaches_are_refused_when_the_gap_is_typed():
    at = next(one for one in tasks(ProofPlan(gradual=True)) if one.id == "place/gradual")

    # met at 40, 20 and 0 mm; the foremost position is 10 mm
    with pytest.raises(BadValue, match=r"the last plate would be met at 0.0 mm, ahead of the foremost position, 10 mm"):
        check(begun(), at, ProofReading(task=at.id, at_utc="", t_min=0.0, typed={"caliper_mm": 50.0, "gap_mm": 10.0}))


@pytest.mark.parametrize(
    ("mass", "sentence"),
    [
        # the roller is 0.55 m ahead of the pin with the saddle foremost, at -20 mm
        ({"mass_kg": 5.0, "ahead_m": 0.6, "above_m": 0.0}, "would lift the saddle"),
        # 40 kg x 9.80665 x 0.3 / 0.55 = 214 N
        ({"mass_kg": 40.0, "ahead_m": 0.3, "above_m": 0.0}, "would put 214 N on the bar; the dummy's limit is 150 N"),
    ],
)
def test_a_plank_that_does_not_fit_the_jig_is_refused(mass, sentence):
    dummy = DUMMY.model_copy(update={"mass": Mass(**mass)})

    with pytest.raises(ValueError, match=sentence):
        dummy.refuse_unless_it_fits(RIG)


def test_more_load_than_the_dummy_bears_is_told_at_once():
    at = next(one for one in tasks(ProofPlan()) if one.id == "loaded/5")

    with pytest.raises(BadValue, match="go back with the saddle at once"):
        check(begun(), at, ProofReading(task=at.id, at_utc="", t_min=0.0, hands_n=151.0, saddle_n=0.0, tilt_deg=0.0))


def test_a_reading_taken_again_counts_and_the_first_stays():
    sheet = begun()
    for value in (1.0, 2.0):
        sheet = sheet.with_reading(ProofReading(task="empty", at_utc="", t_min=value))

    assert len(sheet.readings) == 2
    assert sheet.latest()["empty"].t_min == 2.0
    assert due(sheet).id == "scale/forward/100"


def test_another_part_is_another_word_and_another_port_is_not():
    same = RIG.model_copy(update={"name": "the same jig", "board": RIG.board.model_copy(update={"port": "/dev/tty9"})})
    moved = RIG.model_copy(update={"geometry": RIG.geometry.model_copy(update={"bar_x_m": 0.55})})

    assert parts_of(same, "c") == parts_of(RIG, "c")
    assert parts_of(moved, "c") != parts_of(RIG, "c")
    assert parts_of(RIG, "d") != parts_of(RIG, "c")
