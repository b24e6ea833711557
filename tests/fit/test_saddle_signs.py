import re
from dataclasses import replace

import pytest

from daq.fit.on_bicycle import on_bicycle
from daq.fit.saddle_signs import signs
from daq.fit.sign import Stands
from daq.fit.suggested import suggested
from daq.fit.window import window_mm
from daq.sweep.comparison import compare
from daq.values import Verdict
from tests.fit.sweeps import BICYCLE, INTAKE, RIG, feeling, ridden


def table(intake=INTAKE, level=None, climb=None, present_mm=78.0):
    here = None if level is None else on_bicycle(level, RIG, intake.bicycle, present_mm)
    window = window_mm(level, suggested(level, None))
    found = signs(intake, RIG, level=level, climb=climb, here=here, present_mm=present_mm, window=window)
    return {sign.title: sign for sign in found}


def test_before_anything_is_ridden_or_asked_no_sign_is_visible():
    assert {sign.stands for sign in table().values()} == {Stands.NOT_VISIBLE}


@pytest.mark.parametrize(("present_mm", "stands"), [(78.0, Stands.FOR), (58.0, Stands.AGAINST), (45.0, Stands.AGAINST)])
def test_hands_speak_by_where_the_saddle_is_to_the_onset_at_55(present_mm, stands):
    sign = table(level=ridden(), present_mm=present_mm)["Hands too light"]

    assert sign.stands is stands
    assert "95 %" in sign.number


def test_hands_are_called_too_light_only_behind_the_window_and_its_whole_allowance():
    front_mm, _ = window_mm(ridden(), suggested(ridden(), None))
    short = ridden(positions=(64.0, 59.0, 54.0, 49.0, 44.0, 39.0, 34.0, 36.0, 46.0, 56.0, 61.0))
    unsafe = replace(short, onset=replace(short.onset, suggested_setback_mm=None))
    wide = replace(short, onset=replace(short.onset, interval_95_mm=(48.0, 60.0)))

    def stands(level, present_mm):
        return table(level=level, present_mm=present_mm)["Hands too light"].stands

    assert [stands(ridden(), front_mm + mm) for mm in (10.0, 11.0)] == [Stands.AGAINST, Stands.FOR]
    assert window_mm(short, suggested(short, None)) == (pytest.approx(front_mm, abs=1.0), 64.0)
    assert stands(short, 66.0) is Stands.AGAINST, "behind what was ridden, but hardly behind the suggestion"
    assert stands(wide, 62.0) is Stands.NOT_VISIBLE
    assert stands(unsafe, 62.0) is stands(unsafe, 90.0) is Stands.NOT_VISIBLE
    assert stands(unsafe, 40.0) is Stands.AGAINST


def test_hands_loaded_throughout_speak_against_and_a_flat_curve_says_nothing():
    loaded = ridden(lambda mm: 80.0 + 1.5 * (90.0 - mm))

    assert table(level=loaded)["Hands too light"].stands is Stands.AGAINST
    assert table(level=ridden(lambda mm: 80.0))["Hands too light"].stands is Stands.NOT_VISIBLE


def test_the_front_wheel_speaks_only_when_its_whole_interval_does():
    """A longer wheelbase behind the rider takes weight off the front wheel; a short one puts it on."""
    light = INTAKE.model_copy(update={"bicycle": BICYCLE.model_copy(update={"wheelbase_mm": 1250.0})})
    heavy = INTAKE.model_copy(update={"bicycle": BICYCLE.model_copy(update={"wheelbase_mm": 800.0})})

    assert table(light, ridden())["Front wheel light"].stands is Stands.FOR
    assert table(heavy, ridden())["Front wheel light"].stands is Stands.AGAINST


def test_a_climb_is_not_judged_by_the_share_of_the_level():
    """Typical: 44 % flat, 40 % at 4 %, for the same place of the saddle."""
    light = INTAKE.model_copy(update={"bicycle": BICYCLE.model_copy(update={"wheelbase_mm": 1250.0})})
    sign = table(light, level=ridden(gradient_pct=4.5))["Front wheel light"]

    assert (sign.stands, sign.number) == (Stands.NOT_VISIBLE, "")
    assert sign.why.startswith("only a climb was ridden")


def test_without_the_bicycle_the_riders_word_stands_for_the_front_wheel():
    without = feeling(front_light=8).model_copy(update={"bicycle": None})

    sign = table(without, ridden())["Front wheel light"]

    assert sign.stands is Stands.FOR
    assert "was not entered" in sign.why


@pytest.mark.parametrize(("score", "stands"), [(8, Stands.FOR), (4, Stands.NOT_VISIBLE), (1, Stands.AGAINST)])
def test_the_top_of_the_stroke_is_the_riders_own_word(score, stands):
    sign = table(feeling(over_the_top=score))["Push over the top"]

    assert sign.stands is stands
    assert "the rider's word" in sign.why


def test_hamstrings_against_quadriceps():
    title = "Hamstrings and calves against quadriceps"

    assert table(feeling(hamstrings_calves=7, quadriceps=2))[title].stands is Stands.FOR
    assert table(feeling(hamstrings_calves=2, quadriceps=7))[title].stands is Stands.AGAINST
    assert table(feeling(hamstrings_calves=5, quadriceps=4))[title].stands is Stands.NOT_VISIBLE


@pytest.mark.parametrize(("creep", "stands"), [(6.0, Stands.FOR), (0.0, Stands.AGAINST)])
def test_a_load_point_that_creeps_forward_is_seen_with_its_rate(creep, stands):
    sign = table(level=ridden(creep=creep))["Creeps forward on the saddle"]

    assert sign.stands is stands
    assert f"{creep:+.1f} mm a minute" in sign.number or creep == 0.0


def test_a_stroke_out_of_the_saddle_has_no_load_point_and_the_others_still_creep():
    def stood(step):
        one = step.strokes[5]
        return replace(
            step, strokes=(*step.strokes[:5], replace(one, cells_n=(one.hands_n, 0.0, 0.0)), *step.strokes[6:])
        )

    sweep = ridden(creep=6.0)
    sign = table(level=replace(sweep, steps=tuple(map(stood, sweep.steps))))["Creeps forward on the saddle"]

    assert sign.stands is Stands.FOR
    assert sign.number.startswith("+6.0 mm a minute")


def test_too_few_strokes_in_the_saddle_tell_no_creep():
    def stood(step):
        rest = (replace(one, cells_n=(one.hands_n, 0.0, 0.0)) for one in step.strokes[9:])
        return replace(step, strokes=(*step.strokes[:9], *rest))

    sweep = ridden(creep=6.0)
    sign = table(level=replace(sweep, steps=tuple(map(stood, sweep.steps))))["Creeps forward on the saddle"]

    assert "mm a minute" not in sign.number


def test_an_onset_whose_verdict_a_test_took_moves_nowhere():
    """The steps alone would still be compared."""
    climb = ridden(lambda mm: 80.0 + 1.5 * max(47.0 - mm, 0.0), gradient_pct=4.5)
    level = ridden()
    withheld = replace(level.onset, verdict=Verdict.UNDECIDED, onset_mm=None, interval_95_mm=None)

    for pair in ((replace(level, onset=withheld), climb), (level, replace(climb, onset=withheld))):
        assert "onset moves" not in table(INTAKE, *pair)["Bottom of the stroke at 4–5 %"].number


def test_a_climb_shows_by_how_much_the_onset_moves():
    climb = ridden(lambda mm: 80.0 + 1.5 * max(47.0 - mm, 0.0), gradient_pct=4.5)

    sign = table(feeling(choppy_climbing=7), ridden(), climb)["Bottom of the stroke at 4–5 %"]

    found = compare(ridden().steps, climb.steps)
    low, high = found.interval_95_mm
    assert found.difference_mm == pytest.approx(47 - 55, abs=1)
    assert low < 47 - 55 < high
    said = f"onset moves {found.difference_mm:+.0f} mm from level to 4.5 %, 95 % {low:+.0f} to {high:+.0f} mm"
    assert sign.number == f"{said} (positive: further back); rider says 7 of 10"
    assert sign.stands is Stands.FOR


def test_where_only_climbs_were_ridden_no_onset_moves_from_the_level():
    climb = ridden(gradient_pct=4.5)

    assert table(level=climb, climb=climb)["Bottom of the stroke at 4–5 %"].number == ""


def test_every_interval_has_its_unit():
    told = table(level=ridden(creep=6.0), climb=ridden(lambda mm: 80.0 + 1.5 * max(47.0 - mm, 0.0), gradient_pct=4.5))
    intervals = [sign.number for sign in told.values() if "95 %" in sign.number]

    assert len(intervals) == 4
    for number in intervals:
        assert re.search(r", 95 % [-+]?[\d.]+ to [-+]?[\d.]+ (mm|%)", number), number
