import numpy as np
import pytest

from daq.measure.positions import Positions, PositionSensor
from daq.values import Samples, cut
from tests.bits import bits

SADDLE = PositionSensor("saddle_slide", "setback_mm", 1, 0.01, -5.0, 0.3)
BAR = PositionSensor("bar_slide", "bar_x_mm", 0, 0.02, 400.0, 0.5)


def scans(from_s, seconds, setback_mm, bar_x_mm=570.0, *, hz=100):
    n = round(seconds * hz)
    counts = np.tile([round((bar_x_mm - 400.0) / 0.02), round((setback_mm + 5.0) / 0.01)], (n, 1)).astype(np.int32)
    t_s = from_s + np.arange(n) / hz
    empty = np.zeros(n, np.uint8)
    return Samples("board", (t_s * 1e6).astype(np.int64), empty.astype(np.uint32), empty, empty, counts), t_s


def watched(*stretches):
    positions = Positions([SADDLE, BAR])
    found = [troubles for each in stretches for troubles in positions.feed(*each)]
    return positions, found


def test_counts_become_millimetres_by_the_sensors_line():
    positions, _ = watched(scans(0.0, 2.0, 62.5, 571.0))

    assert positions.now == pytest.approx({"setback_mm": 62.5, "bar_x_mm": 571.0})
    assert positions.u_mm == {"setback_mm": 0.3, "bar_x_mm": 0.5}


def test_a_saddle_that_follows_and_stands_is_right():
    positions, _ = watched(scans(0.0, 2.0, 80.0))
    positions.hold(80.0, 80.0)
    positions.feed(*scans(2.0, 5.0, 70.2))
    positions.hold(70.2, 70.0)

    assert all(not troubles for _, troubles in positions.feed(*scans(7.0, 5.0, 70.2)))


def test_a_sensor_that_sticks_is_named_when_the_saddle_should_have_moved():
    positions, _ = watched(scans(0.0, 2.0, 80.0))
    positions.hold(80.0, 80.0)
    positions.feed(*scans(2.0, 5.0, 80.0))

    positions.hold(80.0, 60.0)

    assert "a move of -20 mm was asked: the sensor sticks" in positions.troubles["saddle_slide"]
    (_, troubles), *_ = positions.feed(*scans(7.0, 2.0, 80.0))
    assert "sticks" in troubles["saddle_slide"]


def test_a_reading_of_a_saddle_or_bar_that_still_moves_is_told_before_it_is_taken():
    assert Positions([SADDLE, BAR]).moves() == ""
    positions, _ = watched(scans(0.0, 2.0, 80.0))
    assert positions.moves() == ""

    positions.feed(*scans(2.0, 0.3, 70.0))
    assert positions.moves().startswith("saddle_slide: moved by 10.0 mm within half a second: clamp it")
    positions.feed(*scans(2.3, 0.5, 70.0))
    assert positions.moves() == ""
    positions.feed(*scans(2.8, 0.1, 70.0, 573.0))
    assert positions.moves().startswith("bar_slide: moved by 3.0 mm")


def test_the_noise_of_a_sensor_is_no_move():
    rng = np.random.default_rng(1)
    samples, t_s = scans(0.0, 60.0, 70.0)
    sd_counts = [each.u_mm / 3.0 / each.mm_per_count for each in (BAR, SADDLE)]
    samples.counts[:] += np.rint(rng.normal(0.0, sd_counts, samples.counts.shape)).astype(np.int32)
    positions = Positions([SADDLE, BAR])

    told = set()
    for i in range(0, len(samples), 10):
        positions.feed(cut(samples, slice(i, i + 10)), t_s[i : i + 10])
        told.add(positions.moves())

    assert told == {""}


def test_a_reading_that_did_not_follow_is_told_before_it_is_taken():
    positions, _ = watched(scans(0.0, 2.0, 80.0))
    assert positions.doubt(80.0) == ""
    positions.hold(80.0, 80.0)
    positions.feed(*scans(2.0, 5.0, 80.0))

    assert positions.doubt(75.0).startswith("saddle_slide: moved by 0.0 mm where a move of -5 mm was asked")
    assert positions.doubt(80.0) == ""
    positions.feed(*scans(7.0, 5.0, 75.2))
    assert positions.doubt(75.0) == ""


def test_a_setback_entered_that_the_sensor_does_not_read_is_named():
    positions, _ = watched(scans(0.0, 2.0, 58.0))

    positions.hold(65.0, 65.0)

    assert "reads 58.0 mm where 65 mm was entered" in positions.troubles["saddle_slide"]


@pytest.mark.parametrize(
    ("moved", "name"), [({"setback_mm": 66.0}, "saddle_slide"), ({"bar_x_mm": 560.0}, "bar_slide")]
)
def test_what_moves_while_the_saddle_stands_is_named_within_the_second(moved, name):
    at = {"setback_mm": 70.0, "bar_x_mm": 570.0}
    positions, _ = watched(scans(0.0, 2.0, **at))
    positions.hold(70.0, 70.0)
    positions.feed(*scans(2.0, 3.0, **at))

    ended = positions.feed(*scans(5.0, 2.0, **{**at, **moved}))

    assert [name in troubles for _, troubles in ended] == [False, True]
    assert "while saddle and bar stood" in ended[-1][1][name]
    positions.hold({**at, **moved}["setback_mm"], 70.0)
    assert positions.troubles == {} or name not in positions.troubles


def jumped_by_8_mm():
    """A saddle at 70 mm whose sensor jumps while it is to stand."""
    positions, _ = watched(scans(0.0, 2.0, 70.0))
    positions.hold(70.0, 70.0)
    positions.feed(*scans(2.0, 3.0, 70.0))
    positions.feed(*scans(5.0, 5.0, 78.0))
    positions.stood(9.0)
    return positions


def test_a_sensor_that_has_jumped_is_not_believed_until_it_reads_what_is_asked():
    positions = jumped_by_8_mm()

    positions.hold(78.0, 70.0)
    assert "reads 78.0 mm where 70 mm was asked, and was wrong before" in positions.troubles["saddle_slide"]
    positions.feed(*scans(10.0, 5.0, 68.0))
    positions.hold(68.0, 60.0)
    assert "the sensor is wrong" in positions.troubles["saddle_slide"]
    positions.feed(*scans(15.0, 5.0, 50.5))
    positions.hold(50.5, 50.0)
    assert positions.troubles == {}


def entered_where_it_jumped():
    """The sensor jumps by 8 mm while the saddle is moved from 35 to 25 mm, and 25 is entered."""
    positions, _ = watched(scans(0.0, 2.0, 35.0))
    positions.hold(35.0, 35.0)
    positions.feed(*scans(2.0, 3.0, 35.0))
    positions.feed(*scans(5.0, 3.0, 25.0))
    positions.feed(*scans(8.0, 3.0, 33.0))
    positions.hold(25.0, 25.0, entered=True)
    return positions


def test_a_sensor_that_went_where_it_was_asked_and_jumped_is_not_said_to_stick():
    positions, _ = watched(scans(0.0, 2.0, 35.0))
    positions.hold(35.0, 35.0)
    positions.feed(*scans(2.0, 5.0, 25.0))
    positions.feed(*scans(7.0, 3.0, 33.0))

    said = positions.doubt(25.0)

    assert said.startswith("saddle_slide: went to 25.0 mm and now reads 33.0 mm, where a move of -10 mm was asked")
    assert "or the sensor has jumped" in said
    assert "sticks" not in said


@pytest.mark.parametrize("jump_mm", [8.0, -8.0])
def test_a_sensor_that_stood_at_what_is_asked_and_jumped_is_refused_however_long_the_move(jump_mm):
    positions, _ = watched(scans(0.0, 2.0, 60.0))
    positions.hold(60.0, 60.0)
    positions.feed(*scans(2.0, 3.0, 60.0))
    positions.feed(*scans(5.0, 4.0, 40.2))
    assert positions.doubt(40.0) == ""
    positions.feed(*scans(9.0, 3.0, 40.2 + jump_mm))

    said = positions.doubt(40.0)

    assert said.startswith(f"saddle_slide: stood at 40.2 mm and now reads {40.2 + jump_mm:.1f} mm where 40 mm is asked")
    positions.hold(40.0, 40.0, entered=True)
    positions.feed(*scans(12.0, 3.0, 30.0))
    assert "was wrong before" in positions.doubt(20.0)


def test_a_saddle_moved_past_what_is_asked_without_standing_there_is_taken_where_it_stands():
    positions, _ = watched(scans(0.0, 2.0, 60.0))
    positions.hold(60.0, 60.0)
    positions.feed(*scans(2.0, 1.0, 60.0))
    positions.feed(*scans(3.0, 1.0, 40.0))
    positions.feed(*scans(4.0, 3.0, 34.0))

    assert positions.doubt(40.0) == ""


def test_a_place_the_saddle_stood_at_before_it_was_last_set_refuses_nothing():
    positions, _ = watched(scans(0.0, 3.0, 40.0))
    positions.feed(*scans(3.0, 3.0, 60.0))
    positions.hold(60.0, 60.0)
    positions.feed(*scans(6.0, 1.0, 60.0))
    positions.feed(*scans(7.0, 3.0, 46.0))

    assert positions.doubt(40.0) == ""


def test_where_the_saddle_was_before_it_was_set_is_no_way_it_went():
    positions, _ = watched(scans(0.0, 2.0, 20.0))
    positions.feed(*scans(2.0, 2.0, 35.0))
    positions.hold(35.0, 35.0)
    positions.feed(*scans(4.0, 3.0, 35.0))

    assert "the sensor sticks" in positions.doubt(25.0)


def test_a_sensor_that_another_value_was_entered_for_is_not_taken_until_it_reads_what_is_asked():
    positions = entered_where_it_jumped()
    assert "reads 33.0 mm where 25 mm was entered" in positions.troubles["saddle_slide"]

    positions.feed(*scans(11.0, 3.0, 38.0))
    assert positions.doubt(30.0) == (
        "saddle_slide: reads 38.0 mm where 30 mm is asked, and was wrong before: enter the setback from the jig's scale"
    )
    positions.hold(38.0, 30.0)
    assert "reads 38.0 mm where 30 mm was asked, and was wrong before" in positions.troubles["saddle_slide"]
    positions.feed(*scans(14.0, 3.0, 20.5))
    assert positions.doubt(20.0) == ""
    positions.hold(20.5, 20.0)
    assert positions.troubles == {}
    positions.feed(*scans(17.0, 3.0, 15.0))
    assert positions.doubt(10.0) == ""
    positions.hold(15.0, 10.0)
    assert positions.troubles == {}


def test_a_sensor_in_doubt_that_reads_what_is_entered_beside_what_was_asked_is_believed():
    positions = entered_where_it_jumped()
    positions.feed(*scans(11.0, 3.0, 38.0))

    positions.hold(38.0, 30.0, entered=True)

    assert positions.troubles == {}
    positions.feed(*scans(14.0, 3.0, 58.0))
    assert positions.doubt(50.0) == ""


def test_a_saddle_that_slipped_and_was_put_back_is_believed():
    positions = jumped_by_8_mm()
    positions.feed(*scans(10.0, 5.0, 70.2))

    positions.hold(70.2, 70.0)
    positions.feed(*scans(15.0, 5.0, 55.0))
    positions.hold(55.0, 60.0)

    assert positions.troubles == {}


def test_a_saddle_that_was_set_beside_what_was_asked_is_believed_where_nothing_moved_by_itself():
    positions, _ = watched(scans(0.0, 2.0, 70.0))
    positions.hold(70.0, 70.0)
    positions.feed(*scans(2.0, 5.0, 70.0))
    positions.stood(7.0)
    positions.feed(*scans(7.0, 5.0, 55.0))

    positions.hold(55.0, 60.0)

    assert positions.troubles == {}


def test_however_scans_are_cut_the_same_is_found():
    at, t_s = scans(0.0, 4.0, 70.0)
    at.counts[250:, 1] += 700
    whole, pieces = Positions([SADDLE, BAR]), Positions([SADDLE, BAR])
    from daq.values import cut

    found = whole.feed(at, t_s)
    parts = [one for i in range(0, 400, 7) for one in pieces.feed(cut(at, slice(i, i + 7)), t_s[i : i + 7])]

    assert bits(found) == bits(parts)
    assert whole.now == pieces.now


def test_a_board_that_lacks_the_sensors_column_reads_nothing():
    positions = Positions([PositionSensor("saddle_slide", "setback_mm", 9, 0.01, 0.0, 0.3)])

    assert positions.feed(*scans(0.0, 2.0, 70.0)) == []
    assert positions.now == {}
