"""500 simulated sweeps kept, exported, and computed again in two other ways: `python -m tests.benchmarks.many_sweeps`.

Every sweep is ridden by the simulated rider through the pipeline, without pacing: riders of every kind, each with an
onset, slope, sway and weight of its own. All are stored and exported as data packages. The archive is then computed
again from the raw of each sweep: with the calibration it was ridden with, interrupted once and taken up again; with
another; and by another method. Reported: times, sizes, and how the answers differ. Exit code 1 when an answer that has
to be the same is not, or a sweep fails. `--sweeps 20` makes it short; `--keep FOLDER` leaves the archive there.
"""

import argparse
import dataclasses
import functools
import json
import multiprocessing
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from daq.items import BOARD, FITTER, POWER, SWEEP_BEGUN, Event, Item, Notification
from daq.jig import beginning
from daq.keep.again.recompute import recompute_stored
from daq.keep.json_text import plain
from daq.keep.package import workers
from daq.keep.package.archive import analyse
from daq.keep.package.export import export
from daq.keep.package.folder import describe_folder
from daq.keep.package.recomputed import onset_again
from daq.keep.package.tables import read_table
from daq.keep.package.terms import FREE
from daq.keep.store import Store
from daq.live.demo import MOVING_S, calibration_of, rig_text_of
from daq.measure.calibration import Calibration, to_dict
from daq.pipeline import Pipeline, item_of
from daq.rider.body import Body
from daq.rider.jig import JigBlock, SimulatedJig
from daq.rider.model import DEMO, RiderKind, RiderModel, rider_of_kind
from daq.rig_file import parse_rig
from daq.sources.simulator import hello_of, power_bytes, scans_of
from daq.sweep import onset as estimator
from daq.sweep.plan import Plan, out_and_back
from daq.sweep.run import ENDED, State
from daq.values import Onset, Samples
from daq.wire import cycling_power

SWEEPS = 500
PLAN = Plan(
    positions_mm=out_and_back(80.0, 30.0, 9),
    settle_s=6.0,
    dwell_s=14.0,
    power_w=DEMO.power_w,
    cadence_rpm=DEMO.cadence_rpm,
)
"""Short steps, so that the bench ends the same hour."""
PIECE_S = 0.5
LATENCY_US = 4000
LONGEST_S = 600.0
"""After this the fitter calls it enough: one position never came to its end."""
OTHER_GAIN = 1.03
"""A calibration whose bar cells show 3 % more."""


def rider(number: int) -> RiderModel:
    """A rider of their own."""
    rng = np.random.default_rng([7, number])
    base = dataclasses.replace(
        DEMO,
        body=Body(mass_kg=float(rng.uniform(55, 95)), stature_m=float(rng.uniform(1.76, 1.84))),
        onset_mm=float(rng.uniform(42, 68)),
        slope_n_per_mm=float(rng.uniform(0.5, 2.0)),
        sway_n=float(rng.uniform(2, 6)),
        drift_n_per_min=float(rng.uniform(-0.3, 0.6)),
    )
    return rider_of_kind(list(RiderKind)[number % len(RiderKind)], base)


def ride(number: int, folder: Path) -> tuple[float, float]:
    """Ride one sweep and keep it in a store of its own part; (seconds ridden, seconds it took)."""
    begun = time.perf_counter()
    jig = SimulatedJig(rider(number), rng=np.random.default_rng([11, number]))
    rig_text, calibration = rig_text_of(jig.geometry, "/dev/simulated"), calibration_of(jig.electronics)
    pipeline = Pipeline(parse_rig(rig_text), calibration)
    items: list[Item] = []
    answer: Onset | None = None
    with Store.open(folder / f"part-{multiprocessing.current_process().pid}.sqlite") as store:
        session_id = store.begin_session(
            started_utc=f"2026-01-{1 + number // 24 % 28:02d}T{number % 24:02d}:00:00.000+00:00",
            monotonic_origin_ns=0,
            software="foreaft bench",
            rig=rig_text,
            calibration=to_dict(calibration),
            simulated=True,
        )
        for item in received(jig, pipeline):
            items.append(item)
            for output in pipeline.feed(item):
                answer = output if isinstance(output, Onset) else answer
        progress = pipeline.progress
        assert progress is not None
        store.put(session_id, list(chunked(items)))
        sweep_id = store.begin_sweep(
            session_id,
            from_us=1,
            plan=plain(PLAN),
            rider={"pseudonym": f"SIM-{number:04d}", "mass_kg": jig.model.body.mass_kg},
            gradient_pct=0.0,
            calibration=to_dict(calibration),
        )
        if answer is not None:
            store.put_result(sweep_id, kind="onset", method=answer.method, content=plain(answer))
        store.end_sweep(sweep_id, to_us=last_us(items[-1]) + 1, state=str(progress.state))
    return jig.t_s, time.perf_counter() - begun


def received(jig: SimulatedJig, pipeline: Pipeline) -> Iterator[Item]:
    """What a session would receive of this ride, a fitter following the plan; the pipeline is fed between items."""
    hello = hello_of(jig.electronics)
    channels = [channel.name for channel in hello.channels]
    yield Event(1, SWEEP_BEGUN, beginning(PLAN, mass_kg=jig.model.body.mass_kg, channels=channels, zero_counts=None))
    yield item_of(hello, 2)
    yield Event(3, FITTER, {"event": "begin", "setback_mm": None})
    moving_since_s, scans = 0.0, 0
    while (progress := pipeline.progress) is not None and progress.state not in ENDED:
        block = jig.advance(PIECE_S)
        yield from arrivals(block, scans)
        scans += len(block)
        at_us = round(jig.t_s * 1e6) + LATENCY_US + 100
        if jig.t_s > LONGEST_S:
            yield Event(at_us, FITTER, {"event": "enough", "setback_mm": None})
        elif progress.state is not State.MOVING:
            moving_since_s = jig.t_s
        elif progress.asked_setback_mm is not None and jig.t_s >= moving_since_s + MOVING_S:
            jig.set_setback(progress.asked_setback_mm)
            yield Event(at_us, FITTER, {"event": "saddle_moved", "setback_mm": progress.asked_setback_mm})


def arrivals(block: JigBlock, scans: int) -> Iterator[Item]:
    """A piece of the ride as it arrives: scans a few milliseconds late, then the power sensor's notifications."""
    stamps_us = np.rint(block.t_s * 1e6).astype(np.int64) + LATENCY_US
    yield dataclasses.replace(scans_of(block, scans), received_us=stamps_us)
    for count, notice in enumerate(block.power):
        at_us = int(stamps_us[-1]) + 1 + count
        yield Notification(at_us, POWER, cycling_power.MEASUREMENT_UUID, power_bytes(notice))


def chunked(items: list[Item]) -> Iterator[Item]:
    """Scans joined to pieces of half a minute, as a store re-chunks a closed session."""
    fields = ("received_us", "ticks_us", "sequence", "status", "counts")
    scans = [item for item in items if isinstance(item, Samples)]
    yield from (item for item in items if not isinstance(item, Samples))
    for at in range(0, len(scans), 60):
        parts = scans[at : at + 60]
        yield Samples(BOARD, *(np.concatenate([getattr(part, name) for part in parts]) for name in fields))


def last_us(item: Item) -> int:
    """When the item came."""
    return int(item.received_us[-1]) if isinstance(item, Samples) else item.received_us


def export_part(path: Path, archive: Path) -> int:
    """All sweeps of one part as data packages; how many."""
    with Store.open(path, write=False) as store:
        ids = [sweep.id for sweep in store.sweeps()]
        return len(export(store, ids, archive / path.stem, recompute_stored, licence=FREE, form="parquet"))


def other_calibration() -> Calibration:
    """The calibration ridden with, its bar cells showing more."""
    own = calibration_of(SimulatedJig(DEMO).electronics)
    return dataclasses.replace(
        own,
        id="simulated, bar 3 % up",
        channels=tuple(
            dataclasses.replace(channel, coefficients=tuple(OTHER_GAIN * part for part in channel.coefficients))
            if channel.name.startswith("hands")
            else channel
            for channel in own.channels
        ),
    )


def make_archive(folder: Path, sweeps: int, processes: int) -> Path:
    """Ride, keep, export; prints what it took."""
    context = multiprocessing.get_context("forkserver")
    begun = time.perf_counter()
    with context.Pool(processes) as pool:
        rides = pool.starmap(ride, [(number, folder) for number in range(sweeps)], chunksize=4)
    ridden_s, each_s = (np.array(column) for column in zip(*rides, strict=True))
    took_s = time.perf_counter() - begun
    print(f"{sweeps} sweeps, {ridden_s.sum() / 3600:.1f} h of riding, made in {took_s:.0f} s by {processes} processes:")
    print(f"  {np.count_nonzero(ridden_s > LONGEST_S)} of them called enough before their end")
    print(f"  {np.median(each_s):.2f} s a sweep in one, {ridden_s.sum() / each_s.sum():.0f} times faster than life")
    archive, parts, begun = folder / "archive", sorted(folder.glob("part-*.sqlite")), time.perf_counter()
    with context.Pool(processes) as pool:
        made = sum(pool.starmap(export_part, [(path, folder / "out") for path in parts]))
    archive.mkdir()
    for sweep in folder.glob("out/*/*/datapackage.json"):
        sweep.parent.rename(archive / sweep.parent.name)
    describe_folder(archive)
    print(f"  {made} exported in {time.perf_counter() - begun:.0f} s")
    stored = sum(path.stat().st_size for path in parts)
    tables = sum(path.stat().st_size for path in archive.glob("*/*"))
    raw = sum(path.stat().st_size for path in archive.glob("*/raw_*"))
    print(f"  stores {stored / 1e6:.0f} MB, exports {tables / 1e6:.0f} MB ({raw / 1e6:.0f} MB of it raw)")
    return archive


def analysed(archive: Path, out: Path, analysis: Any, method: str, processes: int) -> tuple[dict[str, Any], float]:
    """Columns of the result by sweep, and seconds; says which sweeps failed and why."""
    begun = time.perf_counter()
    found = analyse(archive, analysis, out, method=method, mapper=workers.local(processes))
    took_s = time.perf_counter() - begun
    read = read_table(out, "results")
    size = sum(path.stat().st_size for path in out.iterdir())
    done = found.sweeps - found.done_before
    print(f"{method}: {done} sweeps in {took_s:.0f} s, tables and journal {size / 1e6:.2f} MB")
    for sweep, reason in found.failures.items():
        print(f"  failed: {sweep}: {reason}")
    assert not found.failures
    return {name: read[name] for name in ("sweep", "verdict", "onset_mm", "stored_onset_mm") if name in read}, took_s


def compare(own: dict[str, Any], other: dict[str, Any]) -> str:
    """How two columns of answers differ, over the sweeps that have both."""
    places = {sweep: place for place, sweep in enumerate(own["sweep"])}
    pairs = [(places[sweep], place) for place, sweep in enumerate(other["sweep"])]
    same = np.mean([own["verdict"][i] == other["verdict"][j] for i, j in pairs])
    before, after = numbers(own["onset_mm"]), numbers(other["onset_mm"])
    moved = np.array([after[j] - before[i] for i, j in pairs])
    moved = moved[~np.isnan(moved)]
    if not len(moved):
        return f"verdict the same in {100 * same:.1f} %"
    return (
        f"{len(pairs)} sweeps, verdict the same in {100 * same:.1f} %; {len(moved)} onsets in both, "
        f"moved by {np.median(np.abs(moved)):.2f} mm (median), {np.abs(moved).max():.2f} mm (most)"
    )


def numbers(column: Any) -> np.ndarray:
    """A column that may have gaps, as floats with NaN."""
    return np.array([np.nan if value is None else value for value in column], dtype=np.float64)


def run(folder: Path, sweeps: int, processes: int) -> None:
    """The whole bench."""
    archive = make_archive(folder, sweeps, processes)
    file = folder / "other.json"
    file.write_text(json.dumps(to_dict(other_calibration())))
    half = folder / "own"
    for name in sorted(path.parent.name for path in archive.glob("*/datapackage.json"))[: sweeps // 2]:
        (folder / "first" / name).parent.mkdir(exist_ok=True)
        (folder / "first" / name).symlink_to((archive / name).resolve())
    _, first_s = analysed(folder / "first", half, onset_again, estimator.METHOD, processes)
    own, rest_s = analysed(archive, half, onset_again, estimator.METHOD, processes)
    print(f"  interrupted half way and taken up again: {first_s:.0f} s and {rest_s:.0f} s")
    exact = np.array_equal(numbers(own["onset_mm"]), numbers(own["stored_onset_mm"]), equal_nan=True)
    print(f"  onsets as answered while riding, to the last bit: {'all' if exact else 'NO'}")
    with_other = functools.partial(onset_again, calibration_file=file)
    calibrated, _ = analysed(archive, folder / "calibrated", with_other, f"{estimator.METHOD}+other", processes)
    print(f"  another calibration: {compare(own, calibrated)}")
    by_other = functools.partial(onset_again, method=estimator.LEAST_SQUARES)
    other, _ = analysed(archive, folder / "other", by_other, estimator.LEAST_SQUARES, processes)
    print(f"  another method: {compare(own, other)}")
    assert exact


def main() -> int:
    """Exit code."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--sweeps", type=int, default=SWEEPS)
    words.add_argument("--processes", type=int, default=2)
    words.add_argument("--keep", type=Path)
    asked = words.parse_args()
    with tempfile.TemporaryDirectory(dir=".", prefix=".bench") as temporary:
        folder = asked.keep or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        run(folder, asked.sweeps, asked.processes)
    return 0


if __name__ == "__main__":
    sys.exit(main())
