"""A sweep read from a store for recomputation, with its gaps; or why that is impossible."""

from __future__ import annotations

from collections.abc import Iterator

from daq.items import Item
from daq.keep.again.beginnings import with_beginning
from daq.keep.errors import StoreDamaged
from daq.keep.received import checked
from daq.keep.store import Store
from daq.keep.store.reading import END_US
from daq.keep.store.sessions import SessionRecord, SweepRecord
from daq.measure.calibration import Calibration, from_dict
from daq.rig import Rig
from daq.rig_file import RigError, parse_rig


def items_of(store: Store, sweep: SweepRecord) -> Iterator[Item]:
    """Everything received during a sweep; an event of daq.items.LOST takes the place of anything lost. StoreDamaged for
    what no daemon of ours receives: a store may come from elsewhere, with valid checksums on anything."""
    to_us = END_US if sweep.to_us is None else sweep.to_us
    try:
        items = map(checked, store.read_items(sweep.session_id, sweep.from_us, to_us, gaps=True))
        yield from with_beginning(items, sweep.plan, sweep.rider.get("mass_kg"))
    except ValueError as error:
        raise StoreDamaged(f"sweep {sweep.id} holds what cannot be: {error}") from error


def rig_of(session: SessionRecord) -> Rig:
    """The rig a session was ridden on. StoreDamaged if its text is lost."""
    try:
        return parse_rig(session.rig)
    except RigError as error:
        raise StoreDamaged(
            f"the rig file of session {session.id} is lost: its counts make no loads any more, but can be exported"
        ) from error


def calibration_of(store: Store, sweep: SweepRecord) -> Calibration:
    """The calibration a sweep was ridden with. StoreDamaged if it is lost."""
    try:
        return from_dict(store.calibration(sweep.calibration_id))
    except (KeyError, TypeError, ValueError) as error:
        raise StoreDamaged(
            f"the calibration of sweep {sweep.id} is lost: name another with --calibration, or export its counts"
        ) from error
