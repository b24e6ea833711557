"""Polls as bytes, against the response frames of pymodbus, a general-purpose library."""

import pytest
from pymodbus.framer import FramerRTU
from pymodbus.pdu import DecodePDU
from pymodbus.pdu.register_message import ReadHoldingRegistersResponse, ReadInputRegistersResponse

from daq.values import Status
from daq.wire.modbus import Register
from daq.wire.modbus_poll import PollDecoder, decode_poll, encode_poll

UNITS = {2: (Register("saddle", 100, "int16", unit="N"),), 1: (Register("hands", 100, "int32", unit="N"),)}


@pytest.mark.parametrize(
    ("function", "made"), [(3, ReadHoldingRegistersResponse), (4, ReadInputRegistersResponse)]
)  # fmt: skip
def test_an_answer_stands_as_the_unit_sent_it_without_its_crc(function, made):
    sent = FramerRTU(DecodePDU(False)).buildFrame(made(registers=[0x1234, 0xFFFF], dev_id=17))

    assert encode_poll(258, {17: [0x1234, 0xFFFF]}, function=function) == b"\x02\x01" + sent[:-2]


def test_what_is_encoded_is_decoded():
    answers = {2: (7,), 1: (0, 65535)}

    assert decode_poll(encode_poll(65_537, answers, function=3)) == (1, answers)
    assert decode_poll(encode_poll(0, {}, function=3)) == (0, {})


def fed(*polls):
    decoder = PollDecoder("board", UNITS)
    numbered = [poll if isinstance(poll, bytes) else encode_poll(i, poll, function=3) for i, poll in enumerate(polls)]
    return decoder, [scan for i, poll in enumerate(numbered) for scan in decoder.feed(poll, 1000 * i)]


def test_loads_stand_in_the_order_of_the_rig_file_whoever_answered_first():
    _, (scan,) = fed({1: (0, 5), 2: (7,)})

    assert scan.counts.tolist() == [[7000, 5000]]
    assert scan.status.tolist() == [0]


def test_before_every_unit_has_answered_once_there_is_no_scan():
    decoder, scans = fed({2: (7,)}, {1: (0, 5)}, {})

    assert [scan.counts.tolist() for scan in scans] == [[[7000, 5000]]]
    assert scans[0].status.tolist() == [Status.ADC_ERROR]
    assert scans[0].received_us.tolist() == [1000]
    assert decoder.lost == (0, 4)


def test_polls_that_had_no_time_are_missing_in_the_numbers():
    both = {2: (7,), 1: (0, 5)}
    decoder, scans = fed(
        encode_poll(65_534, both, function=3), encode_poll(65_535, both, function=3), encode_poll(3, both, function=3)
    )

    assert decoder.lost == (3, 0)
    assert [int(scan.sequence[0]) for scan in scans] == [65_534, 65_535, 3]


@pytest.mark.parametrize(
    "poll",
    [b"\0", encode_poll(0, {1: (0, 5)}, function=3)[:-1], encode_poll(0, {1: (5,)}, function=3), b"\0\0\x09\3\0"],
)
def test_a_poll_that_cannot_be_understood_costs_itself_only(poll):
    decoder, scans = fed({2: (7,), 1: (0, 5)}, poll, {2: (7,), 1: (0, 5)})

    assert len(scans) == 2
    assert decoder.lost[1] == 2
    assert decoder.problem
