"""Rides the items of a sweep again and collects all outputs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from daq.fit.load_uncertainty import uncertainty_of
from daq.items import FITTER, GONE_ON, Event, Item
from daq.keep.again.derived import Derived, StepUncertainty
from daq.keep.again.replay import OF_A_STORE, run
from daq.keep.again.stored import calibration_of, items_of, rig_of
from daq.keep.store import Store
from daq.measure.calibration import Calibration
from daq.measure.stroke import averaged
from daq.ride import Ride
from daq.rig import Rig
from daq.sweep.evidence import stroke_errors
from daq.sweep.onset import METHOD, standard_errors
from daq.sweep.step import mean_over
from daq.values import NAN, Loads, StepMean, Stroke

STEP_METHOD = "step/1"


def recompute_stored(store: Store, sweep_id: int) -> Derived:
    """A stored sweep, with the calibration it was ridden with. StoreDamaged if its rig or calibration is lost."""
    sweep = store.sweep(sweep_id)
    return recompute(items_of(store, sweep), rig_of(store.session(sweep.session_id)), calibration_of(store, sweep))


def recompute(
    items: Iterable[Item],
    rig: Rig,
    calibration: Calibration,
    method: str = METHOD,
    other: Calibration | None = None,
    remedy: str = OF_A_STORE,
) -> Derived:
    """All outputs of the items. calibration: the one the sweep was ridden with; it determines where every stroke and
    step begins and ends. other: the calibration to compute the loads with instead. When a step ends depends on when the
    hands were steady, so another calibration would move steps relative to the fitter's commands; the strokes of each
    step stay those that were averaged. remedy: as in `run`.
    """
    if other is None:
        found = _gathered(items, rig, Ride(rig, calibration, method=method), remedy)
        return replace(found, uncertainties=_uncertainties(found.steps, rig, calibration))
    ridden, seen = Ride(rig, calibration, method=method), Ride(rig, other)
    parts: list[Loads] = []
    found = _restated(_gathered(_seen_too(items, seen, parts), rig, ridden, remedy), parts, ridden, rig)
    return replace(found, uncertainties=_uncertainties(found.steps, rig, other))


def _gathered(items: Iterable[Item], rig: Rig, ride: Ride, remedy: str) -> Derived:
    loads: list[Loads] = []
    strokes: list[Stroke] = []
    for output in run(ride, items, remedy):
        match output:
            case Loads():
                loads.append(output)
            case Stroke():
                strokes.append(output)
    progress = ride.pipeline.progress
    steps, onset = () if progress is None else tuple(progress.steps), ride.onset
    return Derived(
        loads=tuple(loads),
        strokes=tuple(strokes),
        steps=steps,
        onset=onset,
        no_answer="" if onset else ride.pipeline.no_answer(steps),
        cells=rig.cells,
        clock_error_ms=ride.pipeline.clock_errors_ms,
        methods={"step": STEP_METHOD, **({} if onset is None else {"onset": onset.method})},
        jig_said=ride.pipeline.jig_said,
        losses=tuple(event.content["said"] for event in ride.pipeline.losses),
    )


def _seen_too(items: Iterable[Item], seen: Ride, parts: list[Loads]) -> Iterator[Item]:
    """Passes the items on, and meanwhile computes their loads with another calibration, without riding a sweep."""
    for item in items:
        if not (isinstance(item, Event) and item.kind in (FITTER, GONE_ON)):
            parts.extend(output for output in seen.feed(item) if isinstance(output, Loads))
        yield item


def _restated(found: Derived, loads: Sequence[Loads], ridden: Ride, rig: Rig) -> Derived:
    """The same strokes and steps with these loads: same times, same strokes averaged, torque unchanged."""
    begins_s = np.array([part.t_s[0] for part in loads])
    again: dict[Stroke, Stroke] = {}
    for stroke in found.strokes:
        first, last = np.searchsorted(begins_s, (stroke.start_s, stroke.end_s))
        of_loads = averaged(
            loads[max(first - 1, 0) : last],
            stroke.start_s,
            stroke.end_s,
            mass_kg=ridden.pipeline.mass_kg,
            g_m_s2=rig.g_m_s2,
            power_w=stroke.power_w,
            torque_nm=stroke.crank_torque_nm,
        )
        assert of_loads is not None
        again[stroke] = of_loads
    steps = tuple(
        step  # read off a scale: the display's own newtons are all there is
        if step.readings
        else ridden.pipeline.completed(
            replace(
                mean_over(
                    step.setback_mm,
                    [again[stroke] for stroke in step.strokes],
                    left_out=[replace(one, stroke=again[one.stroke]) for one in step.left_out],
                ),
                u_setback_mm=step.u_setback_mm,
                moved_min=step.moved_min,
                setting=step.setting,
            )
        )
        for step in found.steps
    )
    onset = ridden.answer(steps)
    why = "" if onset else ridden.pipeline.no_answer(steps)
    return replace(found, loads=tuple(loads), strokes=tuple(again.values()), steps=steps, onset=onset, no_answer=why)


def _uncertainties(steps: Sequence[StepMean], rig: Rig, calibration: Calibration) -> tuple[StepUncertainty, ...]:
    def by_calibration(step: StepMean, role: str) -> float:
        if not step.strokes:  # read off a scale, which has no budget
            return NAN
        cells_n = np.mean([stroke.cells_n for stroke in step.strokes], axis=0).tolist()
        found = uncertainty_of(calibration, rig, cells_n, role)
        return NAN if found is None else found.standard_n

    errors_n = np.column_stack([stroke_errors(steps), standard_errors(steps)]).tolist() if steps else []
    return tuple(
        StepUncertainty(own_n, stated_n, by_calibration(step, "hands"), by_calibration(step, "saddle"))
        for step, (own_n, stated_n) in zip(steps, errors_n, strict=True)
    )
