"""Signals and sessions for the tests of the records."""

import numpy as np

from daq.items import Event, Hello, Item, Notification
from daq.keep.store import Store
from daq.measure.calibration import CalibratedChannel, Calibration, to_dict
from daq.values import Samples
from tests.rigs import rig_text

CALIBRATION = to_dict(
    Calibration(
        "bench 1",
        "2026-03-01T09:00:00+00:00",
        (
            CalibratedChannel("hands", "force", (0.0, 0.0005)),
            CalibratedChannel("saddle", "force", (0.0, 0.0005)),
            CalibratedChannel("tilt", "tilt", (0.0, 0.001)),
        ),
    )
)
COLUMNS = ("received_us", "ticks_us", "sequence", "status", "counts")


def pedalling(
    *, scans: int, rate_hz: int = 1000, channels: int = 8, from_us: int = 0, seed: int = 1, source: str = "jig"
) -> Samples:
    """A rider at 90 rpm on a 24-bit board, simulated: 2000 counts per newton, steady load of 20-300 N, ripple of
    15-40 N at twice the cadence and a third of it at the cadence, white noise of 40 counts (0.02 N); USB packets of
    8 scans, which share a receipt time with up to 0.4 ms of jitter; a board clock with 3 us of jitter."""
    rng = np.random.default_rng([seed, from_us, scans])
    steps = np.random.default_rng(seed).uniform(size=(3, channels))
    index = np.arange(scans)
    t_s = (from_us / 1e6 + index / rate_hz)[:, None]
    ripple_n = 15 + 25 * steps[0]
    load_n = 20 + 280 * steps[1] + ripple_n * np.sin(2 * np.pi * (3.0 * t_s + steps[2]))
    load_n = load_n + ripple_n / 3 * np.sin(2 * np.pi * (1.5 * t_s + steps[2]))
    packets = index // 8
    jitter_us = rng.integers(0, 400, scans // 8 + 1)[packets]
    return Samples(
        source=source,
        received_us=(from_us + packets * 8_000_000 // rate_hz + jitter_us).astype(np.int64),
        ticks_us=(4_294_000_000 + from_us + index * 1_000_000 // rate_hz + rng.integers(-3, 4, scans)).astype(
            np.uint32
        ),
        sequence=(from_us * rate_hz // 1_000_000 + index).astype(np.uint16),
        status=np.where(index % 667 == 0, 8, 0).astype(np.uint8),
        counts=np.round(2000.0 * load_n + rng.normal(0.0, 40.0, load_n.shape)).astype(np.int32),
    )


def second_of_session(second: int, *, rate_hz: int = 100, channels: int = 5) -> list[Item]:
    """What one second brings: a chunk of scans, four power notifications, now and then a hello and an event."""
    at_us = second * 1_000_000
    power = [
        Notification(
            at_us + 250_000 * i + 77_001, "power", "00002a63-0000-1000-8000-00805f9b34fb", bytes([i, second % 256])
        )
        for i in range(4)
    ]
    items: list[Item] = [pedalling(scans=rate_hz, rate_hz=rate_hz, channels=channels, from_us=at_us), *power]
    items.append(Hello(at_us + 500_001, "jig", {"protocol": 1, "channels": [{"name": "bar"}, {"name": "nose"}]}))
    if second % 5 == 0:
        items.append(Event(at_us + 333_333, "saddle_moved", {"setback_mm": 100.5 - second}))
    return items


def begin(store: Store, **changes: object) -> int:
    """A session with everything it needs."""
    arguments: dict[str, object] = {
        "started_utc": "2026-03-29T01:59:59.500+01:00",
        "monotonic_origin_ns": 123,
        "software": "0.1.0",
        "rig": rig_text(name="workshop"),
        "calibration": CALIBRATION,
        "simulated": True,
    }
    return store.begin_session(**{**arguments, **changes})  # type: ignore[arg-type]


def recorded(store: Store, seconds: int, **changes: object) -> int:
    """A session of so many seconds."""
    session_id = begin(store, **changes)
    for second in range(seconds):
        store.put(session_id, second_of_session(second))
    return session_id


def same(a: Samples, b: Samples) -> bool:
    """Equal to the last bit, types included."""
    return a.source == b.source and all(
        np.array_equal(getattr(a, name), getattr(b, name)) and getattr(a, name).dtype == getattr(b, name).dtype
        for name in COLUMNS
    )


def concatenated(items: list[Item], source: str = "jig") -> Samples:
    """All scans of one source, in the order given."""
    parts = [item for item in items if isinstance(item, Samples) and item.source == source]
    return Samples(source, *(np.concatenate([getattr(part, name) for part in parts]) for name in COLUMNS))
