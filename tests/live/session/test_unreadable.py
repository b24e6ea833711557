"""A fault of the decoder costs neither the bytes it fails on nor what comes after, and marks the sweep."""

from types import SimpleNamespace

import pytest

from daq.items import FAULT, Event, Hello
from daq.live.session.sensors import UNREADABLE, Sensors
from daq.rig import parse_rig
from daq.values import Samples
from daq.wire import board
from tests.rigs import rig_text
from tests.wire.examples import HELLO

SCANS = [board.encode_scan(1000 * i, i, 0, [i] * len(HELLO.channels)) for i in range(5)]
PIPELINE = SimpleNamespace(late=0, clock_errors_ms={"board": None})


@pytest.fixture
def told():
    return []


@pytest.fixture
def sensors(told):
    rig = parse_rig(rig_text())
    return Sensors(rig, 1.0, record=None, notice=lambda *said: told.append(said), pipeline=lambda: PIPELINE)


@pytest.fixture
def fails_on(monkeypatch):
    """A decoder fails on these pieces, and on everything after them."""
    real, failed = board.BoardDecoder.feed_pieces, set()

    def planted(*pieces):
        def feed_pieces(self, given):
            if self in failed or any(data in pieces for _, data in given):
                failed.add(self)
                raise IndexError("planted")
            return real(self, given)

        monkeypatch.setattr(board.BoardDecoder, "feed_pieces", feed_pieces)

    return planted


def arrived(sensors, first_us=1):
    for i, data in enumerate([board.encode_hello(HELLO), *SCANS]):
        sensors.arrive_bytes(first_us + i, data)
    return sensors.take()


def test_only_the_piece_it_fails_on_is_not_decoded_and_its_bytes_are_kept(sensors, told, fails_on):
    fails_on(SCANS[2])

    items = arrived(sensors)

    assert [type(item) for item in items] == [Hello, Samples, Samples, Event, Samples, Samples]
    assert [item.counts[0, 0] for item in items if isinstance(item, Samples)] == [0, 1, 3, 4]
    (fault,) = [item for item in items if isinstance(item, Event)]
    assert (fault.kind, fault.received_us) == (FAULT, 4)
    assert fault.content == {"part": "board", "sentence": UNREADABLE, "bytes": SCANS[2].hex()}
    assert told == [("alarm", UNREADABLE)]


def test_another_decoder_goes_on_and_the_counts_too(sensors, fails_on):
    noise = b"\x05noise\x00"
    arrived(sensors)
    sensors.arrive_bytes(50, noise)
    sensors.take()
    failed = sensors.decoder
    assert failed.lost == (0, 1)
    fails_on(SCANS[2])

    assert [type(item) for item in arrived(sensors, 100)].count(Samples) == 4
    sensors.arrive_bytes(150, noise)
    sensors.take()
    assert sensors.decoder is not failed
    assert sensors.health["board"].counters().damaged == 2


def test_where_it_fails_on_everything_everything_is_kept(sensors, fails_on):
    fails_on(board.encode_hello(HELLO), *SCANS)

    kept = [bytes.fromhex(item.content["bytes"]) for item in arrived(sensors)]

    assert kept == [board.encode_hello(HELLO), *SCANS]
