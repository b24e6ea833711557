"""Riders of tests.benchmarks.onset_rides on rigs that see less: hands alone, and a scale whose display a person reads.

The ripple of the pedals, twice a turn, is in what the scale weighs; a damped display follows it and the sway late, and
takes most of the ripple away. All numbers are assumptions, stated where they stand.
"""

from dataclasses import dataclass, replace

import numpy as np

from daq.sweep.typed.moments import moments_s
from daq.sweep.typed.progress import typed_mean
from daq.values import NAN, Reading
from tests.benchmarks.onset_rides import StrokeWorld, stroke_sweep

RIPPLE_N = 30.0
"""Amplitude at the hands, at twice the cadence: 20 to 40 N at 200 to 300 W."""
RIPPLE_HZ = 3.0
EFFORT_U_NM = 0.15
"""How well a trainer's display, read once, tells the mean torque of a dwell."""
PLACED_MM = 1.0


@dataclass(frozen=True)
class Display:
    """A scale's display and who reads it."""

    step_n: float
    readings: int
    damping_s: float = 1.0
    told: bool = True
    """Whether the daemon was told the damping, as it asks with the known weight."""
    evenly: bool = False
    """Read at even times that keep step with the pedals, as nobody should."""

    @property
    def name(self):
        """As the tables have it."""
        needle = ", needle" if self.damping_s == 0.0 else ""
        return f"typed, {self.readings:2d} at {self.step_n:g} N{needle}"


def dwell_s(display):
    """How long so many readings take."""
    return max(25.0, 4.0 * display.readings)


def world_of(name, slope, seconds=25.0):
    """The usual rider, whose hands take this much more for each mm forward of the onset."""
    return StrokeWorld(name, dwell_s=seconds, added=(slope, slope), n=11)


def hands_only(steps):
    """The same steps as a rig without a saddle cell has them."""
    strokes = [tuple(replace(stroke, saddle_n=NAN) for stroke in step.strokes) for step in steps]
    return [
        replace(step, saddle_load_n=NAN, weight_line_mm=NAN, strokes=own, u_setback_mm=PLACED_MM)
        for step, own in zip(steps, strokes, strict=True)
    ]


def read_off(steps, display, number):
    """The same steps as somebody reads them off a display."""
    rng = np.random.default_rng([number, display.readings, round(1000 * display.step_n)])
    gain = 1.0 / np.hypot(1.0, 2.0 * np.pi * RIPPLE_HZ * display.damping_s)
    phase = rng.uniform(0.0, 2.0 * np.pi)
    return [_read(step, display, f"{number}:{i}", gain, phase, rng) for i, step in enumerate(steps)]


def _read(step, display, seed, gain, phase, rng):
    t_s = np.array([stroke.mid_s for stroke in step.strokes])
    at_s = t_s[0] + np.array(moments_s(seed, display.readings, dwell_s=dwell_s(display), settle_s=0.0))
    if display.evenly:
        at_s = t_s[0] + np.arange(display.readings) * 5.0 + 1.0
    weighed = np.interp(at_s, t_s, _followed(t_s, [stroke.hands_n for stroke in step.strokes], display.damping_s))
    weighed += gain * RIPPLE_N * np.sin(2.0 * np.pi * RIPPLE_HZ * at_s + phase)
    shown = display.step_n * np.round(weighed / display.step_n)
    readings = tuple(
        Reading(float(t), float(n), 0.5 * display.step_n, NAN, display.damping_s if display.told else NAN)
        for t, n in zip(at_s, shown, strict=True)
    )
    told_nm = step.crank_torque_nm + EFFORT_U_NM * rng.standard_normal()
    return replace(typed_mean(step.setback_mm, readings, float(told_nm)), u_setback_mm=PLACED_MM)


def _followed(t_s, hands_n, damping_s):
    """What a display with this time constant shows of the strokes' loads, without their ripple."""
    if damping_s == 0.0:
        return hands_n
    shown_n = [hands_n[0]]
    for gap_s, load_n in zip(np.diff(t_s), hands_n[1:], strict=True):
        shown_n.append(load_n + (shown_n[-1] - load_n) * np.exp(-gap_s / damping_s))
    return shown_n


def typed_sweep(slope, display, number):
    """Onset and steps of one sweep read off a display."""
    onset_mm, steps = stroke_sweep(world_of(f"less {slope:g}", slope, dwell_s(display)), number)
    return onset_mm, read_off(steps, display, number)
