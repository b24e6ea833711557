"""Each confound does what it says, checked by hand and against the statics of another model rider."""

import math
from dataclasses import replace

import numpy as np
import pytest

from daq.rider.budget import budget, posture
from daq.rider.confounds import Confounds
from daq.rider.jig import SimulatedJig
from daq.rider.jig_geometry import JigGeometry
from daq.rider.model import DEMO, rider_of_kind, rider_with
from daq.rider.named import asked_for
from daq.sweep.validity.reach import STAYED_TAKES

STILL = replace(DEMO, sway_n=0.0, side_sway_n=0.0, drift_n_per_min=0.0, power_wander_w=0.0, cadence_wander_rpm=0.0,
                stroke_spread=0.0, settle_n=0.0)  # fmt: skip
FLAT = rider_of_kind("flat", STILL)


def with_(*words, model=STILL):
    return rider_with(model, asked_for(words))


def jig(model, seed=1):
    return SimulatedJig(model, rng=np.random.default_rng(seed))


def hands_n(model, setbacks_mm, *, gap_s=20.0, seed=1):
    """Mean hand load over 30 whole turns at each place, from scans; the saddle stands gap_s before."""
    ridden, means = jig(model, seed), []
    for setback_mm in setbacks_mm:
        ridden.place_saddle(setback_mm)
        ridden.advance(gap_s)
        means.append(ridden.advance(20.0).cells_n[:, :2].sum(axis=1).mean())
    return np.array(means)


def weight_line_slope(model, rear_mm, front_mm):
    x_mm = [
        1000.0 * posture(model, budget(model, JigGeometry()).geometry, s, 0.0).weight_line_m
        for s in (rear_mm, front_mm)
    ]
    return (x_mm[1] - x_mm[0]) / (rear_mm - front_mm)


def test_the_weight_line_moves_as_the_statics_of_another_rider_say():
    """0.86 with the reach kept, 0.69 with the bar fixed, 0.16 while the hips stay in space, half-way for half-sliding:
    a multibody model rider of other segments, solved by an independent route."""
    assert weight_line_slope(STILL, 80.0, 30.0) == pytest.approx(0.86, abs=0.01)
    assert weight_line_slope(with_("bar-fixed"), 80.0, 30.0) == pytest.approx(0.69, abs=0.01)
    assert weight_line_slope(with_("sliding"), 80.0, 55.0) == pytest.approx(0.16, abs=0.01)
    assert weight_line_slope(with_("sliding"), 55.0, 30.0) == pytest.approx(0.86, abs=0.01)
    assert weight_line_slope(with_("sliding", "sliding-share"), 80.0, 55.0) == pytest.approx(0.5, abs=0.02)


def test_the_cells_show_the_pressure_centre_of_sliding_hips_move():
    sliding, kept = ([pressure_behind_mm(model, s) for s in (80.0, 55.0)] for model in (with_("sliding"), STILL))

    # hips that stay in space move 25 mm forward on a saddle that goes 25 mm back
    assert (sliding[1] - sliding[0]) - (kept[1] - kept[0]) > 20.0
    assert kept[1] == pytest.approx(sliding[1], abs=1e-9)


def pressure_behind_mm(model, setback_mm):
    ridden = jig(model)
    ridden.place_saddle(setback_mm)
    ridden.advance(20.0)
    nose_n, rear_n = ridden.advance(20.0).cells_n[:, 2:].mean(axis=0)
    at = ridden.geometry
    return (nose_n * at.nose_cell_behind_mm + rear_n * at.rear_cell_behind_mm) / (nose_n + rear_n)


def test_a_sliding_rider_on_a_straight_line_looks_like_an_onset_and_has_none():
    model = with_("sliding", model=rider_of_kind("straight", STILL))
    truth = jig(model).truth()

    loads = hands_n(model, (80.0, 70.0, 55.0, 45.0, 35.0))

    assert truth.onset_mm is None
    assert loads == pytest.approx([90.0, 90.0, 90.0, 95.0, 100.0], abs=0.1)


def test_with_the_bar_fixed_a_light_handed_rider_gains_half():
    """Hand readings differ by a factor of about 2 between the policies, and may fall with the bar fixed: the statics of
    another rider. The lighter the hands, the less the shorter reach costs."""
    slopes = {}
    for light_n, share in ((50.0, 0.33), (50.0, 0.2)):
        for bar in ((), ("bar-fixed",)):
            model = with_(*bar, model=replace(STILL, light_hands_n=light_n, foot_share=share, slope_n_per_mm=None))
            far, near = (loaded_n(model, s) for s in (40.0, 30.0))
            slopes[share, bar] = (near - far) / 10.0

    assert 0.35 < slopes[0.33, ("bar-fixed",)] / slopes[0.33, ()] < 0.65
    assert slopes[0.2, ()] > 0.0 > slopes[0.2, ("bar-fixed",)]


def loaded_n(model, setback_mm):
    """Hand load while the support falls short by 10 N m at 52 mm: forward of the onset in both policies."""
    found = budget(model, JigGeometry())
    found = replace(found, support_nm=found.support_nm - 10.0)
    return float(found.hands_n(posture(model, found.geometry, setback_mm, 0.0), model.torque_nm))


def test_the_steep_demo_rider_gains_less_with_the_bar_fixed():
    kept, fixed = (hands_n(with_(*bar), (40.0, 30.0)) for bar in ((), ("bar-fixed",)))

    assert 0.6 < np.diff(fixed)[0] / np.diff(kept)[0] < 0.9


@pytest.mark.parametrize("kind", ["hinge", "gentle-bend", "straight", "loaded"])
def test_a_rider_of_any_kind_whose_load_rises_gains_less_with_the_bar_fixed(kind):
    """Geometry knows no kind: the moment gained shrinks by the same share, here to 0.78, and the shorter the lever, the
    more of it the hands gain."""
    kept, fixed = (settled_n(with_(*bar, model=rider_of_kind(kind, STILL))) for bar in ((), ("bar-fixed",)))

    assert 0.75 < np.diff(fixed)[0] / np.diff(kept)[0] < 0.95


def test_light_hands_with_a_slope_gain_less_with_the_bar_fixed_and_read_the_same_at_the_reference():
    straight = rider_of_kind("straight", STILL)
    kept, fixed = (settled_n(with_(*bar, model=straight), (55.0, 80.0)) for bar in ((), ("bar-fixed",)))

    assert kept == pytest.approx([90.0, 77.5])
    assert fixed[0] == pytest.approx(90.0)
    assert fixed[1] > kept[1] + 2.0


def settled_n(model, setbacks_mm=(40.0, 30.0)):
    found = budget(model, JigGeometry())
    at = [posture(model, found.geometry, s, 0.0) for s in setbacks_mm]
    return np.array([float(found.hands_n(each, model.torque_nm)) for each in at])


def test_what_is_said_of_a_bar_that_stayed_holds_for_light_hands_and_for_heavy_ones():
    """The sentence of the test of reach: a rise is less, by up to that share."""
    lost = {}
    for light_n in (50.0, 90.0):
        model = replace(STILL, light_hands_n=light_n)
        kept, fixed = (np.diff(settled_n(with_(*bar, model=model)))[0] for bar in ((), ("bar-fixed",)))
        lost[light_n] = 1.0 - fixed / kept

    assert lost[50.0] == pytest.approx(STAYED_TAKES, abs=0.05)
    assert 0.1 < lost[90.0] < 0.3


def test_lag_leaves_its_share_of_the_way():
    """After t of a time constant T exp(-t/T) of the change is left: of 22.5 N up from 55 to 37 mm, by hand."""
    ridden = jig(with_("lag=40"))
    ridden.place_saddle(37.0)
    ridden.advance(39.5)
    shown_n = ridden.advance(2.0 / 3.0 * 2).cells_n[:, :2].sum(axis=1).mean()

    assert ridden.expected_hands_n(37.0) == pytest.approx(112.5, abs=0.1)
    assert shown_n == pytest.approx(112.5 - 22.5 * math.exp(-40.2 / 40.0), abs=0.5)


def test_a_lagging_rider_moved_on_carries_the_rest_along():
    model = with_("lag=60")
    ridden = jig(model)
    ridden.place_saddle(37.0)
    ridden.advance(30.0)
    before_n = ridden.advance(4.0 / 3.0).cells_n[:, :2].sum(axis=1).mean()
    ridden.place_saddle(70.0)

    after_n = ridden.advance(4.0 / 3.0).cells_n[:, :2].sum(axis=1).mean()

    assert after_n == pytest.approx(before_n, abs=0.6)


def test_visits_scatter_by_so_much_and_each_stays_for_its_visit():
    model = with_("scatter=3", model=FLAT)
    ridden, visits = jig(model), []
    for _ in range(400):
        ridden.place_saddle(55.0)
        visits.append([ridden.advance(2.0 / 3.0).cells_n[:, :2].sum(axis=1).mean() for _ in range(2)])
    first, second = np.array(visits).T

    # 400 values tell a standard deviation within 3.5 %; three times that
    assert first.std() == pytest.approx(3.0, rel=0.11)
    assert first.mean() == pytest.approx(90.0, abs=0.5)
    assert np.abs(first - second).max() < 1.5


def test_placement_puts_the_saddle_beside_where_it_is_said_to_be():
    """At 1.5 N/mm a saddle 2 mm off changes hand load by 3 N, and the pressure centre with it."""
    errors_n = hands_n(with_("placement=2"), [40.0] * 150, gap_s=0.0) - STILL_AT_40

    assert errors_n.std() == pytest.approx(3.0, rel=0.18)  # 150 values: within 5.8 %; three times that


STILL_AT_40 = 108.0


@pytest.mark.parametrize(
    ("name", "quarter", "half", "three_quarters"),
    [
        ("fatigue-late", 0.0, 0.0, 10.0),
        ("fatigue-linear", 5.0, 10.0, 15.0),
        # 20 (1 - e^-3p)/(1 - e^-3)
        ("fatigue-saturating", 11.105, 16.351, 18.829),
    ],
)
def test_fatigue_has_its_shape_and_its_size(name, quarter, half, three_quarters):
    wrong = with_(f"{name}=20").confounds

    shown = wrong.fatigue_n(np.array([0.0, 150.0, 300.0, 450.0, 600.0]))

    assert shown == pytest.approx([0.0, quarter, half, three_quarters, 20.0], abs=1e-3)


def test_fatigue_is_in_the_scans():
    ridden = jig(with_("fatigue-linear=20", model=FLAT))
    minutes = [ridden.advance(60.0).cells_n[:, :2].sum(axis=1).mean() for _ in range(3)]

    assert np.diff(minutes) == pytest.approx([2.0, 2.0], abs=0.05)


def test_fatigue_of_a_ride_that_begins_later_starts_there_and_ends_at_its_size():
    ridden = jig(with_("fatigue-linear=20", model=FLAT))
    ridden.tire(math.inf, 120.0)
    ridden.advance(600.0)
    ridden.tire(ridden.t_s, 120.0)
    fresh_n, *later_n = [ridden.advance(10.0).cells_n[:, :2].sum(axis=1).mean() for _ in range(24)]
    rested_n = jig(FLAT).advance(10.0).cells_n[:, :2].sum(axis=1).mean()

    assert fresh_n - rested_n == pytest.approx(20.0 * 5.0 / 120.0, abs=0.05)
    assert later_n[5] - fresh_n == pytest.approx(10.0, abs=0.05)
    assert [later_n[i] - rested_n for i in (11, 22)] == pytest.approx([20.0, 20.0], abs=0.05)


def test_a_ride_not_begun_has_no_fatigue():
    ridden, rested = jig(with_("fatigue-linear=20", model=FLAT)), jig(FLAT)
    ridden.tire(math.inf, 120.0)

    shown = [each.advance(300.0).cells_n for each in (ridden, rested)]

    assert (shown[0] == shown[1]).all()


def test_expectation_saturates_forward_of_the_habitual_place():
    wrong = Confounds(expectation_n=12.0, habit_mm=60.0)

    shown = [wrong.expected_n(s) for s in (80.0, 60.0, 50.0, 30.0)]

    assert shown == pytest.approx([0.0, 0.0, 12.0 * (1.0 - math.exp(-1.0)), 12.0 * (1.0 - math.exp(-3.0))])


def test_a_rider_answers_to_where_it_believes_the_saddle_to_be():
    """A sham step is believed to be one more move: 10 mm forward from 50 adds 12 (e^-1 - e^-2) N, by hand."""
    model = with_("expectation=12", model=FLAT)
    at = [80.0, 70.0, 60.0, 50.0, 50.0]
    shams = np.array([np.diff(hands_n(model, at, gap_s=0.0, seed=seed))[-1] for seed in range(40)])

    # moves are felt within 30 %: the believed place, and so the step, differs from rider to rider
    assert shams.mean() == pytest.approx(12.0 * (math.exp(-1.0) - math.exp(-2.0)), abs=0.6)
    blinded = with_("expectation=12", "blinded", model=FLAT)
    assert hands_n(blinded, at, gap_s=0.0) == pytest.approx(np.full(5, 90.0), abs=0.1)


def test_another_grip_is_taken_at_its_place_by_the_right_hand():
    model = with_("grip=12", "grip-after=10", model=FLAT)
    ridden, shown = jig(model), []
    for _ in range(7):
        ridden.place_saddle(55.0)
        shown.append([ridden.advance(10.0).cells_n[:, :2].mean(axis=0) for _ in range(2)])
    left, right = np.array(shown)[..., 0], np.array(shown)[..., 1]

    assert left == pytest.approx(np.full((7, 2), 45.0), abs=0.6)
    assert right[:5] == pytest.approx(np.full((5, 2), 45.0), abs=0.6)
    assert right[5] == pytest.approx([45.0, 57.0], abs=0.6)
    assert right[6] == pytest.approx([57.0, 57.0], abs=0.6)


def test_torque_falls_forward_of_its_place_and_nobody_tells():
    ridden = jig(with_("torque-falls=4"))
    shown = []
    for setback_mm in (70.0, 55.0, 42.5, 30.0):
        ridden.place_saddle(setback_mm)
        block = ridden.advance(20.0)
        shown.append(block.torque_nm.mean())
        assert block.power == ()

    # 200 W at 90 rpm: 21.22 N m
    assert shown == pytest.approx([21.22, 21.22, 19.22, 17.22], abs=0.05)
    assert jig(with_("no-power")).advance(5.0).power == ()


def counts_from_place(model, places):
    ridden, shown = jig(model), []
    for _ in range(places):
        ridden.place_saddle(55.0)
        shown.append(ridden.advance(20.0))
    return shown


def test_a_frozen_cell_shows_its_last_reading_for_ever():
    blocks = counts_from_place(with_("frozen=2"), 3)

    held = blocks[1].counts[1100, 1]
    assert np.ptp(blocks[1].counts[:900, 1]) > 0
    assert (blocks[1].counts[1001:, 1] == held).all()
    assert (blocks[2].counts[:, 1] == held).all()
    assert np.ptp(blocks[2].counts[:, 0]) > 0


def test_a_saturated_converter_says_so():
    blocks = counts_from_place(with_("saturated=2"), 2)

    assert not blocks[0].saturated.any()
    assert blocks[1].saturated[1001:].all()
    assert (blocks[1].counts[1001:, 1] == (1 << 23) - 1).all()


def test_a_gain_that_changes_shows_less_of_the_load():
    blocks = counts_from_place(with_("gain=0.8", model=FLAT), 7)
    zero = jig(STILL).electronics.zero_counts[1]

    assert (blocks[6].counts[:, 1] - zero).mean() / (blocks[0].counts[:, 1] - zero).mean() == pytest.approx(
        0.8, abs=0.01
    )


def test_swapped_plugs_show_each_other():
    own, swapped, saddle = (jig(with_(*w)).advance(1.0).counts for w in ((), ("swapped",), ("swapped-saddle",)))

    assert np.array_equal(swapped, own[:, [0, 3, 2, 1, 4]])
    assert np.array_equal(saddle, own[:, [0, 1, 3, 2, 4]])


def test_sway_is_remembered_as_long_as_asked():
    assert (with_("sway=8", "sway-time=10").sway_n, with_("sway-time=10").sway_s) == (8.0, 10.0)


def test_confounds_add_up_and_leave_the_luck_of_the_others_alone():
    at = (80.0, 50.0, 30.0, 60.0)
    both = hands_n(with_("scatter=3", "grip=12", model=FLAT), at)

    apart = [hands_n(with_(word, model=FLAT), at) - 90.0 for word in ("scatter=3", "grip=12")]

    assert both - 90.0 == pytest.approx(sum(apart), abs=0.2)


def test_all_at_once_can_be_ridden_and_cut_anyhow():
    words = ("sliding", "bar-fixed", "lag", "scatter", "placement", "fatigue-late", "expectation", "grip",
             "torque-falls", "frozen", "gain", "swapped-saddle", "sway-time", "hand-shifts")  # fmt: skip

    def ride(pieces):
        ridden = jig(with_(*words, model=DEMO))
        blocks = []
        for place in range(7):
            ridden.place_saddle(70.0 - 5.0 * place)
            blocks += [ridden.advance(12.0 / pieces).counts for _ in range(pieces)]
        return np.concatenate(blocks)

    assert np.array_equal(ride(1), ride(40))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["slide"], "no 'slide' to simulate; there are sliding"),
        (["lag=x"], "lag: expected a number after =, got x"),
        (["lag="], "lag: expected a number after =, got nothing"),
        (["lag=nan"], "lag: expected a number"),
        (["lag=60", "lag=30"], "lag: asked for twice"),
        (["swapped=2"], "swapped: it is there or not and has no size"),
        (["lag=-3"], "lag_s: expected 0 to 600, got -3"),
        (["sway=900"], "sway_n: expected 0 to 30, got 900"),
    ],
)
def test_what_cannot_be_simulated_is_refused(words, said):
    with pytest.raises(ValueError, match=said):
        with_(*words)
