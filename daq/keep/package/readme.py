"""The one page that goes with exported sweeps, for somebody who has never seen the jig. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from daq import __version__
from daq.keep.package.keys import FORMAT
from daq.words import counted

TITLE = "Setback sweeps on an instrumented fit jig"


def readme(about: Mapping[str, Any], sweeps: int) -> str:
    """about: the properties of the folder's data package."""
    terms = "; ".join(one["title"] + (f" ({one['path']})" if "path" in one else "") for one in about["licenses"])
    people = ", ".join(one["title"] for one in about.get("contributors", ())) or "nobody is named"
    simulated = "Some or all riders are SIMULATED: see `simulated` in sweeps.csv." if about["simulated"] else ""
    return _PAGE.format(
        title=TITLE,
        sweeps=f"{counted(sweeps, 'sweep')}. {simulated}".strip(),
        terms=terms,
        people=people,
        coarse=_COARSE if about.get("coarse") else "",
        version=__version__,
        format=FORMAT,
    )


_COARSE = """
**Coarse.** Dates here are months: `session_started_utc` is the first of the month and not the wall clock at session
time 0, `datePublished` likewise. Masses are rounded to 5 kg. Foot loads and weight lines are computed with the rounded
mass: foot loads are up to 25 N off, weight lines by what that moves them. Hands, saddle, steps and onset are exact.
"""
_PAGE = """# {title}

{sweeps}
{coarse}
A rider pedals at a held effort on a jig that weighs hands and saddle, while the saddle is moved step by step. Behind
some setback the hands are light; forward of it they carry the trunk. Where hand load begins to rise is the *onset*.

**Begin with** `sweeps.csv` (a row a sweep: who, when, the answer) and `all_steps.csv` (a row a saddle position): plot
`hand_load_n` over `setback_mm`; EXAMPLES.md does so in Python, R and Octave or MATLAB. Each sweep has a folder with all
tables, and `datapackage.json` with every column's meaning and unit (UCUM). Missing is null or an empty cell, never 0.

**Frame and signs.** Origin at the bottom bracket, x forward, y along the jig's normal. `setback_mm` is horizontal,
positive behind the bottom bracket: the rider comes forward as it falls. Loads are support forces on the rider along
the normal, N, positive when the rider presses down. `tilt_deg` is positive nose up; gradient = 100 tan(tilt) %.
`crank_torque_nm` is the mean over a whole stroke, positive when it drives. Feet are the remainder of the weight along
the normal, m g cos(tilt) less hands and saddle: a difference, not a measurement. Forces along the jig are seen only by
cells with a tangential role in `channels`. Without them `weight_line_mm` rests on an assumption: the mean force of the
hands along the jig is 0 with a standard uncertainty of 20 N, or as `[unseen]` in `sweep.rig`; see `u_weight_line_mm`.

**Time and sampling.** Every time is session time: one monotonic clock, 0 at `session_started_utc`. `raw_*` has a row a
scan, at `scan_rate_hz` of `hellos.content`; `received_us` is when the host had it, `ticks_us` the board's own clock;
`loads.t_s` is the board's clock in session time, known to `clocks.error_ms`. Other sensors are in `notifications`.

**From counts to loads.** `channels` leads from a column of counts to channel, part of the jig and column of loads,
with the coefficients c of p(x) = c0 + c1 x + c2 x^2 ...: a cell shows p(count) - p(zero_counts) newtons, the tilt is
p(count) degrees. Cross-talk and the fixture's own weight over tilt come on top, where `calibrations.content` has them.

**From loads to the answer.** `strokes` are means over whole crank revolutions. A step's mean takes the strokes after
settling, inside the bands of torque and cadence; `exclusions` says why a stroke is in none. The last columns of `steps`
say how saddle and bar were set, empty where nobody said. `se_n` is the standard error over strokes, independent between
steps, and `se_stated_n` the same combined with the steps' scatter about the curve, as pages show it;
`u_hand_calibration_n` is the calibration's, nearly one error on all steps, so it moves the curve and not the onset;
`u_hand_load_n` is both (all k = 1). The onset is the posterior mean of the bend of a line that is level, then rises,
with effort and time beside it; the interval holds 95 % of it. `methods` names the estimator's version; how it works and
how far it was tried: daq/sweep/method.md in the program's source.

| verdict | says |
|---|---|
| onset | hand load begins to rise inside the sweep, at `onset_mm` |
| light-throughout, loaded-throughout | light, or loaded, at every position: the onset lies outside, or there is none |
| rise-seen | hand load rises, and nobody measured the effort, which may have made it: no place is named |
| undecided | the data do not tell, or a test of validity forbids an answer; `onset.reasons` says which |

`validity` has the tests a sweep must pass before an onset is named, each with what was found, an interval and a cure:
computation, calibration, cells, feet, tilt, torque, direction, hips, hands, left and right hand, reach, saddle tilt,
passes, lag, fatigue, drift, first position again, sham, visits, habit. *not made* means that what the test needs was
not there.

| table of a sweep | holds |
|---|---|
| sweep, channels, calibrations | who, when, how, with what |
| raw_*, notifications, hellos, events | what was received: the truth all else is computed from |
| loads, strokes, exclusions, steps, onset, validity, clocks, methods | computed for this export |
| results | what was answered at the time |
| sweep.c3d, where there is one | loads and events at a constant rate, for motion laboratories (c3d.org) |

**Losses.** `lost` in sweeps.csv says what of a sweep's raw is lost; `events` of kind raw-lost stand in its place.

**Privacy.** Riders go by pseudonym; names and what was typed are left out. Somebody who knows when a person was
fitted, or their mass, may still find their sweep: `foreaft export --coarse` gives months instead of days, and masses in
steps of 5 kg, from which foot loads are then recomputed. The loads still tell a mass to some kilograms, and a
calibration its day: do not publish what a rider has agreed to for one study only.

**Terms and citation.** {terms}. Contributors: {people}. Cite the people and the place you had this from, and: The
Foreaft authors, Foreaft {version} (software), tables {format}. `datePublished` in ro-crate-metadata.json is the day of
the newest sweep; set the day you publish.

**Checks.** `frictionless validate datapackage.json`, here and in each sweep's folder, which takes it a minute (`pip
install 'frictionless[parquet]'`). `foreaft import` brings a sweep back, every file against its hash. In CSV, text that
a spreadsheet might compute (it begins with = + - @) has an apostrophe before it.
"""
