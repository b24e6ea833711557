"""Text lines of weighing indicators. Units: NIST SP 811; exclusive-or checksum: a worked NMEA 0183 sentence."""

import time

import pytest

from daq.values import Status
from daq.wire.ascii_lines import MAX_LINE, LineDecoder, LineFormat

PLAIN = LineFormat(pattern=r"(?P<load>[-+ ]*[\d.]+) *(?P<unit>kg|lb|N)")
G = 9.80665


def counts(samples):
    return [int(c) for one in samples for c in one.counts[0]]


@pytest.mark.parametrize(
    ("line", "millinewtons"),
    [
        (b"+00012.34 kg\r\n", 121_014),  # 12.34 * 9.80665 N
        (b"-  5.00 lb\r", -22_241),  # 5 * 4.4482216152605 N
        (b"\x02 7.5 N\x03", 7_500),
    ],
)
def test_a_line_becomes_newtons(line, millinewtons):
    decoder = LineDecoder("scale", PLAIN)

    samples = decoder.feed(line, 5)

    assert counts(samples) == [millinewtons]
    assert samples[0].received_us.tolist() == samples[0].ticks_us.tolist() == [5]


def test_a_device_adjusted_with_weights_uses_the_gravity_of_its_place():
    local = LineFormat(pattern=PLAIN.pattern, g_m_s2=9.78)

    assert counts(LineDecoder("s", local).feed(b"10 kg\n10 N\n", 0)) == [97_800, 10_000]


def test_several_channels_and_a_decimal_comma():
    two = LineFormat(pattern=r"A=(?P<left>\S+);B=(?P<right>\S+)", unit="N", decimal_comma=True)

    assert two.channels == ("left", "right")
    assert counts(LineDecoder("s", two).feed(b"A=1.234,5;B=-0,25\n", 0)) == [1_234_500, -250]


def test_wherever_the_text_is_cut_the_same_loads_come_out():
    stream = b"1.5 kg\r\n-2 kg\r\n3 kg\r\n"

    for cut in range(1, len(stream)):
        decoder = LineDecoder("s", PLAIN)
        got = decoder.feed(stream[:cut], 0) + decoder.feed(stream[cut:], 0)
        assert counts(got) == [14_710, -19_613, 29_420]
        assert [int(one.sequence[0]) for one in got] == [0, 1, 2]
        assert decoder.damaged == 0


def test_a_damaged_line_costs_itself_and_leaves_a_gap():
    decoder = LineDecoder("scale", PLAIN)

    got = decoder.feed(b"1 kg\n1 k\xff\n3 kg\n", 0)

    assert [int(one.sequence[0]) for one in got] == [0, 2]
    assert decoder.damaged == 1
    assert decoder.problem == f"line '1 kÿ' does not fit the pattern {PLAIN.pattern!r}"


def test_the_rest_of_a_line_that_began_before_is_not_counted():
    decoder = LineDecoder("s", PLAIN)

    assert counts(decoder.feed(b"34 kx\n1 N\n", 0)) == [1000]
    assert decoder.damaged == 0


def test_where_the_port_was_opened_anew_two_halves_make_no_line_and_the_first_one_is_not_trusted():
    decoder = LineDecoder("s", PLAIN)

    # the cable is pulled after "12", and put in again in the middle of "45.6 kg"
    got = [*decoder.feed(b"1 kg\n12", 0), *decoder.feed(b"", 1), *decoder.feed(b"5.6 kg\n3 kg\n", 2)]

    assert counts(got) == [9_807, 29_420]
    assert decoder.lost == (0, 0)


def test_the_exclusive_or_checksum_of_a_published_sentence_is_accepted_and_a_wrong_one_refused():
    """NMEA 0183 sentence with its checksum, as printed in many manuals (from memory; the arithmetic decides)."""
    nmea = LineFormat(
        pattern=r"\$(?P<covered>GPGLL,(?P<a>[\d.]+),N,(?P<b>[\d.]+),E,[\d.]+,A)\*(?P<checksum>..)",
        unit="N",
        checksum="xor",
    )
    decoder = LineDecoder("gps", nmea)

    good = decoder.feed(b"$GPGLL,5300.97914,N,00259.98174,E,125926,A*28\r\n", 0)
    bad = decoder.feed(b"$GPGLL,5300.97914,N,00259.98174,E,125926,A*29\r\n", 0)

    assert counts(good) == [5_300_979, 259_982]
    assert bad == []
    assert decoder.problem.startswith("checksum is 29, expected 28, in line")


def test_the_sum_checksum_covers_what_stands_before_it():
    summed = LineFormat(pattern=r"(?P<load>[\d.]+) (?P<checksum>[0-9A-F]{2})", unit="N", checksum="sum")
    line = b"12.5 "

    got = LineDecoder("s", summed).feed(line + f"{sum(line) % 256:02X}\n".encode(), 0)

    assert counts(got) == [12_500]


def test_an_overload_is_marked_and_stands_at_the_end_of_the_scale():
    marked = LineFormat(pattern=r"(?:(?P<overload>OL)|(?P<load>[\d.]+))(?P<fault>!?)", unit="N")

    over, fine, fault = LineDecoder("s", marked).feed(b"OL\n1\n2!\n", 0)

    assert over.status[0] == Status.SATURATED
    assert over.counts[0, 0] == 2**31 - 1
    assert fine.status[0] == 0
    assert fault.status[0] == Status.ADC_ERROR


@pytest.mark.parametrize("number", ["1..2", "--1", "nan", "inf", ""])
def test_what_is_no_number_is_refused(number):
    loose = LineFormat(pattern=r"(?P<load>.*)N", unit="N")
    decoder = LineDecoder("s", loose)

    assert decoder.feed(f"\n{number}N\n".encode(), 0) == []
    assert "is not a number, in line" in decoder.problem


def test_a_line_without_an_end_costs_one_line_and_bounded_memory():
    decoder = LineDecoder("s", PLAIN)
    stream = b"\n" + b"9" * 5000 + b"\n1 N\n"

    got = [one for at in range(0, len(stream), 100) for one in decoder.feed(stream[at : at + 100], 0)]

    assert counts(got) == [1000]
    assert decoder.damaged == 1
    assert len(decoder.pending) <= MAX_LINE


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"pattern": "("}, "is no regular expression"),
        ({"pattern": "[0-9]+"}, "names no channel"),
        ({"pattern": "(?P<a>.)", "unit": "stone"}, "unit 'stone': expected one of N, mN"),
        ({"pattern": "(?P<a>.)", "checksum": "crc"}, "checksum 'crc': expected one of none, xor, sum"),
        ({"pattern": "(?P<a>.)", "checksum": "xor"}, "needs both its kind and its part"),
        ({"pattern": "(?P<a>.)(?P<checksum>..)"}, "needs both its kind and its part"),
    ],
)
def test_a_format_that_cannot_work_is_refused_at_once(fields, says):
    with pytest.raises(ValueError, match=says):
        LineFormat(**fields)


@pytest.mark.parametrize("pattern", [r"(?P<load>(\d+)+)kg", r"(?P<load>(.*.*.*.*.*.*)x)y", r"(?P<load>(\w+\s?)*)N"])
def test_no_pattern_takes_longer_than_the_line_is_long(pattern):
    """Catastrophic backtracking: Python's re needs hours for the first of them on 40 digits."""
    decoder = LineDecoder("t", LineFormat(pattern, unit="kg"))

    started = time.process_time()
    for _ in range(20):
        decoder.feed(b"1" * 500 + b"\r\n", 1)

    assert time.process_time() - started < 2.0
    assert decoder.scans == 0


def test_a_pattern_that_would_take_much_memory_is_refused():
    with pytest.raises(ValueError, match="is no regular expression of RE2"):
        LineFormat(r"(?P<load>((a{200}){200}){20})")
