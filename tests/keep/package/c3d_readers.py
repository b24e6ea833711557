"""Readers of C3D files that share nothing with the writer: ezc3d, where there is a wheel of it, and one made here from
the format's description (The C3D File Format User Guide, c3d.org)."""

import platform
import struct
from dataclasses import dataclass
from typing import Any

import numpy as np

BLOCK = 512
INTEL = 84
"""The processor type of little-endian files: 83 and the number, from 1, of its kind."""
KINDS = {-1: "S1", 1: "<i1", 2: "<i2", 4: "<f4"}
"""Types of parameters by their code."""


@dataclass(frozen=True)
class Read:
    """What stands in a file."""

    analog: Any
    """(channels, samples)."""
    parameters: dict[str, dict[str, Any]]
    """Group and parameter to an array: texts as one each, numbers as stored, the first dimension last."""

    def texts(self, group, name):
        return [one.strip() for one in self.parameters[group][name]]

    def number(self, group, name):
        return float(np.ravel(self.parameters[group][name])[0])


def by_description(path):
    """The file as the user guide lays it out: header, parameters, frames."""
    data = path.read_bytes()
    parameters_at, mark = data[0], data[1]
    assert mark == 0x50
    points, analog_per_frame, first, last, _ = struct.unpack_from("<5H", data, 2)
    (scale,) = struct.unpack_from("<f", data, 12)
    data_at, per_channel = struct.unpack_from("<2H", data, 16)
    assert scale < 0.0, "a negative scale says that samples are floats"
    parameters = _parameters(data, BLOCK * (parameters_at - 1))
    frames, channels = last - first + 1, analog_per_frame // per_channel
    found = np.frombuffer(data, "<f4", frames * (4 * points + analog_per_frame), BLOCK * (data_at - 1))
    samples = found.reshape(frames, -1)[:, 4 * points :].reshape(-1, channels).T
    analog = parameters["ANALOG"]
    scales, offsets = (np.ravel(analog[name]).astype(float)[:, None] for name in ("SCALE", "OFFSET"))
    return Read((samples - offsets) * scales * float(np.ravel(analog["GEN_SCALE"])[0]), parameters)


def by_ezc3d(path):
    import ezc3d

    read = ezc3d.c3d(str(path))
    groups = {group: {name: _value(one) for name, one in read["parameters"][group].items()} for group in GROUPS}
    return Read(read["data"]["analogs"][0], groups)


GROUPS = ("ANALOG", "EVENT", "FOREAFT")
READERS = (by_description,) if platform.machine() == "aarch64" else (by_description, by_ezc3d)
"""Of ezc3d there is no wheel for a small single-board computer."""


def _value(one):
    return one["value"] if isinstance(one, dict) and "value" in one else None


def _parameters(data, at):
    assert data[at + 3] == INTEL
    at += 4
    names, found = {}, {}
    while data[at]:
        length, number = struct.unpack_from("<bb", data, at)
        name = data[at + 2 : at + 2 + abs(length)].decode()
        next_at = at + 2 + abs(length)
        (offset,) = struct.unpack_from("<h", data, next_at)
        if number < 0:
            names[-number] = name
        else:
            found.setdefault(number, {})[name] = _parameter(data, next_at + 2)
        if not offset:
            break
        at = next_at + offset
    return {names[number]: values for number, values in found.items()}


def _parameter(data, at):
    kind, dimensions = struct.unpack_from("<bB", data, at)
    shape = tuple(data[at + 2 : at + 2 + dimensions])
    values = np.frombuffer(data, KINDS[kind], int(np.prod(shape, dtype=int)), at + 2 + dimensions)
    if kind != -1:
        return values.reshape(shape[::-1]).T
    width = shape[0] if shape else 1
    joined = values.tobytes().decode()
    return [joined[i : i + width] for i in range(0, len(joined), width)] if width else [joined]
