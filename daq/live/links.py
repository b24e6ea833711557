"""The links named in a rig file, connected to a session: data goes to it, faults are shown with their sensor."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from functools import partial
from typing import Any

from daq.items import BOARD, CADENCE, HEART, POWER
from daq.live.session.session import Session
from daq.live.session.tare_button import TareButton
from daq.refusals import NotNow
from daq.rig import BleSensor, TextTransmitter
from daq.rig_file import RigError
from daq.sources.ble import BleLink
from daq.sources.board_link import BoardLink
from daq.sources.modbus_link import ModbusLink
from daq.sources.radio import BluetoothTrouble, Radio
from daq.sources.text_link import TextLink
from daq.transmitters import registers_of

Link = Callable[[], Coroutine[Any, Any, None]]


def links_of(session: Session) -> list[Link]:
    """The links to the rig's sensors; their faults are shown with the sensors."""
    return [*_loads_links(session), *_bluetooth_links(session)]


def _loads_links(session: Session) -> list[Link]:
    """The board's link with its tare button, or the transmitter's instead."""
    at = session.acquisition
    rig, clock = at.rig, at.clock

    def problem() -> str:
        return at.sensors.decoder.problem

    if rig.typed is not None:

        async def greet() -> None:
            at.sensors.arrive_bytes(clock.stamp_us(), b"")
            await asyncio.Event().wait()

        return [greet]
    if isinstance(rig.transmitter, TextTransmitter):
        lines = TextLink(rig.transmitter, clock, at.sensors.arrive_bytes, problem)
        at.sensors.told = lines.heard
        at.sensors.links[BOARD] = lambda: lines.message
        return [lines.run]
    if rig.transmitter is not None:
        polled = ModbusLink(rig.transmitter, registers_of(rig.transmitter), clock, at.sensors.arrive_bytes)
        at.sensors.links[BOARD] = lambda: polled.message
        return [polled.run]
    if rig.board is None:
        raise RigError("neither a board nor a transmitter to connect")
    gains = {channel.name: channel.gain for channel in rig.channels if channel.gain is not None}
    board = BoardLink(rig.board, clock, at.sensors.arrive_bytes, gains=gains, problem=problem)
    at.sensors.told = board.heard
    at.sensors.links[BOARD] = lambda: board.message
    button = TareButton(
        asked=lambda: at.sensors.tare_asked, take=session.zero.take, notice=at.notice, tell_board=board.tare_done
    )
    return [board.run, button.run]


def _bluetooth_links(session: Session) -> list[Link]:
    at, radio = session.acquisition, Radio()
    links: list[Link] = []
    for name in (POWER, CADENCE, HEART):
        sensor: BleSensor | None = getattr(at.rig, name)
        if sensor is None:
            continue
        arrive = partial(at.sensors.arrive_notification, source=name)
        link = BleLink(sensor, name, radio, at.clock, arrive, at.notice)
        at.sensors.links[name] = partial(getattr, link, "message")
        if name == POWER:
            at.sensors.compensate = partial(_compensated, link)
        links.append(link.run)
    return links


async def _compensated(link: BleLink) -> str:
    try:
        return await link.compensate_offset()
    except BluetoothTrouble as trouble:
        raise NotNow(str(trouble)) from trouble
