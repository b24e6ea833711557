from pathlib import Path

import numpy as np
import pytest

from daq.fit.sensor_costs import PASSES_UNSEEN, UNSEEN, costs_of, scatter_of, widths_mm
from daq.live.demo import rig_text_of
from daq.live.typed_rig import typed_rig_text
from daq.rider.jig_geometry import JigGeometry
from daq.rig_file import parse_rig
from daq.sweep.validity.table import TESTS

POWER = '[power]\nname = "crank"\n'


def rig(*roles, power=True):
    text = rig_text_of(JigGeometry(), "/dev/null", roles)
    return parse_rig(text + (POWER if power else ""))


def test_a_full_jig_lacks_nothing():
    assert costs_of(rig("hands", "saddle", "tilt")) == ()


def test_each_missing_sensor_is_named_with_what_passes_unseen():
    found = {cost.sensor: cost for cost in costs_of(rig("hands", power=False))}

    assert set(found) == {"power", "saddle", "tilt"}
    assert "hips that slide on the saddle" in found["saddle"].unseen
    assert "only a rise seen" in found["power"].sentence
    assert found["tilt"].widths_mm == ()


def test_a_missing_saddle_widens_the_interval():
    without, with_it = widths_mm(False, True), widths_mm(True, True)

    assert all(wide > narrow for wide, narrow in zip(without, with_it, strict=True))
    assert without[0] > without[1]


def test_power_that_is_heard_or_typed_is_not_missing():
    assert "power" not in {cost.sensor for cost in costs_of(rig("hands", power=False), heard=True)}
    assert "power" not in {cost.sensor for cost in costs_of(parse_rig(typed_rig_text("kg", None)))}


def typed(**change):
    text = typed_rig_text("N", 1.0)
    for name, value in change.items():
        (before,) = [line for line in text.splitlines() if line.startswith(f"{name} = ")]
        text = text.replace(before, f"{name} = {value}")
    return parse_rig(text)


def test_a_display_that_is_read_is_reckoned_with_its_step_its_readings_and_its_damping():
    """The scatter of a step's mean: against readings made up as the likelihood has them."""
    usual_n, fewer_n = (scatter_of(typed(readings=each)).step_sd_n(25.0) for each in (10, 3))
    coarse_n = scatter_of(typed(step=20.0)).step_sd_n(25.0)
    needle_n = scatter_of(typed(damping_s=0.0)).step_sd_n(25.0)
    told_n = scatter_of(typed(damping_s=1.0), 0.0).step_sd_n(25.0)

    assert usual_n < fewer_n < needle_n
    assert coarse_n > scatter_of(typed()).step_sd_n(25.0)
    assert told_n == needle_n
    # five readings of 21.6 N rms, new ripple each, and a newton from visit to visit
    assert needle_n == pytest.approx(np.hypot(21.6 / np.sqrt(5.0), 1.0), rel=0.1)


def test_a_typed_rig_is_told_what_a_cell_in_the_scales_place_would_give():
    (cost,) = (cost for cost in costs_of(typed()) if cost.sensor == "cell")
    (needle,) = (cost for cost in costs_of(typed(), damping_s=0.0) if cost.sensor == "cell")

    assert cost.with_it_mm == widths_mm(False, True)
    assert cost.widths_mm[1] > cost.with_it_mm[1]
    assert needle.widths_mm[1] > cost.widths_mm[1]
    assert "a posture that settles late" in cost.sentence


def test_a_second_scale_under_the_saddle_narrows_nothing_and_nobody_is_told_it_does():
    one, two = typed(), parse_rig(typed_rig_text("N", 1.0) + '[[channels]]\nname = "saddle"\nrole = "saddle"\n')
    (missing,) = (cost for cost in costs_of(one) if cost.sensor == "saddle")

    assert missing.widths_mm == ()
    assert "a wrong mass, zero or cell" in missing.sentence
    assert {cost.sensor: cost.widths_mm for cost in costs_of(two)}["cell"] == widths_mm(False, True, scatter_of(two))


def test_the_width_is_said_at_half_and_one_newton_a_millimetre():
    (cost,) = (cost for cost in costs_of(rig("hands")) if cost.sensor == "saddle")
    half, one = cost.widths_mm

    assert f"about {half:.0f} mm at 0.5 N/mm" in cost.sentence
    assert f"{one:.0f} mm at 1 N/mm" in cost.sentence


def test_every_test_named_is_one_there_is():
    source = " ".join(test.__doc__ + test.__name__ for test in TESTS)
    named = {name for tests in UNSEEN.values() for name in tests}

    assert named == set(PASSES_UNSEEN)
    assert all(name.split()[0] in source for name in named)


def test_the_table_of_what_to_buy_next_has_the_figures_that_are_reckoned():
    page = Path(__file__).parents[2] / "firmware_notes" / "begin_with_less.md"
    rows = [line for line in page.read_text().splitlines() if line.startswith(("| hands", "| + "))]
    needle, display = typed(damping_s=0.0, step=1.0), typed(step=1.0)
    rigs = (
        (False, True, scatter_of(needle)),
        (False, True, scatter_of(display)),
        (False, False),
        (False, True),
        (True, True),
        (True, True),
    )

    assert len(rows) == len(rigs)
    for row, seen in zip(rows, rigs, strict=True):
        half, one = widths_mm(*seen)
        assert f"| {half:.0f} mm | {one:.0f} mm" in row


@pytest.mark.parametrize("sensor", UNSEEN)
def test_every_sensor_has_something_that_passes_unseen(sensor):
    assert UNSEEN[sensor]
