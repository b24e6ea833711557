"""What asks for more work than its size accounts for is given up, and what is sound is far from that."""

import itertools

import pytest

from daq.items import Event
from daq.keep.again.replay import replayed
from daq.keep.errors import StoreDamaged
from daq.keep.package.export import export
from daq.keep.package.importing import import_sweep
from daq.keep.recording import RecordingWriter, read_recording
from daq.keep.recording_blocks import BadRecording
from daq.keep.store import Store
from tests.keep.sweeps import computed, stored
from tests.recorded import RECORDINGS


def short(path, *more):
    """The first items of a recorded sweep, and more after them."""
    recording = read_recording(RECORDINGS / "level-hinge.rec")
    with RecordingWriter(path, recording.header) as writer:
        for item in [*itertools.islice(recording.items(), 60), *more]:
            writer.add(item)
    return read_recording(path)


@pytest.fixture
def hurried(monkeypatch):
    """A clock on which every look costs a second."""
    now_s = iter(range(10**9))
    monkeypatch.setattr("daq.keep.bounded.time.process_time", lambda: float(next(now_s)))


def test_a_replay_that_never_ends_is_given_up(tmp_path, hurried):
    recording = short(tmp_path / "short.rec")

    with pytest.raises(BadRecording, match=r"short\.rec: asks for more work than a file of its size can; given up"):
        list(replayed(recording))


@pytest.mark.parametrize(
    ("event", "said"),
    [
        (Event(10**9, "zero", {"zero_counts": [1e300]}), r"event at 1000\.000 s: ValueError: zero: zero_counts\.0"),
        (Event(10**9, "sweep-begun", {"plan": {}}), "sweep-begun: mass_kg"),
        (Event(10**9, "fitter", {"event": "redo"}), "event at 1000"),
    ],
)
def test_an_event_that_no_session_received_ends_a_replay_by_name(tmp_path, event, said):
    recording = short(tmp_path / "short.rec", event)

    with pytest.raises(BadRecording, match=rf"short\.rec: .*{said}"):
        list(replayed(recording))


def test_an_import_that_never_ends_is_given_up_and_leaves_nothing(tmp_path, hurried):
    with Store.open(tmp_path / "store.sqlite") as store:
        (made,) = export(store, [stored(store)], tmp_path / "out", computed, purpose="client", form="csv.gz")

    with Store.open(tmp_path / "other.sqlite") as other:
        with pytest.raises(StoreDamaged, match="asks for more work than a file of its size can; given up"):
            import_sweep(other, made)
        assert other.sessions() == []
