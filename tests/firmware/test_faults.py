"""What the reference board makes of faults: its machine code executed, the fault on its pins."""

import numpy as np
import pytest

from daq.sources.reference_bench import BUTTON, INPUT, MARK, SHORTED, TILT_MV, UNPLUGGED
from daq.values import Status
from daq.wire import board
from daq.wire.board import CommandOp
from tests.firmware.running import ID, MS, S, running, scans, wrong_counts

LOWEST, HIGHEST = -(1 << 23), (1 << 23) - 1


@pytest.fixture
def on(built):
    with running(built) as board_on:
        board_on.run(1)
        yield board_on


@pytest.mark.parametrize("fault", [UNPLUGGED, SHORTED])
def test_a_converter_that_is_lost_keeps_its_last_good_count_with_the_error_bit_and_stops_no_other(on, fault):
    last = scans(on.items)
    on.bench.at(on.bench.now_us + 100 * MS, fault, 1, 1)
    got = scans(on.run(5))

    bad = got.status == Status.ADC_ERROR
    first = int(np.flatnonzero(bad)[0])
    assert bad[first:].all()
    assert not got.status[:first].any()
    assert len(set(got.counts[max(0, first - 1) :, 1].tolist())) == 1
    assert got.counts[first, 1] == (got.counts[first - 1, 1] if first else last.counts[-1, 1])
    assert wrong_counts(np.vstack([last.counts, got.counts])[:, [0, 2, 3]], only=(0, 2, 3)) == 0
    assert on.decoder.dropped == 0
    assert np.diff(got.ticks_us.astype(np.int64)).max() < 25_000
    assert on.hello.firmware.endswith("no answer from 1")


@pytest.mark.parametrize(
    ("fault", "for_s"),
    [(UNPLUGGED, 3), (SHORTED, 3), pytest.param(UNPLUGGED, 0.06, id="gone and back before the board looks for it")],
)
def test_a_converter_that_comes_back_is_read_again_at_its_gain_and_settled(built, fault, for_s):
    with running(built, made=False) as on:
        for i in range(4):
            on.bench.at(0, INPUT, 1_000_000, i)
        on.run(0.5)
        on.ask(CommandOp.SET_GAIN, 1, 64)
        on.run(1)
        on.bench.at(on.bench.now_us, fault, 1, 1)
        on.run(for_s)
        on.bench.at(on.bench.now_us, fault, 0, 1)
        back = scans(on.run(3))

        assert set(back.counts[:, 1].tolist()) == {500_000}
        assert back.status[0] == Status.ADC_ERROR
        assert (back.status[-100:] == 0).all()
        assert on.hello.firmware == "reference 1.0, power-on, 5.0 V"


def test_a_converter_that_was_never_there_reads_the_low_end_with_both_bits(built):
    with running(built) as on:
        on.bench.at(0, UNPLUGGED, 1, 3)
        got = scans(on.run(3))

        assert len(got) > 150
        assert (got.counts[:, 3] == LOWEST).all()
        assert (got.status == Status.ADC_ERROR | Status.SATURATED).all()


def test_without_any_converter_scans_go_on_and_say_so(built):
    with running(built) as on:
        for i in range(4):
            on.bench.at(0, UNPLUGGED, 1, i)
        got = scans(on.run(4))

        assert len(got) > 200
        assert (got.status == Status.ADC_ERROR | Status.SATURATED).all()
        assert on.hello.firmware.endswith("no answer from 0 1 2 3")


@pytest.mark.parametrize(("force", "end"), [(9e6, HIGHEST), (-9e6, LOWEST)])
def test_a_saturated_converter_sets_the_bit_and_the_end_of_its_scale(built, force, end):
    with running(built, made=False) as on:
        on.bench.at(1 * S, INPUT, force, 2)
        got = scans(on.run(3))

        at_end = got.counts[:, 2] == end
        assert at_end[-100:].all()
        assert ((got.status == Status.SATURATED) == at_end).all()
        assert on.hello.firmware.endswith("at its end 2")


def test_a_stuck_converter_is_passed_on_as_it_is(built):
    """Its line works, its counts stand still: the board cannot know; the daemon says so (cell_checks)."""
    with running(built, made=False) as on:
        got = scans(on.run(3))

        assert (got.counts[:, :4] == 0).all()
        assert (got.status == 0).all()


def test_a_bouncing_mark_is_one_mark_on_the_one_scan_after_it(built):
    """A reed bounces for a millisecond when it closes and when it opens (from memory; ordinary)."""
    rng = np.random.default_rng(3)
    with running(built) as on:
        turns_us = [1 * S + i * 667 * MS for i in range(20)]  # 90 rpm
        for turn_us in turns_us:
            for edge_us, closed in ((turn_us, 1), (turn_us + 25 * MS, 0)):
                for at_us in np.sort(rng.uniform(edge_us, edge_us + 1 * MS, 2 * 6)):
                    closed = 1 - closed
                    on.bench.at(at_us, MARK, closed)
                on.bench.at(edge_us + 1.1 * MS, MARK, 0 if edge_us == turn_us else 1)
        got = scans(on.run(15))

        ticks_us = got.ticks_us[(got.status & Status.CRANK_MARK) != 0].astype(float)
        assert len(ticks_us) == 20
        on_the_line_us = 27 * 40  # the frame itself
        begun_us = (got.received_us - got.ticks_us.astype(np.int64)).min() - on_the_line_us
        late_us = ticks_us + begun_us - np.array(turns_us)
        assert ((late_us > -1 * MS) & (late_us < 14.5 * MS)).all()  # of the scan that was not yet sent, or the next


def test_a_spike_on_the_marks_wire_is_no_mark(on):
    """Shorter than the interrupt takes to look: half a microsecond."""
    for i in range(20):
        at_us = on.bench.now_us + (i + 1) * 150 * MS
        on.bench.at(at_us, MARK, 0)
        on.bench.at(at_us + 0.5, MARK, 1)

    assert not (scans(on.run(4)).status & Status.CRANK_MARK).any()


def press(on, at_us, for_us):
    rng = np.random.default_rng(4)
    for edge_us, level in ((at_us, 0), (at_us + for_us, 1)):
        for bounce_us in np.sort(rng.uniform(edge_us, edge_us + 5 * MS, 8)):
            level = 1 - level
            on.bench.at(bounce_us, BUTTON, level)
        on.bench.at(edge_us + 5.1 * MS, BUTTON, 0 if edge_us == at_us else 1)


def tare_bits(items):
    return (scans(items).status & Status.TARE_BUTTON) != 0


def test_the_tare_button_is_kept_until_the_host_answers(on):
    press(on, on.bench.now_us + 100 * MS, 300 * MS)
    pressed = tare_bits(on.run(3))

    assert int(pressed.sum()) >= len(pressed) - 20
    assert pressed[20:].all()
    on.ask(CommandOp.TARE_DONE)
    assert not tare_bits(on.run(2)).any()


def test_the_tare_button_is_given_up_after_five_seconds(on):
    press(on, on.bench.now_us, 8000 * MS)  # held down all the while
    pressed = tare_bits(on.run(8))

    assert int(pressed.sum()) == pytest.approx(5 * 80, abs=3)


def test_a_brown_out_begins_anew_under_another_boot_number(on):
    before = on.hello
    on.bench.brown_out()
    said = on.run(3)
    got = scans(said)

    hello = next(item for item in said if isinstance(item, board.HelloBody))
    assert (hello.board_id, hello.boot) == (before.board_id, before.boot + 1)
    assert hello.firmware == "reference 1.0, brown-out, 5.0 V"
    assert int(got.sequence[0]) == 0
    assert (got.status == 0).all()
    assert on.decoder.dropped == 0
    assert on.bench.kept(16, 8) == ID


def test_a_program_that_hangs_is_restarted_by_the_watchdog(on, elf_symbol):
    """For 0.4 s a part of the main loop is `rjmp .-2`, which never ends."""
    before = on.bench.flash(elf_symbol("host_turn"), bytes([0xFF, 0xCF]))
    said = on.run(0.4)
    on.bench.flash(elf_symbol("host_turn"), before)
    said += on.run(2)

    hellos = [item for item in said if isinstance(item, board.HelloBody)]
    assert hellos[0].firmware == "reference 1.0, watchdog, 5.0 V"
    assert hellos[0].boot == 8
    assert (scans(said).status == 0).all()


def test_the_watchdog_does_not_fire_again_while_the_board_starts(built, elf_symbol):
    """Once it has fired it stays on with 15 ms; a board whose EEPROM is blank needs 110 ms to draw its id."""
    with running(built) as on:
        on.run(1)
        before = on.bench.flash(elf_symbol("host_turn"), bytes([0xFF, 0xCF]))
        on.bench.eeprom(16, b"\xff" * 12)
        on.run(0.3)
        on.bench.flash(elf_symbol("host_turn"), before)
        on.run(2)

        assert on.hello.firmware == "reference 1.0, watchdog, 5.0 V"
        assert on.hello.boot == 0  # one start, counted on from the blank 0xFFFFFFFF
        assert on.hello.board_id not in (ID.hex(), "f" * 16)


def test_commands_beyond_what_the_board_can_hold_are_lost_and_none_before_them(on, elf_symbol):
    """Twelve commands, 8 bytes each, while the main loop stands still for 50 ms: 63 bytes are held."""
    before = on.bench.flash(elf_symbol("host_turn"), bytes([0xFF, 0xCF]))
    on.bench.hear(b"".join(board.encode_command(board.Command(i, CommandOp.TARE_DONE)) for i in range(1, 13)))
    said = on.run(0.05)
    on.bench.flash(elf_symbol("host_turn"), before)
    said += on.run(0.3)

    assert [item.request for item in said if isinstance(item, board.Reply)] == [1, 2, 3, 4, 5, 6, 7]


def test_a_board_that_has_never_run_draws_an_id_and_keeps_it(built):
    drawn = set()
    for mv in (2387, 2391):
        with running(built, eeprom=b"\xff" * 12) as on:
            on.bench.at(0, TILT_MV, mv)
            on.bench.at(0.05 * S, TILT_MV, mv + 7)
            on.run(1)
            first = on.hello
            on.bench.brown_out()
            on.run(1)
            assert on.hello.board_id == first.board_id != "f" * 16
            assert (first.boot, on.hello.boot) == (0, 1)
            drawn.add(first.board_id)

    assert len(drawn) == 2


def test_the_light_is_steady_when_all_answer_and_blinks_when_one_does_not(on):
    def seen():
        lit = []
        for _ in range(40):
            on.run(0.05)
            lit.append(on.bench.light)
        return set(lit)

    assert seen() == {True}
    on.bench.at(on.bench.now_us, UNPLUGGED, 1, 0)
    on.run(0.5)
    assert seen() == {True, False}
