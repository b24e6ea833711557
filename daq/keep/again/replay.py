"""Runs a recording through the pipeline again, from the wire bytes of a board or a transmitter."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from daq.items import BOARD, Event, Item, WireBytes
from daq.keep.again.beginnings import with_beginning
from daq.keep.bounded import Patience, Refused
from daq.keep.errors import StoreDamaged
from daq.keep.received import checked
from daq.keep.recording import Recorded, Recording
from daq.keep.recording_blocks import BadRecording
from daq.measure.calibration import from_dict
from daq.pipeline import item_of
from daq.refusals import NotNow
from daq.ride import Heard, Ride
from daq.rig_file import RigError, parse_rig
from daq.transmitters import ScaleGreeting, TransmitterDecoder, decoder_of
from daq.values import Samples
from daq.wire.board import BoardDecoder, HelloBody

OF_A_STORE = "restore a backup, or salvage the store"
OF_AN_EXPORT = "export the sweep again from the store it is in"
"""What to do when something is lost without a trace."""


def replayed(recording: Recording) -> Iterator[Heard]:
    """Everything the pipeline computes from a recording; if blocks are lost, from the rest, and its last answer says
    so. Raises BadRecording if its header lacks rig or calibration, if something in it cannot have been received by a
    session, or if computing it takes far longer than its length allows.
    """
    ride, decoded = _set_up(recording)
    patience = Patience(recording.path, Patience.REPLAYED)
    for item in decoded:
        try:
            patience.left()
            yield from ride.feed_again(checked(item))
        except Refused as error:
            raise BadRecording(str(error)) from error
        except (ArithmeticError, LookupError, TypeError, ValueError, NotNow) as error:
            where = f"{recording.path}: {_at(item)}"
            raise BadRecording(f"{where}: {type(error).__name__}: {error}") from error
    yield from ride.concluded()


def run(ride: Ride, items: Iterable[Item], remedy: str = OF_A_STORE) -> Iterator[Heard]:
    """The outputs of a stored sweep's items; an event of daq.items.LOST takes the place of anything lost. The last
    answer then says so, even if the step it would have come with is lost. StoreDamaged if something is lost and nothing
    says so: then the fitter's events do not fit the rest. remedy: what it says to do.
    """
    for item in items:
        try:
            yield from ride.feed_again(item)
        except NotNow as error:
            at_s = item.received_us / 1e6 if isinstance(item, Event) else 0.0
            raise StoreDamaged(
                f"at {at_s:.1f} s what the fitter did does not fit what was received ({error}): something before it is "
                f"lost without a trace; {remedy}"
            ) from error
    yield from ride.concluded()


def wire_items(
    recorded: Iterable[Recorded], decoder: BoardDecoder | TransmitterDecoder | ScaleGreeting
) -> Iterator[Item]:
    """The recorded items, with the bytes of the rig's loads decoded."""
    for entry in recorded:
        if not isinstance(entry, WireBytes):
            yield entry
            continue
        for received_us, said in decoder.feed_pieces([(entry.received_us, entry.payload)]):
            if isinstance(said, Samples | HelloBody):
                yield item_of(said, received_us)


def _set_up(recording: Recording) -> tuple[Ride, Iterator[Item]]:
    header = recording.header
    try:
        text = header["rig"]
        if not isinstance(text, str):
            raise TypeError(f"rig: expected the text of a rig file, got {type(text).__name__}")
        rig = parse_rig(text)
        ride = Ride(rig, from_dict(header["calibration"]))
        plan = header.get("plan")
        decoded = wire_items(recording.items(), decoder_of(rig, BOARD))
        return ride, with_beginning(decoded, plan if isinstance(plan, dict) else None, None)
    except (KeyError, TypeError, RigError, ValueError) as error:
        raise BadRecording(f"{recording.path}: header without a usable rig or calibration: {error}") from error


def _at(item: Item) -> str:
    received_us = int(item.received_us[0]) if isinstance(item, Samples) else item.received_us
    return f"{type(item).__name__.lower()} at {received_us / 1e6:.3f} s"
