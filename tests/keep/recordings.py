"""Recordings for tests: written by the program, made by hand, and harmed."""

import json
import struct
import zlib

import pyarrow
import zstandard

from daq.items import Event, Notification, WireBytes
from daq.keep.recording import RecordingWriter
from daq.keep.recording_blocks import MAGIC

HEADER = {"rig": 'name = "workshop"\n', "rider_mass_kg": 71.5, "simulated": True, "onset_mm": 93.25}
UUID = "00002a63-0000-1000-8000-00805f9b34fb"
ITEMS = [
    WireBytes(900, "jig", bytes(range(256))),
    Notification(1_000, "power", UUID, b"\x30\x00"),
    WireBytes(1_900, "jig", b""),
    Event(2_000_000, "saddle_moved", {"setback_mm": 95.5}),
    WireBytes(8_000_000, "jig", b"later"),
]
MINUTES = [WireBytes(1_000_000 * i, "jig", b"%d" % i) for i in range(150)]
WIRE = ["wire", "board"]


def write(path, items, header=HEADER):
    with RecordingWriter(path, header) as writer:
        for item in items:
            writer.add(item)


def blocks_of(content):
    """The unpacked blocks, by the layout in the module's docstring; zstd through Apache Arrow."""
    at = content.index(b"\n") + 1
    while at < len(content):
        length, crc = struct.unpack_from("<II", content, at)
        packed = content[at + 8 : at + 8 + length]
        assert zlib.crc32(packed) == crc
        with pyarrow.input_stream(pyarrow.py_buffer(packed), compression="zstd") as stream:
            yield stream.read()
        at += 8 + length


def places_of_blocks(content):
    """Where each block begins, by the layout in the module's docstring."""
    at = len(MAGIC)
    while at < len(content):
        yield at
        at += 8 + struct.unpack_from("<I", content, at)[0]


def harmed(path, at, bit=0x10, length=None):
    """The file with one bit flipped, cut off to a length."""
    content = bytearray(path.read_bytes())
    content[at] ^= bit
    path.write_bytes(content[:length])


def block(content, level=3):
    packed = zstandard.ZstdCompressor(level=level).compress(content)
    return struct.pack("<II", len(packed), zlib.crc32(packed)) + packed


def table_block(kind, *payloads, **changes):
    """A block of items of one kind, a millisecond apart; changes: other columns of its table."""
    count = len(payloads)
    sizes = [len(payload) for payload in payloads]
    table = {"kinds": [kind], "of": [0] * count, "dt_us": [1000] * count, "size": sizes, **changes}
    text = json.dumps(table).encode()
    return block(struct.pack("<I", len(text)) + text + b"".join(payloads))


def hand_made(path, *blocks, header=HEADER, end=b'{"end": true}'):
    content = header if isinstance(header, bytes) else json.dumps(header).encode()
    path.write_bytes(MAGIC + b"".join([block(content), *blocks, block(end)]))
    return path
