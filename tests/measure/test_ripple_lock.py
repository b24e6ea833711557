from dataclasses import replace

import numpy as np
import pytest

from daq.measure.ripple_lock import LOCK_TURNS, RippleLock
from daq.rider.jig import SimulatedJig
from daq.rider.model import DEMO
from daq.rider.wander import Wander

RESTLESS = replace(DEMO, sway_n=8.0, stroke_spread=0.1, cadence_wander_rpm=2.0, power_w=120.0)


def ridden(model, seconds=180.0, seed=1):
    jig = SimulatedJig(model, rng=np.random.default_rng(seed))
    block = jig.advance(0.5 * seconds)
    jig.set_setback(45.0)
    later = jig.advance(0.5 * seconds)
    load_n = np.concatenate([b.cells_n.sum(axis=1) for b in (block, later)])
    t_s, mark = (np.concatenate([getattr(b, name) for b in (block, later)]) for name in ("t_s", "crank_mark"))
    return t_s, load_n, t_s[mark]


@pytest.mark.parametrize("model", [DEMO, RESTLESS, replace(DEMO, cadence_rpm=60.0)], ids=["demo", "restless", "60 rpm"])
def test_every_turn_is_found_where_the_mark_would_be_but_for_one_angle(model):
    t_s, load_n, marks_s = ridden(model)

    events_s = np.array(RippleLock().feed(t_s, load_n, model.cadence_rpm))
    turned = np.interp(events_s, marks_s, np.arange(len(marks_s)), left=np.nan, right=np.nan)

    steps = np.diff(turned[np.isfinite(turned)])
    assert len(marks_s) - len(events_s) <= 4 + LOCK_TURNS + 5  # the first turns go into locking
    assert steps == pytest.approx(np.ones(len(steps)), abs=0.15)


def test_turns_begin_at_a_peak_of_the_load():
    t_s = np.arange(0.0, 60.0, 0.01)
    load_n = 90.0 + 30.0 * np.cos(4.0 * np.pi * (1.5 * t_s - 0.2))

    events_s = np.array(RippleLock().feed(t_s, load_n, 90.0))

    # within 10 degrees of crank, once the lock has drawn in over a few turns
    assert np.cos(4.0 * np.pi * (1.5 * events_s[5:] - 0.2)).min() > np.cos(np.radians(20.0))


def test_a_cadence_that_is_a_little_off_does_not_lose_a_turn():
    t_s, load_n, marks_s = ridden(DEMO)

    events_s = RippleLock().feed(t_s, load_n, 1.02 * DEMO.cadence_rpm)

    assert len(marks_s) - len(events_s) <= 12


def test_the_same_scans_in_any_pieces_give_the_same_turns():
    t_s, load_n, _ = ridden(DEMO, seconds=30.0)
    whole, cut = RippleLock().feed(t_s, load_n, 90.0), RippleLock()

    pieces = [e for a, b in zip(t_s.reshape(-1, 8), load_n.reshape(-1, 8), strict=True) for e in cut.feed(a, b, 90.0)]

    assert pieces == whole


@pytest.mark.parametrize("memory_s", [0.01, 0.1, 0.3, 3.0])
def test_sway_without_a_ripple_is_never_a_turn(memory_s):
    t_s = np.arange(0.0, 120.0, 0.01)
    lock = RippleLock()
    sway_n = Wander(8.0, memory_s, 0.01, 0.0).run(np.random.default_rng(2).standard_normal(len(t_s)))

    events = lock.feed(t_s, 90.0 + sway_n, 90.0)

    assert events == []
    assert not lock.locked


def test_a_standing_crank_or_no_cadence_ends_the_lock():
    t_s, load_n, _ = ridden(DEMO, seconds=30.0)
    lock = RippleLock()
    lock.feed(t_s[:2000], load_n[:2000], 90.0)
    was_locked = lock.locked

    assert was_locked
    assert lock.feed(t_s[2000:2010], load_n[2000:2010], float("nan")) == []
    assert not lock.locked


def test_a_gap_in_the_scans_starts_the_lock_over():
    t_s, load_n, _ = ridden(DEMO, seconds=40.0)
    lock = RippleLock()
    lock.feed(t_s[:2000], load_n[:2000], 90.0)

    events = lock.feed(t_s[2000:] + 5.0, load_n[2000:], 90.0)

    assert events[0] > t_s[2000] + 5.0 + LOCK_TURNS * 60.0 / 90.0
