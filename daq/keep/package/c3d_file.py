"""A sweep as a C3D file (c3d.org), which motion laboratories read: loads as analog channels, actions as events.

C3D knows one constant rate, so loads are interpolated linearly between scans, at the board's rate rounded to whole
hertz; where more than a few scans are missing, a channel is NaN. A frame is one second long, because frame numbers have
16 bits. Needs the c3d package.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from daq.items import Item
from daq.keep.again.derived import Derived
from daq.keep.errors import StoreError
from daq.keep.package.acts import acts
from daq.keep.package.bids import setback_mm
from daq.values import NAN, Array

NAME = "sweep.c3d"
MOST_EVENTS = MOST_BYTES = 255
"""A dimension of a parameter is one byte."""
MOST_LOST = 100
"""A parameter has at most 32 KiB."""
LONGEST_GAP = 3.0
"""In scans."""
_TEXT = 64


@dataclass(frozen=True, slots=True)
class AnalogChannel:
    """One analog channel: n values at a constant rate."""

    label: str
    unit: str
    description: str
    values: Array


def c3d_bytes(derived: Derived, items: Sequence[Item], about: dict[str, str]) -> bytes | None:
    """The file; None if nothing could be computed. about: texts for its FOREAFT group. StoreError if the c3d package is
    not installed.
    """
    try:
        import c3d
    except ImportError as error:
        raise StoreError("C3D files need the c3d package: pip install 'foreaft[c3d]'") from error
    t_s = np.concatenate([np.empty(0), *(part.t_s for part in derived.loads)])
    if len(t_s) < 2:
        return None
    rate_hz = max(1, round(1.0 / float(np.median(np.diff(t_s)))))
    frames = int(t_s[-1] - t_s[0]) + 1
    at_s = t_s[0] + np.arange(frames * rate_hz) / rate_hz
    channels = _channels(derived, t_s, at_s, rate_hz)
    writer = c3d.Writer(point_rate=1.0, analog_rate=float(rate_hz))
    blocks = np.stack([one.values for one in channels]).astype(np.float32).reshape(len(channels), frames, rate_hz)
    writer.add_frames([(np.zeros((0, 5), np.float32), blocks[:, i]) for i in range(frames)])
    _describe(writer, channels)
    _add_events(writer, events(derived, items, float(t_s[0])))
    _add_about(writer, derived, {**about, "START_S": f"{t_s[0]:.6f}"})
    made = io.BytesIO()
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "No point data")
        writer.write(made)
    return made.getvalue()


def events(derived: Derived, items: Sequence[Item], begin_s: float) -> list[tuple[float, str]]:
    """(s from the first sample, label) of what the fitter did and of each step's first and last stroke.

    A file begins with its first sample: earlier actions are placed at 0.
    """
    found = acts(items, begin_s)
    for number, step in enumerate(derived.steps, start=1):
        if step.strokes:
            found += [(step.strokes[0].start_s - begin_s, f"step {number} begins")]
            found += [(step.strokes[-1].end_s - begin_s, f"step {number} ends")]
    return sorted((max(0.0, at_s), label) for at_s, label in found)[:MOST_EVENTS]


def _channels(derived: Derived, t_s: Array, at_s: Array, rate_hz: int) -> list[AnalogChannel]:
    after = np.clip(np.searchsorted(t_s, at_s), 1, len(t_s) - 1)
    missing = (t_s[after] - t_s[after - 1] > LONGEST_GAP / rate_hz) | (at_s > t_s[-1])

    def even(values: Array) -> Array:
        return np.where(missing, NAN, np.interp(at_s, t_s, values))

    def part(name: str) -> Array:
        return even(np.concatenate([getattr(one, name) for one in derived.loads]))

    cells_n = np.concatenate([one.cells_n for one in derived.loads])
    return [
        AnalogChannel("hands", "N", "support force at the hands along the jig normal", part("hands_n")),
        AnalogChannel("saddle", "N", "support force at the saddle along the jig normal", part("saddle_n")),
        AnalogChannel("tilt", "deg", "tilt of the jig, nose up positive", part("tilt_deg")),
        AnalogChannel("setback", "mm", "saddle behind the bottom bracket, during a step", setback_mm(derived, at_s)),
        *(
            AnalogChannel(f"cell_{name}", "N", f"cell {name}", even(cells_n[:, i]))
            for i, name in enumerate(derived.cells)
        ),
    ]


def _describe(writer: Any, channels: Sequence[AnalogChannel]) -> None:
    writer.point_group.add_str("LABELS", "there are no points", "", 0, 0)
    writer.set_analog_scales(np.ones(len(channels)))
    writer.set_analog_offsets(np.zeros(len(channels), np.int16))
    _add_texts(writer.analog_group, "LABELS", [one.label for one in channels])
    _add_texts(writer.analog_group, "UNITS", [one.unit for one in channels])
    _add_texts(writer.analog_group, "DESCRIPTIONS", [one.description for one in channels])


def _add_events(writer: Any, found: Sequence[tuple[float, str]]) -> None:
    group = writer.get_create("EVENT")
    group.add("USED", "number of events", 2, "<h", len(found))
    if not found:
        return
    _add_texts(group, "LABELS", [label for _, label in found])
    _add_texts(group, "CONTEXTS", ["General"] * len(found))
    times = np.array([divmod(at_s, 60.0) for at_s, _ in found], dtype=np.float32)  # two numbers an event, as they lie
    group.add("TIMES", "minutes and seconds", 4, "", times.tobytes(), 2, len(found))


def _add_about(writer: Any, derived: Derived, about: dict[str, str]) -> None:
    """The FOREAFT group: these texts, how the jig stood, and what is lost of the raw."""
    group = writer.get_create("FOREAFT")
    jig = {"JIG": "; ".join(derived.jig_said)} if derived.jig_said else {}
    for name, text in {**about, **jig}.items():
        plain = _ascii(text)[:MOST_BYTES]
        group.add_str(name, "", plain, len(plain))
    lost = derived.losses
    group.add(
        "LOST_COUNT", "what is lost of the raw; loads are NaN where scans are", 2, "<h", min(len(lost), 2**15 - 1)
    )
    more = [f"and {len(lost) - MOST_LOST} more"] if len(lost) > MOST_LOST else []
    if lost:
        _add_texts(group, "LOST", [*lost[:MOST_LOST], *more], MOST_BYTES)


def _add_texts(group: Any, name: str, texts: Sequence[str], most: int = _TEXT) -> None:
    """Texts padded to one width of at most so many letters."""
    plain = [_ascii(text)[:most] for text in texts]
    width = max(len(text) for text in plain)
    group.add_str(name, "", "".join(text.ljust(width) for text in plain), width, len(plain))


def _ascii(text: str) -> str:
    """The text with a byte a letter: a dimension counts bytes."""
    return text.encode("ascii", "replace").decode()
