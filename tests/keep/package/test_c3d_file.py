"""A sweep as C3D, read back by readers that know nothing of each other."""

import json
import warnings

import c3d
import numpy as np
import pytest

from daq.keep.again.derived import Derived
from daq.keep.again.recompute import recompute_stored
from daq.keep.errors import StoreError
from daq.keep.package.c3d_file import c3d_bytes, events
from daq.keep.package.datapackage import read_package
from daq.keep.package.export import export
from daq.keep.package.importing import import_sweep
from daq.keep.store import Store
from daq.values import Loads
from tests.keep.package.c3d_readers import READERS, by_description
from tests.keep.sweeps import computed, stored

LABELS = ["hands", "saddle", "tilt", "setback", "cell_hands", "cell_saddle"]


@pytest.fixture(scope="module")
def made(ridden_store, tmp_path_factory):
    with Store.open(ridden_store, write=False) as store:
        (made,) = export(store, [1], tmp_path_factory.mktemp("c3d") / "out", recompute_stored, with_c3d=True)
        yield made, recompute_stored(store, 1)


@pytest.fixture(scope="module", params=READERS)
def read(made, request):
    return request.param(made[0] / "sweep.c3d")


def test_every_reader_finds_the_same_channels_rate_and_numbers(made, read):
    with open(made[0] / "sweep.c3d", "rb") as file, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # c3d warns that there are no points
        reader = c3d.Reader(file)
        frames = [analog for _, _, analog in reader.read_frames()]

    assert np.array_equal(np.concatenate(frames, axis=1), read.analog.astype(np.float32), equal_nan=True)
    assert reader.analog_rate == read.number("ANALOG", "RATE") == 100.0
    assert [one.strip() for one in reader.analog_labels] == read.texts("ANALOG", "LABELS") == LABELS
    assert read.texts("ANALOG", "UNITS") == ["N", "N", "deg", "mm", "N", "N"]


def test_the_loads_are_those_of_the_sweep_at_a_constant_rate(made, read):
    loads = made[1].loads
    t_s = np.concatenate([part.t_s for part in loads])
    hands_n = np.concatenate([part.hands_n for part in loads])
    found = read.analog
    at_s = float(read.texts("FOREAFT", "START_S")[0]) + np.arange(found.shape[1]) / 100.0
    inside = at_s <= t_s[-1]

    assert np.allclose(found[0][inside], np.interp(at_s[inside], t_s, hands_n), atol=1e-3)
    assert np.isnan(found[0][~inside]).all()
    for step in made[1].steps:
        ridden = (at_s >= step.strokes[0].start_s) & (at_s < step.strokes[-1].end_s)
        assert set(found[3][ridden]) == {step.setback_mm}
        # averaged over whole strokes by the sweep, over samples here: within a part of a stroke's ripple
        assert found[0][ridden].mean() == pytest.approx(step.hand_load_n, abs=0.5)


def test_what_the_fitter_did_and_the_steps_are_events_at_their_times(made, read):
    minutes, seconds = read.parameters["EVENT"]["TIMES"]
    begin_s = float(read.texts("FOREAFT", "START_S")[0])
    found = list(zip((60 * minutes + seconds + begin_s).tolist(), read.texts("EVENT", "LABELS"), strict=True))

    assert read.number("EVENT", "USED") == len(found)
    assert [label for _, label in found].count("saddle_moved") == len(made[1].steps)
    for number, step in enumerate(made[1].steps, start=1):
        (at_s,) = [at_s for at_s, label in found if label == f"step {number} begins"]
        assert at_s == pytest.approx(step.strokes[0].start_s, abs=1e-4)
    assert read.texts("FOREAFT", "SIMULATED") == ["no"]


def test_it_is_listed_with_its_checksum_and_an_import_goes_past_it(made, tmp_path):
    package = read_package(made[0])
    assert package.paths["c3d"] == made[0] / "sweep.c3d"
    with Store.open(tmp_path / "other.sqlite") as other:
        assert import_sweep(other, made[0]) == 1
    listed = json.loads((made[0] / "datapackage.json").read_text())["resources"][-1]
    assert (listed["name"], listed["format"], "schema" in listed) == ("c3d", "c3d", False)


def test_where_scans_are_missing_there_is_no_load(tmp_path):
    t_s = np.concatenate([np.arange(0, 2, 0.01), np.arange(3, 5, 0.01)]) + 10.0
    loads = Loads(t_s, t_s, t_s, t_s, np.empty((len(t_s), 0)), np.zeros(len(t_s), np.uint8))
    (tmp_path / "gap.c3d").write_bytes(c3d_bytes(Derived(loads=(loads,)), [], {}))
    found = by_description(tmp_path / "gap.c3d").analog[0]

    at_s = 10.0 + np.arange(len(found)) / 100
    missing = np.isnan(found)
    assert missing[(at_s > 12.0) & (at_s < 12.99)].all()
    assert not missing[(at_s < 11.985) | ((at_s > 13.005) & (at_s < 14.985))].any()
    assert np.allclose(found[~missing], at_s[~missing], atol=1e-4)


def some_loads(begin_s=10.0):
    t_s = np.arange(0, 2, 0.01) + begin_s
    return Loads(t_s, t_s, t_s, t_s, np.empty((len(t_s), 0)), np.zeros(len(t_s), np.uint8))


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("count", [1, 2, 100, 3000])
def test_what_is_lost_stands_among_the_parameters(tmp_path, reader, count):
    said = [f"scans of 'bö' from {number}.003 to {number}.994 s (chunk {number})" for number in range(count)]
    (tmp_path / "lost.c3d").write_bytes(c3d_bytes(Derived(loads=(some_loads(),), losses=tuple(said)), [], {}))
    found = reader(tmp_path / "lost.c3d")

    assert found.number("FOREAFT", "LOST_COUNT") == count
    named = [one.replace("ö", "?") for one in said]
    assert found.texts("FOREAFT", "LOST") == (named if count <= 100 else [*named[:100], f"and {count - 100} more"])
    assert np.allclose(found.analog[0][:200], some_loads().hands_n, atol=1e-4)


def test_of_a_whole_sweep_nothing_is_lost(read):
    assert read.number("FOREAFT", "LOST_COUNT") == 0
    assert "LOST" not in read.parameters["FOREAFT"]


def test_a_sweep_without_loads_is_exported_without_the_file_and_it_is_said(store, tmp_path):
    told, sweep_id = [], stored(store)
    (made,) = export(store, [sweep_id], tmp_path / "out", lambda *_: Derived(), with_c3d=True, told=told.append)

    assert not (made / "sweep.c3d").exists()
    assert told == [f"left out: {made.name}/sweep.c3d: no loads can be computed of it"]
    assert read_package(made)


def test_a_sweep_that_is_there_without_the_file_is_told(store, tmp_path):
    told, sweep_id = [], stored(store)
    (made,) = export(store, [sweep_id], tmp_path / "out", computed)
    export(store, [sweep_id], tmp_path / "out", computed, with_c3d=True, told=told.append)

    assert told[0] == (
        f"left out: {made.name}/sweep.c3d: the sweep is there without it; move it away and export it again"
    )
    assert not (made / "sweep.c3d").exists()


def test_how_scale_and_proof_of_the_jig_stood_is_in_the_file(read):
    assert read.texts("FOREAFT", "JIG") == ["setback scale not checked"]


def test_of_nothing_there_is_no_file_and_without_the_package_a_sentence(monkeypatch):
    assert c3d_bytes(Derived(), [], {}) is None
    assert events(Derived(), [], 0.0) == []
    monkeypatch.setitem(__import__("sys").modules, "c3d", None)
    with pytest.raises(StoreError, match=r"pip install 'foreaft\[c3d\]'"):
        c3d_bytes(Derived(), [], {})
