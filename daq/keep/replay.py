"""A sweep computed again from what was received: from a recording's wire bytes, or from the store's raw."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from daq.items import Item, WireBytes
from daq.keep.errors import StoreError
from daq.keep.reading import END_US
from daq.keep.recording import BadRecording, Recorded, Recording
from daq.keep.records import SweepRecord
from daq.keep.store import Store
from daq.measure.calibration import Calibration, from_dict
from daq.pipeline import Output, Pipeline, item_of
from daq.rig import Rig, RigError, parse_rig
from daq.values import Samples, StepMean
from daq.wire.board import BoardDecoder, Hello


def replayed(recording: Recording) -> Iterator[Output]:
    """Everything the pipeline makes of a recording. Raises BadRecording when its header lacks rig or calibration."""
    rig, calibration = _setting(recording)
    yield from run(Pipeline(rig, calibration), wire_items(recording.items()))


def recomputed(store: Store, sweep_id: int) -> Iterator[Output]:
    """Everything the pipeline makes of a stored sweep, with the calibration it was ridden with."""
    sweep = store.sweep(sweep_id)
    yield from run(_pipeline_of(store, sweep), _items_of(store, sweep))


def final_steps(store: Store, sweep_id: int) -> list[StepMean]:
    """The steps a stored sweep ended with, those ridden again left out. StoreError when none was finished."""
    sweep = store.sweep(sweep_id)
    pipeline = _pipeline_of(store, sweep)
    for _ in run(pipeline, _items_of(store, sweep)):
        pass
    if pipeline.progress is None or not pipeline.progress.steps:
        raise StoreError(f"sweep {sweep_id}: no position was finished")
    return pipeline.progress.steps


def run(pipeline: Pipeline, items: Iterable[Item]) -> Iterator[Output]:
    """What the pipeline makes of the items."""
    for item in items:
        yield from pipeline.feed(item)


def wire_items(recorded: Iterable[Recorded]) -> Iterator[Item]:
    """What was recorded with the boards' bytes decoded."""
    decoders: dict[str, BoardDecoder] = {}
    for entry in recorded:
        if not isinstance(entry, WireBytes):
            yield entry
            continue
        decoder = decoders.setdefault(entry.source, BoardDecoder(entry.source))
        for said in decoder.feed(entry.payload, entry.received_us):
            if isinstance(said, Samples | Hello):
                yield item_of(said, entry.received_us)


def _pipeline_of(store: Store, sweep: SweepRecord) -> Pipeline:
    """A fresh pipeline with the rig and calibration the sweep was ridden with."""
    rig = parse_rig(store.session(sweep.session_id).rig)
    return Pipeline(rig, from_dict(store.calibration(sweep.calibration_id)))


def _items_of(store: Store, sweep: SweepRecord) -> Iterator[Item]:
    return store.read_items(sweep.session_id, sweep.from_us, END_US if sweep.to_us is None else sweep.to_us)


def _setting(recording: Recording) -> tuple[Rig, Calibration]:
    header = recording.header
    try:
        return parse_rig(header["rig"]), from_dict(header["calibration"])
    except (KeyError, TypeError, RigError, ValueError) as error:
        raise BadRecording(f"{recording.path}: header without a usable rig or calibration: {error}") from error
