"""A recording through the pipeline again, from its wire bytes, a board's or a transmitter's."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from daq.items import Item, WireBytes
from daq.keep.recording import BadRecording, Recorded, Recording
from daq.measure.calibration import Calibration, from_dict
from daq.pipeline import BOARD, item_of
from daq.ride import Heard, Ride
from daq.rig import Rig, RigError, parse_rig
from daq.transmitters import decoder_of
from daq.values import Samples
from daq.wire.board import Hello


def replayed(recording: Recording) -> Iterator[Heard]:
    """Everything the pipeline makes of a recording. Raises BadRecording when its header lacks rig or calibration."""
    rig, calibration = _setting(recording)
    yield from run(Ride(rig, calibration), wire_items(recording.items(), rig))


def run(ride: Ride, items: Iterable[Item]) -> Iterator[Heard]:
    """What follows from the items."""
    for item in items:
        yield from ride.feed(item)


def wire_items(recorded: Iterable[Recorded], rig: Rig) -> Iterator[Item]:
    """What was recorded with the bytes of the rig's loads decoded."""
    decoder = decoder_of(rig, BOARD)
    for entry in recorded:
        if not isinstance(entry, WireBytes):
            yield entry
            continue
        for received_us, said in decoder.feed_pieces([(entry.received_us, entry.payload)]):
            if isinstance(said, Samples | Hello):
                yield item_of(said, received_us)


def _setting(recording: Recording) -> tuple[Rig, Calibration]:
    header = recording.header
    try:
        return parse_rig(header["rig"]), from_dict(header["calibration"])
    except (KeyError, TypeError, RigError, ValueError) as error:
        raise BadRecording(f"{recording.path}: header without a usable rig or calibration: {error}") from error
