"""What the reference board answers, its machine code executed: section 7 of the wire protocol."""

import numpy as np
import pytest

from daq.sources.reference_bench import INPUT
from daq.wire import board
from daq.wire.board import CommandOp, CommandResult
from daq.wire.frames import frame
from tests.firmware.running import running, scans, wrong_counts


@pytest.fixture
def on(built):
    with running(built) as board_on:
        board_on.run(0.5)
        yield board_on


def test_hello_is_answered_and_sent(on):
    reply = on.ask(CommandOp.HELLO)

    assert reply.result is CommandResult.DONE
    after = [type(item) for item in on.items[-60:] if not isinstance(item, board.Samples)]
    assert after[after.index(board.Reply) + 1] is board.HelloBody


def test_stop_ends_scans_and_numbers_and_start_goes_on_with_the_next_number(on):
    last = int(scans(on.items).sequence[-1])
    assert on.ask(CommandOp.STOP).result is CommandResult.DONE
    stopped_at = int(scans(on.items).sequence[-1])
    silent = on.run(2)

    assert scans(silent) is None
    assert not on.hello.running
    assert on.ask(CommandOp.START).result is CommandResult.DONE
    assert on.hello.running
    on.run(1)
    after = scans(on.items).sequence
    assert stopped_at >= last
    assert int(after[after > stopped_at][0]) == stopped_at + 1
    assert on.decoder.dropped == 0


@pytest.mark.parametrize(("asked_hz", "taken_hz"), [(10, 10), (1, 10), (44, 10), (46, 80), (1000, 80)])
def test_the_nearest_rate_is_taken_and_the_hello_tells_it(on, asked_hz, taken_hz):
    reply = on.ask(CommandOp.SET_RATE, asked_hz * 1000, within_s=0.3)

    assert (reply.result, reply.text) == (CommandResult.DONE, f"{taken_hz} Hz")
    assert on.hello.scan_rate_hz == taken_hz
    assert {c.rate_hz for c in on.hello.channels if c.kind is board.ChannelKind.BRIDGE} == {taken_hz}
    on.run(2)
    got = scans(on.run(3))
    assert np.diff(got.ticks_us.astype(np.int64)).mean() == pytest.approx(1e6 / taken_hz, rel=1e-3)


def test_a_change_of_rate_skips_what_is_not_settled_and_no_number(on):
    on.ask(CommandOp.SET_RATE, 10_000)
    on.run(3)
    on.ask(CommandOp.SET_RATE, 80_000)
    on.run(3)

    sequence = scans(on.items).sequence.astype(int)
    assert (np.diff(sequence) == 1).all()
    assert on.decoder.dropped == 0
    assert (scans(on.items).status == 0).all()


def test_a_gain_holds_for_its_channel_alone_and_no_scan_shows_the_change(built):
    with running(built, made=False) as on:
        for i in range(4):
            on.bench.at(0, INPUT, 1_000_000, i)
        on.run(1)
        reply = on.ask(CommandOp.SET_GAIN, 2, 64)
        on.run(1)
        got = scans(on.items)

        assert (reply.result, on.hello.channels[2].gain) == (CommandResult.DONE, 64)
        assert on.hello.channels[2].units_per_count == 2 * on.hello.channels[0].units_per_count
        assert sorted(set(got.counts[:, 2].tolist())) == [500_000, 1_000_000]
        assert (got.counts[:, [0, 1, 3]] == 1_000_000).all()
        assert (np.diff(got.sequence.astype(int)) == 1).all()
        assert on.ask(CommandOp.SET_GAIN, 2, 128).result is CommandResult.DONE
        on.run(1)
        assert scans(on.run(0.2)).counts[:, 2].tolist() == [1_000_000] * 16


def test_the_units_are_those_of_half_the_supply_over_the_gain(on):
    """5 V / 2 / 128 = 19.53 mV over 2^23 counts, with 5 V on the bridge: the data sheet's full scale, and
    firmware_notes/converters.md."""
    assert on.hello.channels[0].units_per_count == pytest.approx(19.53125 / 5 / 2**23, rel=1e-6)


@pytest.mark.parametrize(
    ("op", "operands", "text"),
    [
        (CommandOp.SET_RATE, (0,), "a rate is above 0"),
        (CommandOp.SET_GAIN, (0, 32), "gains are 128 and 64"),
        (CommandOp.SET_GAIN, (4, 64), "this channel has no amplifier"),
        (CommandOp.SET_GAIN, (5, 64), "no such channel"),
    ],
)
def test_what_it_cannot_do_is_refused_with_the_reason(on, op, operands, text):
    before = on.hello

    reply = on.ask(op, *operands)

    assert (reply.result, reply.text) == (CommandResult.BAD_OPERAND, text)
    on.run(1.1)
    assert on.hello.channels == before.channels
    assert on.hello.scan_rate_hz == before.scan_rate_hz
    assert (scans(on.items).status == 0).all()


@pytest.mark.parametrize(
    ("body", "result"),
    [
        (bytes([0x10, 9, 77]), CommandResult.UNKNOWN),
        (bytes([0x10, 9, 0]), CommandResult.UNKNOWN),
        (bytes([0x10, 9, 4, 1, 2]), CommandResult.BAD_OPERAND),
        (bytes([0x10, 9, 1, 0]), CommandResult.BAD_OPERAND),
    ],
)
def test_unknown_ops_and_wrong_lengths_are_answered(on, body, result):
    on.bench.hear(b"\0" + frame(body))

    (reply,) = (item for item in on.run(0.5) if isinstance(item, board.Reply))

    assert (reply.request, reply.op, reply.result) == (9, body[2], result)


def test_forty_commands_in_half_a_second_are_all_answered_in_order_and_no_scan_is_lost(on):
    asked = [board.Command(1 + i, CommandOp.HELLO) if i % 2 else board.set_gain(1 + i, i % 7, 32) for i in range(40)]
    at_us = on.bench.now_us
    for i, command in enumerate(asked):
        on.bench.hear(board.encode_command(command), at_us + 12_000 * i)

    said = on.run(1.5)

    assert [item.request for item in said if isinstance(item, board.Reply)] == list(range(1, 41))
    assert on.decoder.dropped == 0


def test_noise_on_the_receiving_line_is_no_command_and_hurts_nothing(on):
    rng = np.random.default_rng(5)
    before = on.hello
    for _ in range(40):
        on.bench.hear(rng.bytes(200))
        on.run(0.05)
    assert not any(isinstance(item, board.Reply) for item in on.items)
    assert on.ask(CommandOp.HELLO).result is CommandResult.DONE

    assert (on.hello.boot, on.hello.channels) == (before.boot, before.channels)
    assert wrong_counts(scans(on.items).counts[:, :4]) == 0
    assert on.decoder.dropped == 0


def test_noise_on_the_sending_line_costs_the_frames_it_hits_and_no_other(built):
    rng = np.random.default_rng(6)
    with running(built) as on:
        data = bytearray(on.bench.run(8e6))
        whole = scans(board.BoardDecoder("board").feed(bytes(data), 0))
        for at in rng.choice(len(data), 40, replace=False):
            data[at] ^= int(rng.integers(1, 256))
        got = scans(on.decoder.feed(bytes(data), 0))

        sent = dict(zip(whole.sequence.tolist(), whole.counts.tolist(), strict=True))
        assert all(
            sent[number] == counts for number, counts in zip(got.sequence.tolist(), got.counts.tolist(), strict=True)
        )
        assert len(whole) - 80 <= len(got) < len(whole)  # a hit on the end of a frame costs two
        assert on.decoder.damaged > 0
