"""The rider in strokes is the rider in scans, its means over whole turns drawn at once."""

from dataclasses import replace

import numpy as np
import pytest

from daq.measure.stroke import StrokeCutter
from daq.rider.jig import SimulatedJig
from daq.rider.model import DEMO, rider_of_kind, rider_with
from daq.rider.named import asked_for
from daq.rider.strokes import StrokeRider
from daq.rider.wander import MeanWander, Wander
from daq.values import Loads, Status

PLACES_MM = (80.0, 60.0, 40.0, 30.0, 50.0, 70.0)
STILL = replace(DEMO, sway_n=0.0, side_sway_n=0.0, power_wander_w=0.0, cadence_wander_rpm=0.0, stroke_spread=0.0,
                settle_n=0.0)  # fmt: skip
RIDERS = {
    "plain": STILL,
    "flat, tired": rider_with(rider_of_kind("flat", STILL), asked_for(["fatigue-late=20"])),
    "sliding": rider_with(rider_of_kind("straight", STILL), asked_for(["sliding"])),
    "lagging": rider_with(STILL, asked_for(["lag=60"])),
    "scattering, misplaced": rider_with(STILL, asked_for(["scatter=4", "placement=3"])),
    "expecting": rider_with(rider_of_kind("flat", STILL), asked_for(["expectation"])),
    "grip within a step": rider_with(STILL, asked_for(["grip", "grip-after=15"])),
    "torque falling": rider_with(STILL, asked_for(["torque-falls"])),
    "swapped": rider_with(STILL, asked_for(["swapped"])),
    "gain": rider_with(STILL, asked_for(["gain=0.8"])),
    "bar fixed": rider_with(STILL, asked_for(["bar-fixed"])),
}


def strokes_of(model, positions_mm, rng, *, moving_s=20.0, settle_s=6.0, dwell_s=25.0):
    """The strokes of each position in turn, from when the saddle is set to the end of settling and dwell."""
    rider = StrokeRider(model, rng)
    places = []
    for setback_mm in positions_mm:
        rider.pass_time(moving_s)
        rider.place_saddle(setback_mm)
        places.append(rider.ride(settle_s + dwell_s))
    return places


def in_scans(model, seed, seconds=30.0):
    """The strokes of each place as cells, converter, calibration and cutter give them."""
    jig = SimulatedJig(model, rng=np.random.default_rng(seed))
    cutter, places = StrokeCutter(mass_kg=75.0, g_m_s2=9.80665), []
    zero, per_count = np.array(jig.electronics.zero_counts[:4]), np.array(jig.electronics.newtons_per_count)
    for setback_mm in PLACES_MM:
        jig.place_saddle(setback_mm)
        block = jig.advance(seconds)
        cells_n = (block.counts[:, :4] - zero) * per_count
        status = (block.crank_mark * Status.CRANK_MARK).astype(np.uint8)
        loads = Loads(
            block.t_s, cells_n[:, :2].sum(axis=1), cells_n[:, 2:].sum(axis=1), block.tilt_deg, cells_n, status
        )
        places.append(cutter.feed_loads(loads))
    return places


@pytest.mark.parametrize("name", RIDERS)
def test_the_means_of_every_place_agree_with_those_of_the_scans(name):
    model = RIDERS[name]

    of_scans = in_scans(model, seed=4)
    of_strokes = strokes_of(model, PLACES_MM, np.random.default_rng(4), moving_s=0.0, settle_s=0.0, dwell_s=30.0)

    # without the first two strokes of a place, which may hold the move. Cutting at scans leaves 0.2 N of the ripple on
    # a stroke, 0.03 N on a place; strokes begin up to 0.02 s apart, which a load on the move shows, the cells of the
    # saddle five times as much as the hands
    for place, (theirs, ours) in enumerate(zip(of_scans, of_strokes, strict=True)):
        means = [
            np.mean([[s.hands_n, s.saddle_n, s.feet_n, *s.cells_n] for s in strokes[2:-1]], axis=0)
            for strokes in (theirs, ours)
        ]
        assert means[1][:5] == pytest.approx(means[0][:5], abs=0.2), place
        assert means[1][5:] == pytest.approx(means[0][5:], abs=0.5), place


def test_sway_has_the_same_size_and_memory_as_in_the_scans():
    model = replace(DEMO, settle_n=0.0, drift_n_per_min=0.0)
    of_scans = [[s.hands_n for s in place] for seed in range(4) for place in in_scans(model, seed, seconds=120.0)]
    rider = StrokeRider(model, np.random.default_rng(9))
    of_strokes = []
    for setback_mm in PLACES_MM * 10:
        rider.place_saddle(setback_mm)
        of_strokes.append([s.hands_n for s in rider.ride(120.0)])

    sizes = [np.sqrt(np.mean([np.var(place[1:], ddof=1) for place in places])) for places in (of_scans, of_strokes)]
    memories = [
        np.mean([np.corrcoef(place[2:], place[1:-1])[0, 1] for place in places]) for places in (of_scans, of_strokes)
    ]

    # 2880 s of 2.5 s memory: about 580 independent values, a standard deviation within 3 %; three times that
    assert sizes[1] == pytest.approx(sizes[0], rel=0.09)
    assert memories[1] == pytest.approx(memories[0], abs=0.03)


def test_means_of_a_wander_have_the_moments_of_the_process_averaged():
    n, part = 40_000, 50
    rng = np.random.default_rng(3)
    fine = Wander(5.0, 3.0, 2.0 / part, rng.standard_normal()).run(rng.standard_normal(n * part // 4))
    averaged = fine.reshape(-1, part).mean(axis=1)

    drawn = MeanWander(5.0, 3.0, 2.0, rng.standard_normal()).run(rng.standard_normal((n, 2)))

    u = 2.0 / 3.0
    share = 2.0 * (u - 1.0 + np.exp(-u)) / u**2  # Gillespie 1996, Phys Rev E 54:2084
    for means, within in ((averaged, 0.03), (drawn, 0.015)):
        assert means.std() == pytest.approx(5.0 * np.sqrt(share), rel=within)
        lag = np.corrcoef(means[1:], means[:-1])[0, 1]
        assert lag == pytest.approx(((1.0 - np.exp(-u)) / u) ** 2 / share, abs=within)


def test_strokes_tell_their_torque_unless_there_is_no_sensor():
    told = strokes_of(DEMO, PLACES_MM, np.random.default_rng(1))
    untold = strokes_of(rider_with(DEMO, asked_for(["no-power"])), PLACES_MM, np.random.default_rng(1))

    assert np.mean([s.crank_torque_nm for place in told for s in place]) == pytest.approx(21.22, abs=0.2)
    assert all(np.isnan(s.crank_torque_nm) for place in untold for s in place)
    assert [s.hands_n for s in told[0]] == [s.hands_n for s in untold[0]]


def test_frozen_and_saturated_cells_show_in_the_strokes():
    frozen = strokes_of(rider_with(DEMO, asked_for(["frozen-nose=2"])), PLACES_MM, np.random.default_rng(1))
    ended = strokes_of(rider_with(DEMO, asked_for(["saturated=2"])), PLACES_MM, np.random.default_rng(1))

    assert len({s.cells_n[2] for place in frozen[2:] for s in place}) == 1
    assert all(s.flags & Status.SATURATED for place in ended[2:] for s in place)
    assert not any(s.flags & Status.SATURATED for s in ended[0])


def test_a_ride_is_the_same_for_the_same_generator():
    one, two = (strokes_of(DEMO, PLACES_MM, np.random.default_rng(7)) for _ in range(2))

    assert one == two
