"""Panels made up for the tests: riders, days and sweeps with known spreads, each sweep a normal likelihood."""

import numpy as np

from daq.sweep.panel import Entry
from daq.sweep.workshop import KnownTest
from daq.values import Likelihood


def normal(mean_mm, sd_mm, *, rear_mm=None, front_mm=None, beyond=-300.0):
    """A sweep that places its bend as a normal would, over the positions ridden."""
    rear_mm = mean_mm + 12.0 * sd_mm if rear_mm is None else rear_mm
    front_mm = mean_mm - 12.0 * sd_mm if front_mm is None else front_mm
    at_mm = np.arange(rear_mm, front_mm - 0.5, -1.0)
    log_l = -0.5 * ((at_mm - mean_mm) / sd_mm) ** 2
    return Likelihood(rear_mm, 1.0, tuple((log_l - log_l.max()).tolist()), beyond, beyond)


def riders(rng, *, count, days, sweeps, day_sd, sweep_sd, error_sd=3.0, rider_sd=8.0, mean_mm=52.0):
    """(tests, own onset of each rider). days: a number, or one for each rider."""
    days = np.broadcast_to(days, count)
    tests, own = [], {}
    for r in range(count):
        rider = f"R-{r:03}"
        own[rider] = rng.normal(mean_mm, rider_sd)
        for d in range(days[r]):
            day_mm = own[rider] + rng.normal(0.0, day_sd)
            for _ in range(sweeps):
                seen_mm = day_mm + rng.normal(0.0, sweep_sd) + rng.normal(0.0, error_sd)
                tests.append(Entry(rider, f"day {d}", normal(seen_mm, error_sd)))
    return tests, own


def shown(rng, own_mm, *, day_sd, sweep_sd):
    """The onset of a sweep on a day nobody has seen yet."""
    return own_mm + rng.normal(0.0, day_sd) + rng.normal(0.0, sweep_sd)


def told(tests, **known):
    """The tests with their records; each value of `known` is one for all, or a list."""
    usual = {
        "verdict": "onset",
        "slope_n_per_mm": 1.0,
        "gradient_pct": 0.0,
        "bar_fixed": False,
        "hour": 12.0,
        "rig": "A",
        "fitter": "F",
    }
    return [
        KnownTest(
            f"s{i}", one.rider, one, **{k: v[i] if isinstance(v, list) else v for k, v in {**usual, **known}.items()}
        )
        for i, one in enumerate(tests)
    ]


def one_rider(*onsets_mm, days=None, **known):
    """Tests of one client, a day each unless said otherwise, each placing its onset to 2 mm."""
    named = days or [f"2026-03-{i + 1:02}" for i in range(len(onsets_mm))]
    return told([Entry("R-1", day, normal(mm, 2.0)) for mm, day in zip(onsets_mm, named, strict=True)], **known)
