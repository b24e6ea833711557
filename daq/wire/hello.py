"""A board's hello: who it is, which protocol it speaks, what its channels are. Sent once a second and on request.

    uint8 type = 1 | uint8 version | uint8 flags | uint8 k | uint32 ticks_us | uint32 scan rate, 1/1000 Hz
    | uint32 boot | 8 bytes board id | text firmware | k channels

    channel = uint8 kind | uint8 bits | uint16 gain | uint32 conversion rate, 1/1000 Hz
              | float32 units per count | text name
    text    = uint8 length | UTF-8

Little-endian; the board id is written byte by byte. The offsets of type and version never change.
"""

from __future__ import annotations

import enum
import re
import struct
from dataclasses import dataclass

import numpy as np

from daq.wire.frames import frame
from daq.wire.scans import MAX_CHANNELS

HELLO = 0x01
VERSION = 1
RUNNING = 1
"""Flag: scans are being sent."""
MAX_FIRMWARE_BYTES = 64
_HEAD = struct.Struct("<BBBBIII8s")
_CHANNEL = struct.Struct("<BBHIf")
_NAME = re.compile(r"[a-z][a-z0-9_]{0,31}")


class ChannelKind(enum.IntEnum):
    """What a channel measures, which determines the unit of `units_per_count`."""

    OTHER = 0
    BRIDGE = 1
    """mV/V per count."""
    TILT = 2
    """Degrees per count."""
    TEMPERATURE = 3
    """Degrees Celsius per count."""
    POSITION = 4
    """Millimetres per count. A host that does not know it treats it as OTHER."""


@dataclass(frozen=True, slots=True)
class Channel:
    """One column of the scans."""

    name: str
    """Lower case letters, digits and _, as the rig file names it."""
    kind: ChannelKind
    gain: int
    """Of the amplifier in front of the converter; 1 if there is none."""
    rate_hz: float
    """New conversions per second; below the scan rate, the last one is repeated."""
    bits: int = 24
    """Counts run from -2^(bits-1) to 2^(bits-1) - 1; at either end the converter is saturated."""
    units_per_count: float | None = None
    """float32; None if the board does not know it."""


@dataclass(frozen=True, slots=True)
class HelloBody:
    """What a board says about itself."""

    board_id: str
    """16 hexadecimal digits, fixed for the life of the board."""
    boot: int
    """Differs after each start of the board: a counter kept in flash, or a random number."""
    firmware: str
    scan_rate_hz: float
    channels: tuple[Channel, ...]
    ticks_us: int = 0
    running: bool = True
    version: int = VERSION


def version_of(body: bytes) -> int:
    """The protocol version a hello names, whatever else it contains."""
    return body[1] if len(body) > 1 else 0


def encode_hello(hello: HelloBody) -> bytes:
    """The frame of a hello. ValueError that names the field for anything the wire cannot carry."""
    _check(hello)
    board_id = bytes.fromhex(hello.board_id)
    flags = RUNNING if hello.running else 0
    body = _HEAD.pack(
        HELLO,
        hello.version,
        flags,
        len(hello.channels),
        hello.ticks_us & 0xFFFFFFFF,
        round(hello.scan_rate_hz * 1000),
        hello.boot,
        board_id,
    )
    return frame(body + _text(hello.firmware) + b"".join(map(_encode_channel, hello.channels)))


def decode_hello(body: bytes) -> HelloBody:
    """The hello in this body. ValueError that says what is wrong with it."""
    if len(body) < _HEAD.size:
        raise ValueError(f"hello has {len(body)} bytes: expected at least {_HEAD.size}")
    _, version, flags, k, ticks_us, rate, boot, board_id = _HEAD.unpack_from(body)
    firmware, at = _read_text(body, _HEAD.size, "firmware")
    channels = []
    for i in range(k):
        channel, at = _decode_channel(body, at, i)
        channels.append(channel)
    if at != len(body):
        raise ValueError(f"hello has {len(body) - at} bytes after its {k} channels: expected none")
    hello = HelloBody(
        board_id.hex(), boot, firmware, rate / 1000, tuple(channels), ticks_us, bool(flags & RUNNING), version
    )
    _check(hello)
    return hello


def _encode_channel(channel: Channel) -> bytes:
    units = channel.units_per_count or 0.0
    rate = round(channel.rate_hz * 1000)
    return _CHANNEL.pack(channel.kind, channel.bits, channel.gain, rate, units) + _text(channel.name)


def _decode_channel(body: bytes, at: int, i: int) -> tuple[Channel, int]:
    if at + _CHANNEL.size > len(body):
        raise ValueError(f"hello ends inside channel {i}")
    kind, bits, gain, rate, units = _CHANNEL.unpack_from(body, at)
    name, at = _read_text(body, at + _CHANNEL.size, f"name of channel {i}")
    known = ChannelKind(kind) if kind in ChannelKind.__members__.values() else ChannelKind.OTHER
    return Channel(name, known, gain, rate / 1000, bits, units or None), at


def _check(hello: HelloBody) -> None:
    """ValueError for a hello no host could use."""
    names = [channel.name for channel in hello.channels]
    if not 0 < len(names) <= MAX_CHANNELS:
        raise ValueError(f"hello names {len(names)} channels: expected 1 to {MAX_CHANNELS}")
    if len(hello.firmware.encode()) > MAX_FIRMWARE_BYTES:
        raise ValueError(f"hello: firmware text is longer than {MAX_FIRMWARE_BYTES} bytes")
    if not re.fullmatch(r"[0-9a-f]{16}", hello.board_id):
        raise ValueError(f"hello: board id {hello.board_id!r}: expected 16 hexadecimal digits in lower case")
    for name in names:
        if not _NAME.fullmatch(name):
            raise ValueError(f"hello: channel name {name!r}: expected lower case letters, digits and _, at most 32")
        if names.count(name) > 1:
            raise ValueError(f"hello: channel name {name!r} appears twice")
    for channel in hello.channels:
        if not 2 <= channel.bits <= 32:
            raise ValueError(f"hello: channel {channel.name} has {channel.bits} bits: expected 2 to 32")
        if channel.units_per_count is not None and not np.isfinite(channel.units_per_count):
            raise ValueError(f"hello: units per count of channel {channel.name} is not a number")


def _text(text: str) -> bytes:
    raw = text.encode()
    return bytes([len(raw)]) + raw


def _read_text(body: bytes, at: int, what: str) -> tuple[str, int]:
    end = at + 1 + body[at] if at < len(body) else len(body) + 1
    if end > len(body):
        raise ValueError(f"hello ends inside the {what}")
    try:
        return body[at + 1 : end].decode(), end
    except UnicodeDecodeError as error:
        raise ValueError(f"hello: {what} is not UTF-8: {body[at + 1 : end]!r}") from error
