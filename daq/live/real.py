"""A session on real sensors: rig file, calibration, store and links put together."""

from __future__ import annotations

import contextlib
import datetime
import os
import signal
import socket
from collections.abc import Sequence
from functools import partial
from pathlib import Path

from daq import __version__
from daq.keep.bounded import MOST_CALIBRATION_BYTES, Refused, from_json, read_bytes, read_text
from daq.keep.recording import RecordingWriter
from daq.keep.store import Store
from daq.live.daemon import serve
from daq.live.lab.layer import Scope
from daq.live.lab.links import links_to_lab
from daq.live.links import Link, links_of
from daq.live.session.acquisition import Rider
from daq.live.session.resuming import RESUME_WITHIN, interrupted, left_open, resume
from daq.live.session.session import Session
from daq.live.session.storing import Storing
from daq.live.systemd import report_to_manager
from daq.live.web.access import Keys
from daq.live.web.passes import Passes
from daq.measure.calibration import CalibratedChannel, Calibration, from_dict, in_order, to_dict
from daq.rig import Rig
from daq.rig_file import MOST_BYTES, RigError, parse_rig
from daq.sources.clock import SessionClock, steady_ns
from daq.sweep.spreads import SpreadPriors
from daq.transmitters import calibration_of, calibration_of_scale, check_transmitter
from daq.values import UNKNOWN_UTC


def read_rig(path: Path) -> tuple[str, Rig, Calibration]:
    """The rig file's text, the rig, and the calibration it names. RigError that says what is wrong with which file."""
    try:
        text = read_text(path, MOST_BYTES)
    except Refused as error:
        raise RigError(f"rig file {error}") from error
    except (OSError, ValueError) as error:
        raise RigError(f"rig file {path}: {getattr(error, 'strerror', None) or error}") from error
    rig = parse_rig(text, name=str(path))
    check_transmitter(rig)
    return text, rig, _calibration(rig, path)


def _calibration(rig: Rig, path: Path) -> Calibration:
    if rig.typed is not None:
        return calibration_of_scale(rig, rig.typed)
    if rig.calibration is None and rig.transmitter is not None:
        return calibration_of(rig.transmitter)
    if rig.calibration is None:
        return uncalibrated(rig)
    file = path.parent / rig.calibration
    try:
        calibration = from_dict(from_json(read_bytes(file, MOST_CALIBRATION_BYTES)))
        in_order(calibration, [channel.name for channel in rig.channels])
        return calibration
    except OSError as error:
        raise RigError(
            f"{path}: calibration: cannot read {file}: {error.strerror}; without one yet, leave the line out "
            "until `foreaft calibrate bench` has written it"
        ) from error
    except (ValueError, KeyError, TypeError) as error:
        raise RigError(f"{path}: calibration: {file} is not a calibration: {error}") from error


def uncalibrated(rig: Rig) -> Calibration:
    """The placeholder until there is a calibration: every load unknown, everything recorded."""
    return Calibration(
        "none", UNKNOWN_UTC, tuple(CalibratedChannel(channel.name, "unused") for channel in rig.channels)
    )


def begin(store: Store, *, rig_text: str, calibration: Calibration, simulated: bool, clock: SessionClock) -> Storing:
    """A new session in the store, ready for data."""
    now = datetime.datetime.now(datetime.UTC) - datetime.timedelta(microseconds=clock.now_us())
    session_id = store.begin_session(
        started_utc=now.astimezone().isoformat(timespec="milliseconds"),
        monotonic_origin_ns=steady_ns() - clock.now_us() * 1000,
        software=f"foreaft {__version__}",
        rig=rig_text,
        calibration=to_dict(calibration),
        simulated=simulated,
    )
    return Storing(store, session_id)


async def serve_rig(
    path: Path,
    store: Store,
    rider: Rider,
    listener: socket.socket,
    *,
    keys: Keys | None = None,
    names: Sequence[str] = (),
    passes: Passes | None = None,
    proxies: Sequence[str] = (),
    record: Path | None = None,
    resume_within: datetime.timedelta = RESUME_WITHIN,
    priors: SpreadPriors | None = None,
    lab: Scope | None = None,
    markers: Sequence[str] = (),
) -> signal.Signals | None:
    """Run the daemon on the jig of a rig file until a signal ends it; returns the signal. Resumes a sweep that was cut
    off. record: also write a recording to this new file. FileExistsError rather than overwrite one; OSError. priors:
    what another workshop learned about the scatter between days and sweeps. lab: who may hear the streams of the Lab
    Streaming Layer, None: nobody; markers: names of streams whose markers are kept. LabUnusable.
    """
    text, rig, calibration = read_rig(path)
    now = datetime.datetime.now(datetime.UTC)
    recorder = None
    sweep = interrupted(store, rig_text=text, calibration=calibration, now=now, within=resume_within)
    if sweep is not None:
        session = resume(store, sweep, rig, calibration, now=now, simulated=False)
        if record is not None:
            session.acquisition.notice(
                "caution", "a sweep that was cut off goes on: no recording, its beginning would be missing"
            )
    else:
        clock = SessionClock()
        recorder = None if record is None else RecordingWriter(record, _header(text, calibration, now))
        storing = begin(store, rig_text=text, calibration=calibration, simulated=False, clock=clock)
        session = Session(rig, calibration, clock, rider, storing=storing, recorder=recorder)
        if told := left_open(store, now):
            session.acquisition.notice("caution", told)
    session.priors = priors
    lab_links = [] if lab is None else links_to_lab(session.acquisition, lab, markers)
    manager = partial(report_to_manager, os.environ, lambda: _condition(session))
    with recorder or contextlib.nullcontext():
        return await serve(
            session,
            [*links_of(session), *lab_links, manager],
            listener=listener,
            keys=keys,
            names=names,
            passes=passes,
            proxies=proxies,
        )


def _header(rig_text: str, calibration: Calibration, now: datetime.datetime) -> dict[str, object]:
    """The header of a recording that begins now."""
    provenance = f"a jig; foreaft {__version__} serve, begun {now.isoformat(timespec='seconds')}"
    return {"rig": rig_text, "calibration": to_dict(calibration), "simulated": False, "provenance": provenance}


def on_rig(path: Path, store: Store) -> tuple[Session, list[Link]]:
    """A new session on the board of a rig file, without a rider, and its links: for work at the bench."""
    text, rig, calibration = read_rig(path)
    clock = SessionClock()
    storing = begin(store, rig_text=text, calibration=calibration, simulated=False, clock=clock)
    session = Session(rig, calibration, clock, Rider("R-0000", None), storing=storing)
    return session, links_of(session)


def _condition(session: Session) -> str:
    """The daemon's state, in one line."""
    troubles = session.acquisition.troubles()
    return "; ".join(f"{name}: {trouble}" for name, trouble in troubles.items() if trouble) or "all well"
