"""Checks of the computer: room to record, clock, ports, Bluetooth."""

from __future__ import annotations

import datetime
import os
import shutil
import time
from pathlib import Path

from serial.tools import list_ports

from daq.keep.errors import StoreError
from daq.keep.store import Store
from daq.live.checkup.check import CAUTION, FAILED, WELL, PartState
from daq.sources.radio import BluetoothTrouble, Radio
from daq.sources.serial_port import described

ROOM_LITTLE_BYTES, ROOM_NONE_BYTES = 2_000_000_000, 100_000_000
BYTES_AN_HOUR = 60_000_000
"""Recorded in an hour with 8 channels at 1 kHz, about 2 bytes per count."""
NETWORK_TIME = Path("/run/systemd/timesync/synchronized")
"""Exists when systemd has set the clock from the network since boot."""
COARSEST_S = 1e-5
WEAK_DBM = -85
"""Common practice, no source."""


def check_disk(store: Path) -> PartState:
    """Room and permission where the store lies or will lie."""
    folder = next(parent for parent in store.absolute().parents if parent.is_dir())
    free = shutil.disk_usage(folder).free
    figures = {"free_bytes": free, "hours": round(free / BYTES_AN_HOUR)}
    words = f"{free / 1e9:.1f} GB free at {folder}, about {free / BYTES_AN_HOUR:.0f} h of 8 channels at 1 kHz"
    if not os.access(store if store.exists() else folder, os.W_OK):
        return PartState("disk", FAILED, f"this user may not write to {store if store.exists() else folder}", figures)
    if free < ROOM_NONE_BYTES:
        return PartState("disk", FAILED, f"{words}: make room before the next sweep", figures)
    return PartState("disk", CAUTION if free < ROOM_LITTLE_BYTES else WELL, words, figures)


def check_clock(store: Path) -> PartState:
    """The clock that dates the records, and the one that times them."""
    now = datetime.datetime.now(datetime.UTC)
    resolution_s = time.get_clock_info("monotonic").resolution
    figures = {"now_utc": now.isoformat(timespec="seconds"), "resolution_s": resolution_s}
    if resolution_s > COARSEST_S:
        return PartState(
            "clock", FAILED, f"the timer counts in steps of {resolution_s:g} s: too coarse for a board", figures
        )
    last = _last_session(store)
    if last is not None and now < last:
        return PartState(
            "clock",
            FAILED,
            f"the clock says {figures['now_utc']}, but the last session began at {last.isoformat(timespec='seconds')}: "
            "set the clock, or records get wrong dates",
            figures,
        )
    if not NETWORK_TIME.exists():
        words = f"says {figures['now_utc']}; not known to be set by the network: check whether that is right"
        return PartState("clock", CAUTION, words, figures)
    return PartState("clock", WELL, f"says {figures['now_utc']}, set by the network", figures)


def _last_session(store: Path) -> datetime.datetime | None:
    if not store.exists():
        return None
    try:
        with Store.open(store, write=False) as opened:
            begun = [session.started_utc for session in opened.sessions()]
    except StoreError:
        return None
    return datetime.datetime.fromisoformat(begun[-1]) if begun else None


def check_ports() -> list[PartState]:
    """Every serial port with a device behind it, and whether this user may open it."""
    found = []
    for port in list_ports.comports():
        usb_id = f"{port.vid:04x}:{port.pid:04x}" if port.vid is not None else None
        figures = {"port": port.device, "usb_serial": port.serial_number, "usb_id": usb_id}
        words = f"{described(port)}{f', usb_id {usb_id}, usb_serial {port.serial_number}' if usb_id else ''}"
        if os.access(port.device, os.R_OK | os.W_OK):
            found.append(PartState("port", WELL, words, figures))
        else:
            remedy = "this user may not open it: add the user to its group (often dialout) and log in again"
            found.append(PartState("port", CAUTION, f"{words}: {remedy}", figures))
    return found or [PartState("port", CAUTION, "no serial port is plugged in")]


async def check_bluetooth(radio: Radio, seconds: float, *, needed: bool) -> PartState:
    """Adapter and sensors in range. needed: the rig has such a sensor, so a missing one is a failure."""
    try:
        seen = [sensor for sensor in await radio.scan(seconds) if sensor.services]
    except BluetoothTrouble as trouble:
        return PartState("bluetooth", FAILED if needed else CAUTION, str(trouble))
    figures = {"sensors": [{"address": s.address, "name": s.name, "rssi_dbm": s.rssi_dbm} for s in seen]}
    if not seen:
        words = f"adapter well; no sensor in range within {seconds:g} s: turn the cranks"
        return PartState("bluetooth", CAUTION if needed else WELL, words, figures)
    words = f"adapter well; in range: {', '.join(map(str, seen))}"
    weak = needed and seen[0].rssi_dbm < WEAK_DBM
    return PartState(
        "bluetooth", CAUTION if weak else WELL, words + ("; weak, bring it nearer" if weak else ""), figures
    )
