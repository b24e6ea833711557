"""The stroke at each step and what it says, from a simulated rider whose truth is set here."""

import gc
import tracemalloc
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from daq.fit import stroke_watch
from daq.fit.ridden import Ridden
from daq.fit.sign import Stands
from daq.fit.stroke_signs import CENTRES, ROUGH, TOP, stroke_signs
from daq.fit.stroke_watch import StrokeWatch
from daq.items import Notification
from daq.rider.jig import SimulatedJig
from daq.rider.model import DEMO
from daq.rider.pedalling import SECOND
from daq.rider.power_vector import VectorSensor
from daq.sweep.plan import Plan, out_and_back
from daq.values import Loads, Status, StepMean, Stroke
from daq.wire.cycling_power import MEASUREMENT_UUID, PowerMeasurement, encode_power
from daq.wire.cycling_power_vector import VECTOR_UUID, PowerVector, encode_vector

POSITIONS = out_and_back(80.0, 30.0, 7)
STEADY = replace(DEMO, torque_phase_deg_per_10mm=0.0)


class Both(VectorSensor):
    """A sensor that adds both legs, as one in the spider does."""

    def run(self, block):
        return super().run(replace(block, left_torque_nm=block.torque_nm))


class Losing(VectorSensor):
    """A sensor of which every fifth notification is lost on the air."""

    sent = 0

    def run(self, block):
        notices = super().run(block)
        self.sent += len(notices)
        return tuple(one for i, one in enumerate(notices, self.sent - len(notices)) if i % 5)


@cache
def ridden(model=STEADY, *, sensor=None, gradient_pct=0.0, piece_s=5.0):
    """A sweep of 7 positions, 25 s each, and the watch that saw it."""
    jig, watch, steps = SimulatedJig(model, rng=np.random.default_rng(3)), StrokeWatch(), []
    jig.set_gradient(gradient_pct)
    sensing = sensor() if sensor else None
    for setback_mm in POSITIONS:
        jig.set_setback(setback_mm)
        jig.advance(8.0)
        blocks = [jig.advance(piece_s) for _ in range(round(25.0 / piece_s))]
        for block in blocks:
            hands_n, saddle_n = block.cells_n[:, :2].sum(axis=1), block.cells_n[:, 2:].sum(axis=1)
            status = (block.crank_mark * int(Status.CRANK_MARK)).astype(np.uint8)
            for notice in sensing.run(block) if sensing else ():
                vector = PowerVector(first_angle_deg=notice.first_angle_deg, torque_32=notice.torque_32)
                sent = encode_vector(vector)
                watch.hear(Notification(round(notice.t_s * 1e6), "power", VECTOR_UUID, sent))
            watch.see(Loads(block.t_s, hands_n, saddle_n, block.tilt_deg, block.cells_n, status))
        tops_s = np.concatenate([block.t_s[block.crank_mark] for block in blocks])
        strokes = tuple(stroke(a, b) for a, b in pairwise(tops_s))
        steps.append(StepMean(setback_mm, 90.0, 1.0, float(tops_s.mean()) / 60.0, 21.2, 400.0, 0.0, strokes))
        watch.see(steps[-1])
    return Ridden(
        1, Plan(POSITIONS, gradient_pct=gradient_pct), "finished", tuple(steps), None, 75.0, shapes=watch.of(steps)
    )


def stroke(start_s, end_s):
    return Stroke(start_s, end_s, 90.0, 400.0, 240.0, 0.0, 21.2, 200.0, (), 53, Status(0))


def told(level, climb=None):
    return {sign.title: sign for sign in stroke_signs(level, climb)}


def test_the_ripple_of_a_step_is_the_riders():
    """Hands and saddle give 2.3 and 3.0 N per N m of torque ripple, which is 0.62 of the mean torque."""
    shape = ridden().shapes[4]

    twice = shape.both.harmonics[1]
    expected_n = (STEADY.hands_ripple_n_per_nm + STEADY.saddle_ripple_n_per_nm) * SECOND * STEADY.torque_nm
    assert abs(twice.amplitude - expected_n) < 4.0 * max(twice.u_amplitude, 0.01 * expected_n)


def test_in_other_pieces_it_is_the_same_to_the_bit():
    assert repr(ridden(piece_s=5.0).shapes[0]) == repr(ridden(piece_s=12.5).shapes[0])


@pytest.mark.parametrize(
    ("weakening", "stands"), [(0.05, Stands.FOR), (0.0, Stands.NOT_VISIBLE), (-0.05, Stands.AGAINST)]
)
def test_dead_centres_that_deepen_going_back_speak_for_a_saddle_too_far_back(weakening, stands):
    sign = told(ridden(replace(STEADY, top_weakening_per_10mm=weakening)))[CENTRES]

    assert sign.stands is stands
    assert "95 % interval" in sign.number
    assert "cannot be told apart" in sign.why


def test_one_legs_torque_shows_the_push_over_the_top_and_both_legs_do_not():
    """Further back the torque of this rider comes later in the turn, so less of it is left at the top."""
    later = replace(STEADY, torque_phase_deg_per_10mm=3.0)

    assert told(ridden(later, sensor=VectorSensor))[TOP].stands is Stands.FOR
    both = told(ridden(later, sensor=Both))[TOP]
    assert (both.stands, both.number) == (Stands.NOT_VISIBLE, "")
    assert "adds both legs" in both.why


def test_lost_notifications_do_not_spread_the_others_over_the_turn():
    """Torque goes from 0 to 40 N m within the turn: samples placed elsewhere would be off by a quarter of that."""
    whole, gaps = (ridden(sensor=sensor).shapes for sensor in (VectorSensor, Losing))

    for every, rest in zip(whole, gaps, strict=True):
        assert rest.torque.torque_nm == pytest.approx(every.torque.torque_nm, abs=2.0)


def with_centres(amplitudes_n):
    """The sweep with these depths of its dead centres."""
    sweep = ridden()
    shapes = []
    for shape, amplitude_n in zip(sweep.shapes, amplitudes_n, strict=True):
        first, second, *others = shape.both.harmonics
        deep = replace(second, amplitude=amplitude_n, visible=True)
        shapes.append(replace(shape, both=replace(shape.both, harmonics=(first, deep, *others))))
    return replace(sweep, shapes=tuple(shapes))


@pytest.mark.parametrize(("per_10mm", "stands"), [(0.01, Stands.NOT_VISIBLE), (0.03, Stands.FOR)])
def test_a_change_seen_clearly_but_too_small_to_matter_says_nothing(per_10mm, stands):
    scatter = (0.0, 0.0001, -0.0001, 0.0002, -0.0002, 0.0001, -0.0001)
    depths_n = [60.0 * (1.0 + per_10mm * (mm - 55.0) / 10.0 + off) for mm, off in zip(POSITIONS, scatter, strict=True)]
    sign = told(with_centres(depths_n))[CENTRES]

    assert sign.stands is stands
    assert "no change visible" not in sign.number


def test_a_sensor_without_torque_over_the_turn_is_said():
    sign = told(ridden())[TOP]

    assert sign.stands is Stands.NOT_VISIBLE
    assert "not visible with these sensors" in sign.why


def test_on_a_climb_roughness_is_set_against_the_level():
    sign = told(ridden(), ridden(gradient_pct=4.5))[ROUGH]

    assert "from level to the gradient" in sign.number
    assert told(ridden())[ROUGH].why.startswith("no climb was ridden")


def test_what_is_kept_for_a_step_that_never_ends_has_an_end(monkeypatch):
    monkeypatch.setattr(stroke_watch, "HISTORY_S", 5.0)
    vector = encode_vector(PowerVector(first_angle_deg=90, torque_32=(320, 640, 320)))
    spots = encode_power(PowerMeasurement(200, top_dead_spot_deg=10, bottom_dead_spot_deg=190))
    watch, zeros = StrokeWatch(), np.zeros(10)

    def kept_after(seconds):
        tracemalloc.start()
        for second in seconds:
            watch.hear(Notification(second * 1_000_000, "power", VECTOR_UUID, vector))
            watch.hear(Notification(second * 1_000_000, "power", MEASUREMENT_UUID, spots))
            status = np.zeros(10, dtype=np.uint8)
            watch.see(Loads(second + np.arange(10) / 10, zeros, zeros, zeros, zeros[:, None], status))
        gc.collect()  # what only waits for the collector is not kept
        return tracemalloc.get_traced_memory()[0]

    early = kept_after(range(1000))
    late = kept_after(range(1000, 2000))
    tracemalloc.stop()

    # a thousand seconds of vectors and dead spots would be more than a hundred kilobytes
    assert late - early < 20_000
