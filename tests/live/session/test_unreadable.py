"""A fault of the decoder costs neither the bytes it fails on nor what comes after, and marks the sweep."""

from types import SimpleNamespace

import pytest

from daq.items import FAULT, Event, Hello, Notification
from daq.live.session import sensors as sensors_module
from daq.live.session.sensors import UNREADABLE, Sensors
from daq.rig_file import parse_rig
from daq.transmitters import TransmitterDecoder, decoder_of
from daq.values import Samples
from daq.wire import board
from daq.wire.modbus_poll import encode_poll
from tests.live.transmitters import LINES, MODBUS
from tests.rigs import rig_text
from tests.wire.examples import HELLO

SCANS = [board.encode_scan(1000 * i, i, 0, [i] * len(HELLO.channels)) for i in range(5)]
POLLS = [encode_poll(i, {1: (0, 500 + i), 2: (0, 300)}, function=3) for i in range(2)]
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


@pytest.fixture
def fails_once(monkeypatch):
    """The decoder fails on what comes next, and no other does."""
    real, failed = board.BoardDecoder.feed_pieces, []

    def feed_pieces(self, given):
        if not failed:
            failed.append(1)
            raise IndexError("planted")
        return real(self, given)

    return lambda: monkeypatch.setattr(board.BoardDecoder, "feed_pieces", feed_pieces)


def test_what_the_failed_decoder_held_of_the_beat_before_is_decoded_with_what_comes(sensors, fails_once):
    sensors.arrive_bytes(1, board.encode_hello(HELLO) + SCANS[0] + SCANS[1][:7])
    sensors.take()
    fails_once()
    sensors.arrive_bytes(2, SCANS[1][7:] + SCANS[2])

    (samples,) = sensors.take()

    assert samples.counts[:, 0].tolist() == [1, 2]
    assert samples.received_us.tolist() == [2, 2], "that of the end of each"


def test_what_was_held_stands_with_the_bytes_it_fails_on(sensors, fails_on):
    whole = [board.encode_hello(HELLO), SCANS[0][:7]]
    rest = SCANS[0][7:]
    fails_on(rest)
    for at_us, data in enumerate([*whole, rest, SCANS[1]]):
        sensors.arrive_bytes(at_us, data)

    hello, fault, samples = sensors.take()

    assert isinstance(hello, Hello)
    assert fault.content["bytes"] == SCANS[0].hex()
    assert samples.counts[:, 0].tolist() == [1]


@pytest.mark.parametrize(
    ("table", "before", "after"),
    [
        (LINES, [b"", b"a rest\n1.5;2.5\n", b"12.0;3"], b"4.5\n"),
        (LINES, [b"", b"a rest\n1.5;2.5\n"], b"12.0;34.5\n"),
        (MODBUS, [b"", POLLS[0]], POLLS[1]),
    ],
)
def test_a_transmitter_goes_on_with_its_half_line_and_is_not_taken_to_be_opened_anew(
    monkeypatch, told, table, before, after
):
    """No bytes mean that the port was opened: a hello would follow, and the first line would not count."""
    real, fails = TransmitterDecoder.feed_pieces, []

    def feed_pieces(self, given):
        if fails:
            fails.clear()
            raise IndexError("planted")
        return real(self, given)

    monkeypatch.setattr(TransmitterDecoder, "feed_pieces", feed_pieces)
    rig = parse_rig(rig_text(table.format(port="/dev/x"), ("hands", "saddle")))
    sensors = Sensors(rig, 1.0, record=None, notice=lambda *said: told.append(said), pipeline=lambda: PIPELINE)
    for piece in before:
        sensors.arrive_bytes(1, piece)
    assert [type(item) for item in sensors.take()] == [Hello, Samples]
    fails.append(1)
    sensors.arrive_bytes(2, after)

    (samples,) = sensors.take()
    unbroken = decoder_of(rig, "board").feed_pieces([(1, piece) for piece in before] + [(2, after)])
    assert samples.counts.tolist() == unbroken[-1][1].counts.tolist()
    assert told == [("alarm", UNREADABLE)]


def test_without_another_decoder_the_bytes_and_what_came_after_them_are_kept_in_their_order(
    sensors, told, fails_on, monkeypatch, caplog
):
    def none(*_):
        raise ValueError("planted")

    fails_on(SCANS[0])
    monkeypatch.setattr(sensors_module, "decoder_of", none)
    sensors.arrive_bytes(1, SCANS[0])
    sensors.arrive_notification(2, "2a63", b"1")
    sensors.arrive_bytes(3, SCANS[1])

    items = sensors.take()

    assert [type(item) for item in items] == [Event, Notification, Event]
    assert [item.content["bytes"] for item in items[::2]] == [SCANS[0].hex(), SCANS[1].hex()]
    assert [level for level, _ in told] == ["alarm", "alarm"]
    assert "no decoder could be made" in caplog.text


def test_a_notification_is_kept_whatever_fails_on_what_came_before_it(sensors, monkeypatch):
    def fails(*_):
        raise ZeroDivisionError("planted")

    sensors.arrive_bytes(1, SCANS[0])
    with monkeypatch.context() as patched:
        patched.setattr(sensors_module, "safely", fails)
        with pytest.raises(ZeroDivisionError):
            sensors.arrive_notification(2, "2a63", b"1")

    assert [type(item) for item in sensors.take()] == [Samples, Notification]
