import re

import pytest

from daq.refusals import BadValue
from daq.sweep.run import State, Trigger
from daq.sweep.setting import JigRange, contradiction, setting_of
from daq.values import Setting
from tests.sweep.pedalled import begun, ride, steps_of

JIG = JigRange(setback_mm=(0.0, 120.0), reach_mm=(400.0, 750.0))


@pytest.mark.parametrize(
    ("setback_mm", "setting", "said"),
    [
        (
            60.0,
            Setting(72.5, 570.0, 660.0),
            "saddle_height_mm: .*400 to 1000 mm, got 72.5: was it centimetres.* 725 mm",
        ),
        (60.0, Setting(0.725), "got 0.725: was it metres"),
        (60.0, Setting(bar_x_mm=720.0), "bar_x_mm: 720 mm with the saddle at 60 mm is a reach of 780 mm; .*400 to 750"),
        (60.0, Setting(bar_x_mm=320.0), "a reach of 380 mm"),
        (60.0, Setting(bar_y_mm=66.0), "bar_y_mm: .*centimetres"),
        (6.0, Setting(saddle_tilt_deg=45.0), "saddle_tilt_deg: .*-20 to 20 degrees, got 45"),
        (140.0, Setting(), "setback_mm: this jig goes from 0 to 120 mm, got 140"),
    ],
)
def test_what_the_jig_cannot_have_been_set_to_is_named(setback_mm, setting, said):

    assert re.search(said, contradiction(setback_mm, setting, JIG))


def test_what_can_be_true_and_what_was_not_said_pass():
    assert contradiction(60.0, Setting(725.0, 570.0, 660.0, -1.5), JIG) == ""
    assert contradiction(60.0, Setting(), JIG) == ""


def test_a_stored_setting_comes_back_and_null_was_not_said():
    assert setting_of({"bar_x_mm": 570, "bar_y_mm": None, "later_key": 1}).bar_x_mm == 570.0
    assert repr(setting_of({"bar_y_mm": None})) == repr(Setting())
    assert repr(setting_of(None)) == repr(Setting())


def test_a_contradictory_setting_is_refused_and_changes_nothing():
    progress = begun()

    with pytest.raises(BadValue, match="centimetres"):
        progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0, setting=Setting(saddle_height_mm=72.0))

    assert progress.state is State.MOVING
    assert progress.setback_mm is None


def test_what_was_set_travels_with_the_step():
    progress = begun()
    setting = Setting(725.0, 550.0, 660.0, -1.0)
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0, setting=setting, u_setback_mm=0.3)

    out, _ = ride(progress, 0.0, 40.0)

    (step,) = steps_of(out)
    assert step.setting == setting
    assert step.u_setback_mm == 0.3
