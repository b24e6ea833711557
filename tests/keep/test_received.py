"""What a file says was received, looked at before the pipeline takes it."""

import math

import numpy as np
import pytest

from daq.items import Event, Hello, Notification
from daq.keep.received import LATEST_US, checked
from daq.sweep.plan import MOST_POSITIONS
from daq.values import Samples

PLAN = {"positions_mm": [80.0, 70.0, 60.0, 50.0, 40.0]}
BEGUN = {"plan": PLAN, "mass_kg": 75.0, "channels": ["hands", "saddle"], "zero_counts": [1.0, 2.0]}
MOVED = {"event": "saddle_moved", "setback_mm": 70.0}
LOST_SCANS = {"said": "a second", "source": "board", "to_us": 7, "scans": 100}


def scans(channels=2, received_us=(5, 6)):
    n = len(received_us)
    return Samples(
        source="board",
        received_us=np.array(received_us, dtype=np.int64),
        ticks_us=np.zeros(n, dtype=np.uint32),
        sequence=np.zeros(n, dtype=np.uint16),
        status=np.zeros(n, dtype=np.uint8),
        counts=np.zeros((n, channels), dtype=np.int32),
    )


@pytest.mark.parametrize(
    "item",
    [
        scans(),
        Hello(1, "board", {"channels": ({"name": "hands", "bits": 24},), "firmware": "x"}),
        Notification(1, "power", "2a63", bytes(512)),
        Event(1, "mark", {"text": "anything", "deep": [[1]]}),
        Event(1, "notice", {"level": "caution", "text": "anything"}),
        Event(1, "step-note", {"step": 0, "what": "hands", "value": 3}),
        Event(1, "seated", {"mass_kg": 75.5}),
        Event(1, "stage-failed", {"item": "1 scans of board", "error": "ValueError", "last_us": 7}),
        Event(1, "sweep-begun", BEGUN),
        Event(
            1, "sweep-begun", {**BEGUN, "zero_counts": None, "mass_kg": None, "calibration": {"allows_verdict": True}}
        ),
        Event(1, "fitter", {"event": "saddle_moved", "setback_mm": 70}),
        Event(LATEST_US, "zero", {"zero_counts": [0]}),
        Event(1, "fitter", {**MOVED, "setting": {"bar_x_mm": 600.0, "saddle_tilt_deg": -2.0}, "u_setback_mm": 0.5}),
        Event(1, "typed-reading", {"hands": "-12,5", "saddle": "480"}),
        Event(1, "typed-effort", {"power_w": 200.0, "cadence_rpm": 90.0}),
        Event(1, "gone-on", {"positions_mm": [50.0]}),
        Event(1, "raw-lost", LOST_SCANS),
    ],
)
def test_what_a_session_can_receive_passes(item):
    assert checked(item) is item


@pytest.mark.parametrize(
    ("item", "said"),
    [
        (scans(channels=33), "1 to 32 channels, got 33"),
        (scans(received_us=(5, LATEST_US + 1)), "received_us: expected 0 to"),
        (Hello(-1, "board", {"channels": [{"name": "hands"}]}), "received_us: expected 0 to"),
        (Hello(1, "board", {}), "hello: channels: missing"),
        (Hello(1, "board", {"channels": ["hands"]}), "hello: channels.0"),
        (Hello(1, "board", {"channels": [{"name": "\x1b[31m"}]}), "hello: channels.0.name"),
        (Hello(1, "board", {"channels": [{"name": "a"}] * 33}), "hello: channels"),
        (Notification(1, "power", "2a63", bytes(513)), "at most 512 bytes, got 513"),
        (Event(1, "mark", ["text"]), "event mark: expected an object, got list"),
        (Event(LATEST_US + 1, "mark", {}), "received_us: expected 0 to"),
        (Event(1, "sweep-begun", {**BEGUN, "channels": "hands"}), "sweep-begun: channels"),
        (Event(1, "sweep-begun", {**BEGUN, "mass_kg": "75"}), "sweep-begun: mass_kg"),
        (Event(1, "sweep-begun", {**BEGUN, "zero_counts": [1e300]}), "sweep-begun: zero_counts.0"),
        (Event(1, "sweep-begun", {**BEGUN, "proof": 5}), "sweep-begun: proof"),
        (Event(1, "sweep-begun", {**BEGUN, "clock": 3}), "sweep-begun: clock"),
        (Event(1, "sweep-begun", {**BEGUN, "calibration": {}}), "sweep-begun: calibration.allows_verdict"),
        (Event(1, "sweep-begun", {**BEGUN, "plan": {"positions_mm": [1.0] * 100_000}}), "plan: .*5 to 60 setbacks"),
        (Event(1, "sweep-begun", {**BEGUN, "plan": {**PLAN, "dwell_s": "soon"}}), "plan: dwell_s"),
        (Event(1, "sweep-begun", {**BEGUN, "plan": {**PLAN, "speed": 1}}), "plan: 'speed' is none of its keys"),
        (Event(1, "fitter", {"event": "fly"}), "fitter: event"),
        (Event(1, "fitter", {"event": "saddle_moved", "setback_mm": 1e6}), "fitter: setback_mm"),
        (Event(1, "sweep-begun", {**BEGUN, "mass_kg": 501.0}), "sweep-begun: mass_kg"),
        (Event(1, "sweep-begun", {**BEGUN, "mass_kg": math.nan}), "sweep-begun: mass_kg"),
        (Event(1, "sweep-begun", {**BEGUN, "channels": ["a"] * 33}), "sweep-begun: channels"),
        (Event(1, "sweep-begun", {**BEGUN, "zero_counts": [0.0] * 33}), "sweep-begun: zero_counts"),
        (Event(1, "fitter", {**MOVED, "setting": {"bar_x_mm": 6000.0}}), "fitter: setting.bar_x_mm"),
        (Event(1, "fitter", {**MOVED, "setting": {"saddle_tilt_deg": 91.0}}), "fitter: setting.saddle_tilt_deg"),
        (Event(1, "fitter", {**MOVED, "u_setback_mm": -0.1}), "fitter: u_setback_mm"),
        (Event(1, "typed-reading", {"hands": "a lot"}), "typed-reading: hands"),
        (Event(1, "typed-effort", {"power_w": 2001.0, "cadence_rpm": 90.0}), "typed-effort: power_w"),
        (Event(1, "typed-effort", {"power_w": 200.0, "cadence_rpm": 0.0}), "typed-effort: cadence_rpm"),
        (Event(1, "gone-on", {"positions_mm": [50.0] * (MOST_POSITIONS + 1)}), "gone-on: positions_mm"),
        (Event(1, "mark", {"text": "x" * 2001}), "mark: text"),
        (Event(1, "step-note", {"step": 1, "what": "x" * 41, "value": 3}), "step-note: what"),
        (Event(1, "step-note", {"step": 1, "what": "hands", "value": 1001}), "step-note: value"),
        (Event(1, "stage-failed", {"item": "x" * 201, "error": "x", "last_us": 1}), "stage-failed: item"),
        (Event(1, "stage-failed", {"item": "x", "error": "x" * 201, "last_us": 1}), "stage-failed: error"),
        (Event(1, "stage-failed", {"item": "x", "error": "x", "last_us": -1}), "stage-failed: last_us"),
        (Event(1, "raw-lost", {**LOST_SCANS, "said": "x" * 2001}), "raw-lost: said"),
        (Event(1, "raw-lost", {**LOST_SCANS, "to_us": LATEST_US + 1}), "raw-lost: to_us"),
        (Event(1, "raw-lost", {**LOST_SCANS, "scans": -1}), "raw-lost: scans"),
        (Event(1, "zero", {}), "zero: zero_counts"),
        (Event(1, "mark", {"text": 7}), "mark: text"),
        (Event(1, "mark", {"text": "x", "setback_mm": "far"}), "mark: setback_mm"),
        (Event(1, "step-note", {"step": 10**6, "what": "hands", "value": 3}), "step-note: step"),
        (Event(1, "seated", {"mass_kg": -1}), "seated: mass_kg"),
        (Event(1, "stage-failed", {"item": "x", "error": "x", "last_us": "x"}), "stage-failed: last_us"),
    ],
)
def test_what_no_session_receives_is_refused_with_what_was_expected(item, said):
    with pytest.raises(ValueError, match=said):
        checked(item)
