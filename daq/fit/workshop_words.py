"""What a workshop's tests have shown, in words and as fields for a page."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from daq.fit.days import spreads_from
from daq.sweep.pooling import PooledWorkshops
from daq.sweep.spreads import DAY_SDS_MM, METHOD, SWEEP_SDS_MM, SpreadPriors
from daq.sweep.workshop import KnownTest, Taught, apart, interval_mm, pooled_workshops
from daq.values import Verdict
from daq.words import counted

Counts = Mapping[str, int]


def panel_fields(
    found: Taught, tests: Sequence[KnownTest], verdicts: Counts, failed: Counts, left_out: Mapping[str, str]
) -> dict[str, Any]:
    """Everything a page or another program reads. No pseudonym is in it."""
    return {
        **_spreads(found),
        "spreads_from": spreads_from(found),
        "prior": found.panel.priors.name,
        "method": METHOD,
        "effects": _effects(found),
        "by_rig": {name: _spreads(one) for name, one in apart(tests, lambda one: one.rig).items()},
        **_workshops(found),
        "by_fitter": {name: _spreads(one) for name, one in apart(tests, lambda one: one.fitter).items()},
        "slopes_n_per_mm": _quartiles(slopes(tests)),
        "verdicts": dict(verdicts),
        "failed_tests": dict(failed),
        "left_out": dict(left_out),
        "next": repeats_wanted(found),
    }


def repeats_wanted(found: Taught) -> str:
    """A protocol of what to ride to learn how far tests on two days scatter here."""
    if not found.more_days:
        return "How far two tests on two days lie apart is known to a quarter here: repeat as the fitting needs it."
    riders = counted(found.more_days, "rider")
    return (
        f"Test {riders} again on another day, a week apart or less and before anything on the bicycle is changed: same "
        "jig, bar, gradient, power and time of day, a shuffled order with a sham move and the first place again, the "
        "rider blinded. Two sweeps on one of the days teach the spread within a day."
    )


def who_could_repeat(found: Taught) -> list[tuple[str, str]]:
    """(client, day) of those tested on one day so far, latest first: as many as are still wanted. Pseudonyms, for the
    workshop's own eyes."""
    last: dict[str, str] = {}
    for one in found.tests:
        last[one.client] = max(one.entry.day, last.get(one.client, ""))
    again = {one.client for one in found.tests if one.entry.day != last[one.client]}
    once = [(client, day) for client, day in last.items() if client not in again]
    return sorted(once, key=lambda one: one[1], reverse=True)[: found.more_days]


def panel_lines(found: Taught, tests: Sequence[KnownTest], verdicts: Counts, failed: Counts) -> list[str]:
    """The same for a terminal."""
    panel = found.panel
    lines = [
        f"{counted(found.clients, 'rider')}, {counted(panel.days, 'day')}, {counted(panel.sweeps, 'sweep')} with "
        "something to say about the onset",
        spreads_from(found),
        f"between days    sd {panel.day_sd_mm:.1f} mm, 95 %: {_ends(found.day_interval_mm)} mm",
        f"between sweeps  sd {panel.sweep_sd_mm:.1f} mm, 95 %: {_ends(found.sweep_interval_mm)} mm",
        f"placing a bend  sd {found.placing_mm:.1f} mm",
        f"repeatability limit, same rider, day and jig: {found.repeatability_limit_mm:.1f} mm; on different days "
        f"(intermediate precision): {found.between_days_limit_mm:.1f} mm, the smallest change that is one",
    ]
    lines += [f"effect of {one['name']}: {one['mm']:+z.1f} +- {one['u_mm']:.1f} mm" for one in _effects(found)]
    for what, by in (("rig", apart(tests, lambda one: one.rig)), ("fitter", apart(tests, lambda one: one.fitter))):
        lines += [
            f"{what} {name}: between days {one.panel.day_sd_mm:.1f} mm, between sweeps {one.panel.sweep_sd_mm:.1f} mm"
            for name, one in by.items()
        ]
    lines += _workshop_lines(found)
    if (quartiles := _quartiles(slopes(tests))) is not None:
        low, middle, high = quartiles
        half = f"half of {counted(len(slopes(tests)), 'sweep')} {low:.2f} to {high:.2f}"
        lines.append(f"hand load beyond the onset: {middle:.2f} N/mm, {half}")
    lines += [f"verdict {name}: {_share(count, verdicts)}" for name, count in sorted(verdicts.items())]
    lines.append(repeats_wanted(found))
    lines += [f"test '{name}' failed in {counted(count, 'sweep')}" for name, count in sorted(failed.items())]
    return lines


def _pooled(found: Taught) -> PooledWorkshops | None:
    """Workshops side by side, if there are several."""
    return pooled_workshops(found, "another workshop") if len({one.workshop for one in found.tests}) > 1 else None


def _workshops(found: Taught) -> dict[str, Any]:
    pooled = _pooled(found)
    if pooled is None:
        return {"by_workshop": {}, "another_workshop": None, "workshops_apart": None}
    return {
        "by_workshop": {name: _expected(one) for name, one in pooled.each.items()},
        "another_workshop": _expected(pooled.another),
        "workshops_apart": pooled.between,
    }


def _expected(priors: SpreadPriors) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, grid_mm, weight in (("day", DAY_SDS_MM, priors.day), ("sweep", SWEEP_SDS_MM, priors.sweep)):
        found |= {f"{name}_sd_mm": float(weight @ grid_mm), f"{name}_sd_95_mm": list(interval_mm(grid_mm, weight))}
    return found


def _workshop_lines(found: Taught) -> list[str]:
    pooled = _pooled(found)
    if pooled is None:
        return []
    named = [(f"workshop {name}", one) for name, one in pooled.each.items()] + [("another workshop", pooled.another)]
    lines = []
    for name, one in named:
        day, sweep = (_ends(interval_mm(*grid)) for grid in ((DAY_SDS_MM, one.day), (SWEEP_SDS_MM, one.sweep)))
        lines.append(
            f"{name}: between days {one.day @ DAY_SDS_MM:.1f} mm, 95 %: {day} mm; between sweeps "
            f"{one.sweep @ SWEEP_SDS_MM:.1f} mm, 95 %: {sweep} mm"
        )
    lines.append(f"workshops differ by a factor of about {math.exp(pooled.between):.1f}; each is drawn to the others")
    return lines


def slopes(tests: Sequence[KnownTest]) -> list[float]:
    """Rise of the hand load forward of each onset that was named, N/mm."""
    return [one.slope_n_per_mm for one in tests if one.verdict == Verdict.ONSET and math.isfinite(one.slope_n_per_mm)]


def _spreads(found: Taught) -> dict[str, Any]:
    panel = found.panel
    return {
        "riders": found.clients,
        "days": panel.days,
        "sweeps": panel.sweeps,
        "repeats": panel.repeats,
        "second_days": panel.second_days,
        "enough": found.enough,
        "day_sd_mm": panel.day_sd_mm,
        "day_sd_95_mm": list(found.day_interval_mm),
        "sweep_sd_mm": panel.sweep_sd_mm,
        "sweep_sd_95_mm": list(found.sweep_interval_mm),
        "placing_sd_mm": found.placing_mm,
        "repeatability_limit_mm": found.repeatability_limit_mm,
        "between_days_limit_mm": found.between_days_limit_mm,
    }


def _effects(found: Taught) -> list[dict[str, Any]]:
    if found.effects is None:
        return []
    errors_mm = np.sqrt(np.diag(found.effects.covariance))
    return [
        {"name": one.name, "mm": float(mm), "u_mm": float(u_mm)}
        for one, mm, u_mm in zip(found.effects.effects, found.effects.mm, errors_mm, strict=True)
    ]


def _quartiles(values: Sequence[float]) -> list[float] | None:
    return [float(one) for one in np.quantile(values, (0.25, 0.5, 0.75))] if values else None


def _share(count: int, of: Counts) -> str:
    return f"{count} of {sum(of.values())}"


def _ends(ends: tuple[float, float]) -> str:
    return f"{ends[0]:g} to {ends[1]:g}"
