"""Registers to newtons, against the conversions of pymodbus, a general-purpose library, and the protocol's limits."""

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymodbus.client.mixin import ModbusClientMixin

from daq.values import Status
from daq.wire.modbus import Register, number_in, request_for, samples_from

THEIRS = {
    "int16": ModbusClientMixin.DATATYPE.INT16,
    "uint16": ModbusClientMixin.DATATYPE.UINT16,
    "int32": ModbusClientMixin.DATATYPE.INT32,
    "uint32": ModbusClientMixin.DATATYPE.UINT32,
    "float32": ModbusClientMixin.DATATYPE.FLOAT32,
}


@given(st.sampled_from(sorted(THEIRS)), st.sampled_from(["big", "little"]), st.binary(min_size=4, max_size=4))
def test_words_mean_what_a_general_library_says(kind, order, raw):
    register = Register("load", 0, kind, order)
    words = list(struct.unpack(">2H", raw))[: register.words]

    number = number_in(register, words)

    theirs = ModbusClientMixin.convert_from_registers(words, THEIRS[kind], word_order=order)
    assert struct.pack(">d", number) == struct.pack(">d", float(theirs))


def test_scale_and_unit_make_newtons():
    registers = [Register("bar", 40_003, "int32", "little", scale=0.01, unit="kg"), Register("post", 40_001, "int16")]

    got = samples_from([3, 0xFFFF, 1234, 0], registers, source="t", received_us=7, sequence=65_536)

    assert got.counts.tolist() == [[121_014, 29_420]]  # 12.34 kg and 3 kg at 9.80665 N each
    assert got.sequence.tolist() == [0]
    assert got.status.tolist() == [0]


@pytest.mark.parametrize(
    ("addresses", "base", "expected"),
    [([0], 0, (0, 2)), ([1, 3], 1, (0, 4)), ([40_011, 40_001], 40_001, (0, 12)), ([65_534], 0, (65_534, 2))],
)
def test_one_request_brings_them_all(addresses, base, expected):
    registers = [Register(f"c{i}", address) for i, address in enumerate(addresses)]

    assert request_for(registers, base=base) == expected


@pytest.mark.parametrize(
    ("registers", "base", "says"),
    [
        ([], 0, "no registers to read"),
        ([Register("load", 0)], 1, "register load at 0, counted from 1, is -1 on the wire"),
        ([Register("load", 65_535)], 0, "expected 0 to 65535"),
        ([Register("a", 0), Register("b", 124)], 0, "span 126 words: one request brings at most 125"),
    ],
)
def test_a_request_the_protocol_does_not_know_is_refused(registers, base, says):
    with pytest.raises(ValueError, match=says):
        request_for(registers, base=base)


@pytest.mark.parametrize("words", [[0x7F80, 0], [0x7FC0, 0]])
def test_a_number_that_is_not_finite_is_a_saturated_scan(words):
    got = samples_from(words, [Register("load", 0, "float32")], source="t", received_us=0, sequence=0)

    assert got.status[0] == Status.SATURATED


def test_an_answer_of_another_length_is_refused():
    with pytest.raises(ValueError, match="t: asked for 2 words, got 1"):
        samples_from([0], [Register("load", 0)], source="t", received_us=0, sequence=0)


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"kind": "int24"}, "register load: kind 'int24': expected one of int16"),
        ({"word_order": "middle"}, "register load: word order 'middle': expected big or little"),
        ({"unit": "stone"}, "unit 'stone': expected one of"),
    ],
)
def test_a_register_that_cannot_be_is_refused_at_once(fields, says):
    with pytest.raises(ValueError, match=says):
        Register("load", 0, **fields)
