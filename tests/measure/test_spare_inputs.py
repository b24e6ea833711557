"""Which faults a board reports are those of inputs that the rig does not use."""

import numpy as np
import pytest

from daq.measure.spare_inputs import SpareInputs
from daq.values import Status, cut
from tests.wire.examples import scans

HIGHEST = (1 << 23) - 1
CHANNELS = [{"name": name, "bits": bits} for name, bits in (("bar", 24), ("saddle", 24), ("tilt", 16), ("spare", 24))]


def watch():
    return SpareInputs(CHANNELS, used={"bar", "saddle", "tilt"}, cells={"bar", "saddle"})


def noisy(n=50):
    counts = np.random.default_rng(3).normal(0.0, 200.0, (n, 4)).round().astype(int)
    counts[:, 2] = 100
    return counts


def test_a_spare_input_at_its_end_is_told_and_spoils_nothing():
    counts = noisy()
    counts[:, 3] = HIGHEST
    watching = watch()

    status = watching.status(scans(counts, status=np.full(50, Status.SATURATED | Status.CRANK_MARK)))

    assert (status == Status.CRANK_MARK).all()
    assert list(watching.troubles) == ["spare"]
    assert "is at the end of its scale. The rig file does not use it, nothing is stopped" in watching.troubles["spare"]


@pytest.mark.parametrize(("column", "end"), [(0, HIGHEST), (1, -HIGHEST - 1), (2, -32_768)])
def test_a_channel_of_the_rig_at_its_end_stays_a_fault(column, end):
    counts = noisy()
    counts[:, 3] = HIGHEST
    counts[20, column] = end

    status = watch().status(scans(counts, status=np.full(50, Status.SATURATED)))

    assert np.flatnonzero(status).tolist() == [20]


def test_a_spare_input_that_cannot_be_read_is_told_and_spoils_nothing():
    counts = noisy()
    counts[:, 3] = 77
    watching = watch()

    status = watching.status(scans(counts, status=np.full(50, Status.ADC_ERROR)))

    assert not status.any()
    assert "the input spare cannot be read" in watching.troubles["spare"]


def test_a_cell_that_cannot_be_read_stays_a_fault_from_its_second_repeat():
    counts = noisy()
    counts[10:, 1] = counts[10, 1]
    flags = np.where(np.arange(50) > 10, Status.ADC_ERROR, 0)

    status = watch().status(scans(counts, status=flags))

    assert np.flatnonzero(status).tolist() == list(range(12, 50))


def test_cut_anywhere_the_status_is_the_same():
    counts = noisy()
    counts[10:30, 1] = counts[10, 1]
    sent = scans(counts, status=np.full(50, Status.ADC_ERROR))
    whole = watch().status(sent)

    for at in range(1, 50):
        watching = watch()
        pieces = [watching.status(cut(sent, slice(0, at))), watching.status(cut(sent, slice(at, 50)))]
        assert np.concatenate(pieces).tolist() == whole.tolist()
    watching = watch()
    assert [int(watching.status(cut(sent, slice(i, i + 1)))[0]) for i in range(50)] == whole.tolist()


@pytest.mark.parametrize(
    ("made", "channels"),
    [
        (SpareInputs(), 4),
        (SpareInputs(CHANNELS[:3], used={"bar", "saddle", "tilt"}, cells={"bar", "saddle"}), 3),
        (SpareInputs([{"name": one["name"]} for one in CHANNELS], used={"bar"}, cells={"bar"}), 4),
    ],
)
def test_where_nothing_is_spare_or_nothing_known_the_boards_word_stands(made, channels):
    sent = scans(noisy()[:, :channels], status=np.full(50, 3))

    assert made.status(sent).tolist() == [3] * 50


def test_of_a_coarse_cell_the_fault_is_taken_as_its_own():
    coarse = [{**one, "bits": 16} for one in CHANNELS]
    watching = SpareInputs(coarse, used={"bar", "saddle", "tilt"}, cells={"bar", "saddle"})

    assert (watching.status(scans(noisy(), status=np.full(50, Status.ADC_ERROR))) != 0).all()
