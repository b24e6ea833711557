"""A sweep as C3D, read back by two readers that know nothing of each other: ezc3d (C++) and c3d (Python)."""

import json
import warnings

import c3d
import ezc3d
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

LABELS = ["hands", "saddle", "tilt", "setback", "hands", "saddle"]


@pytest.fixture(scope="module")
def made(ridden_store, tmp_path_factory):
    with Store.open(ridden_store, write=False) as store:
        (made,) = export(store, [1], tmp_path_factory.mktemp("c3d") / "out", recompute_stored, with_c3d=True)
        yield made, recompute_stored(store, 1)


@pytest.fixture(scope="module")
def read(made):
    return ezc3d.c3d(str(made[0] / "sweep.c3d"))


def text(value):
    return [one.strip() for one in value]


def test_both_readers_find_the_same_channels_rate_and_numbers(made, read):
    with open(made[0] / "sweep.c3d", "rb") as file, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # c3d warns that there are no points
        reader = c3d.Reader(file)
        frames = [analog for _, _, analog in reader.read_frames()]
    by_ezc3d, analog = read["data"]["analogs"][0], read["parameters"]["ANALOG"]

    assert np.array_equal(np.concatenate(frames, axis=1), by_ezc3d.astype(np.float32), equal_nan=True)
    assert reader.analog_rate == analog["RATE"]["value"][0] == 100.0
    assert text(reader.analog_labels) == text(analog["LABELS"]["value"]) == LABELS
    assert text(analog["UNITS"]["value"]) == ["N", "N", "deg", "mm", "N", "N"]


def test_the_loads_are_those_of_the_sweep_at_a_constant_rate(made, read):
    loads = made[1].loads
    t_s = np.concatenate([part.t_s for part in loads])
    hands_n = np.concatenate([part.hands_n for part in loads])
    found = read["data"]["analogs"][0]
    at_s = float(read["parameters"]["FOREAFT"]["START_S"]["value"][0]) + np.arange(found.shape[1]) / 100.0
    inside = at_s <= t_s[-1]

    assert np.allclose(found[0][inside], np.interp(at_s[inside], t_s, hands_n), atol=1e-3)
    assert np.isnan(found[0][~inside]).all()
    for step in made[1].steps:
        ridden = (at_s >= step.strokes[0].start_s) & (at_s < step.strokes[-1].end_s)
        assert set(found[3][ridden]) == {step.setback_mm}
        # averaged over whole strokes by the sweep, over samples here: within a part of a stroke's ripple
        assert found[0][ridden].mean() == pytest.approx(step.hand_load_n, abs=0.5)


def test_what_the_fitter_did_and_the_steps_are_events_at_their_times(made, read):
    event = read["parameters"]["EVENT"]
    minutes, seconds = event["TIMES"]["value"]
    begin_s = float(read["parameters"]["FOREAFT"]["START_S"]["value"][0])
    found = list(zip((60 * minutes + seconds + begin_s).tolist(), text(event["LABELS"]["value"]), strict=True))

    assert event["USED"]["value"][0] == len(found)
    assert [label for _, label in found].count("saddle_moved") == len(made[1].steps)
    for number, step in enumerate(made[1].steps, start=1):
        (at_s,) = [at_s for at_s, label in found if label == f"step {number} begins"]
        assert at_s == pytest.approx(step.strokes[0].start_s, abs=1e-4)
    assert text(read["parameters"]["FOREAFT"]["SIMULATED"]["value"]) == ["no"]


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
    found = ezc3d.c3d(str(tmp_path / "gap.c3d"))["data"]["analogs"][0][0]

    at_s = 10.0 + np.arange(len(found)) / 100
    missing = np.isnan(found)
    assert missing[(at_s > 12.0) & (at_s < 12.99)].all()
    assert not missing[(at_s < 11.985) | ((at_s > 13.005) & (at_s < 14.985))].any()
    assert np.allclose(found[~missing], at_s[~missing], atol=1e-4)


def test_how_scale_and_proof_of_the_jig_stood_is_in_the_file(read):
    assert text(read["parameters"]["FOREAFT"]["JIG"]["value"]) == ["setback scale not checked"]


def test_of_nothing_there_is_no_file_and_without_the_package_a_sentence(monkeypatch):
    assert c3d_bytes(Derived(), [], {}) is None
    assert events(Derived(), [], 0.0) == []
    monkeypatch.setitem(__import__("sys").modules, "c3d", None)
    with pytest.raises(StoreError, match=r"pip install 'foreaft\[c3d\]'"):
        c3d_bytes(Derived(), [], {})
