"""`foreaft probe`: what is behind a port, or in Bluetooth range."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

import click

from daq.cli.telling import MISSING, fail, json_flag, print_json, say, tell
from daq.sources import loop
from daq.words import counted

if TYPE_CHECKING:
    from daq.sources.modbus_probe import ModbusFinding
    from daq.sources.radio import SensorInRange
    from daq.sources.sniff import PortFinding

BLUETOOTH = "bluetooth"
NOT_RECOGNISED = 1


@click.command()
@click.argument("place")
@click.option("--baud", type=click.IntRange(1200, 12_000_000), help="Only this one; default: the usual ones in turn.")
@click.option(
    "--seconds", default=3.0, show_default=True, type=click.FloatRange(0.2, 600), help="Seconds to listen, per baud."
)
@click.option("--modbus", "unit", type=click.IntRange(1, 247), metavar="UNIT", help="Ask this Modbus unit instead.")
@click.option("--function", default="3", show_default=True, type=click.Choice(["3", "4"]), help="Modbus function.")
@click.option("--address", default=0, show_default=True, type=click.IntRange(0, 65_534), help="Register, from 0.")
@json_flag
def probe(
    place: str, baud: int | None, seconds: float, unit: int | None, function: str, address: int, as_json: bool
) -> None:
    """Say what PLACE is: a serial port such as /dev/ttyACM0, or the word "bluetooth" for the sensors in range.

    Protocol, rate, channels and noise, or why it cannot tell. Exit code 0 if it was recognised, 1 if not, 3 if the port
    or the adapter cannot be used.
    """
    from daq.keep.json_text import plain
    from daq.sources import listening, modbus_probe
    from daq.sources.radio import BluetoothTrouble, Radio
    from daq.sources.serial_port import PortTrouble

    try:
        if place == BLUETOOTH:
            seen = loop.run(Radio().scan(seconds))
            content, lines = [dataclasses.asdict(sensor) for sensor in seen], bluetooth_lines(seen, seconds)
            recognised = bool(seen)
        elif unit is not None:
            asked = modbus_probe.BAUDS if baud is None else (baud,)
            answer = loop.run(modbus_probe.ask(place, unit=unit, function=int(function), address=address, bauds=asked))
            content, lines, recognised = [dataclasses.asdict(answer)], modbus_lines(place, answer), answer.answered
        else:
            bauds = listening.BAUDS if baud is None else (baud,)
            at, found = listening.probe(
                place, bauds=bauds, seconds=seconds, trying=lambda b: tell(f"listening at {b} baud")
            )
            content, lines = [{"port": place, "baud": at, **dataclasses.asdict(found)}], port_lines(place, at, found)
            recognised = bool(found.protocol)
    except (PortTrouble, BluetoothTrouble) as trouble:
        fail(MISSING, trouble)
    if as_json:
        print_json(plain(content) if place == BLUETOOTH else plain(content[0]))
    else:
        say("\n".join(lines))
    raise SystemExit(0 if recognised else NOT_RECOGNISED)


def port_lines(place: str, baud: int, found: PortFinding) -> list[str]:
    """A finding in readable form."""
    lines = [f"{place} at {baud} baud: {found.words}"]
    if found.rate_hz is not None:
        lines.append(f"  {found.rate_hz:.1f} a second, {found.dropped} dropped, {found.damaged} damaged")
    for channel in found.channels:
        rest = f"   {channel.rest}" if channel.rest else ""
        lines.append(
            f"  {channel.name:20s} mean {channel.mean:12.1f} {channel.unit}   noise {channel.noise_rms:8.2f} rms{rest}"
        )
    if found.crank_marks:
        lines.append(f"  crank mark seen {counted(found.crank_marks, 'time')}")
    lines += [f"  such as {line!r}" for line in found.examples]
    if found.pattern is not None:
        lines.append(f"  for the rig file: pattern = '{found.pattern}'")
    if found.data_bits != 8:
        lines.append(f'                    data_bits = {found.data_bits}, parity = "{found.parity}"')
    return lines


def modbus_lines(place: str, found: ModbusFinding) -> list[str]:
    """A unit's answer in readable form."""
    lines = [f"{place} at {found.baud} baud, parity {found.parity}: {found.words}"]
    return lines + [f"  as {kind:8s} word order {order:7s} {number:g}" for kind, order, number in found.readings]


def bluetooth_lines(seen: list[SensorInRange], seconds: float) -> list[str]:
    """The sensors in range in readable form."""
    return [str(sensor) for sensor in seen] or [f"no sensor in range within {seconds:g} s: turn the cranks, look again"]
