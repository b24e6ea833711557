"""Sweeps as a BIDS dataset, held against the rules of the standard's own validator (bids-validator 3, schema 1.x)."""

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas
import pytest

from daq.keep.again.derived import Derived
from daq.keep.again.recompute import recompute_stored
from daq.keep.clients import people
from daq.keep.package.bids import CHANNEL_COLUMNS
from daq.keep.package.bids import setback_mm as setback_at
from daq.keep.package.bids_dataset import export_bids
from daq.keep.package.one_kind import FOR_CLIENT
from daq.keep.package.permission import ExportRefused
from daq.keep.package.terms import contributor
from daq.keep.store import Store
from tests.keep.sweeps import computed, stored

VALIDATOR = Path(sys.executable).parent / "bids-validator-deno"


@pytest.fixture(scope="module")
def made(ridden_store, tmp_path_factory):
    """The motion files of two sweeps, the folder they lie in, and the first sweep as it was computed."""
    folder = tmp_path_factory.mktemp("bids") / "out"
    ada = contributor("Ada Quill")
    with Store.open(ridden_store, write=False) as store:
        motion = export_bids(store, [1, 2], folder, recompute_stored, contributors=[ada], told=[].append)
        return folder, motion, recompute_stored(store, 1)


def verdict(folder):
    done = subprocess.run([VALIDATOR, folder, "--json"], capture_output=True, text=True, check=False)
    return json.loads(done.stdout)


def tsv(path, **options):
    return pandas.read_csv(path, sep="\t", na_values="n/a", **options)


def beside(motion, ending, system="_tracksys-jig"):
    return motion.with_name(motion.name.replace("_tracksys-jig", system).replace("motion.tsv", ending))


def test_the_standards_validator_finds_no_error_and_sees_motion(made):
    found = verdict(made[0])

    assert [one for one in found["issues"]["issues"] if one["severity"] == "error"] == []
    assert found["summary"]["tasks"] == ["setback"]
    assert found["summary"]["modalities"] == ["motion"]
    assert len(found["summary"]["subjects"]) == 1


def test_the_standards_validator_finds_no_error_in_what_is_for_a_client(ridden_store, tmp_path):
    with Store.open(ridden_store, write=False) as store:
        export_bids(store, [1], tmp_path / "own", recompute_stored, purpose="client")
    found = verdict(tmp_path / "own")

    assert (tmp_path / "own" / FOR_CLIENT).exists()
    assert [one for one in found["issues"]["issues"] if one["severity"] == "error"] == []


def test_the_validator_misses_the_count_of_no_kind_of_channel_there_is(made):
    """A key it does not know it ignores; but each count it knows and does not find it recommends."""
    found = verdict(made[0])["issues"]["issues"]
    recommended = {one["subCode"] for one in found if one["code"] == "SIDECAR_KEY_RECOMMENDED"}
    kinds = set(tsv(beside(made[1][0], "channels.tsv"), keep_default_na=False)["type"])

    assert "GYROChannelCount" in recommended, "of a kind there is not"
    assert kinds == {"MISC", "ORNT", "POS", "LATENCY"}
    assert not {f"{kind}ChannelCount" for kind in kinds} & recommended


def test_the_validator_would_have_found_one(made, tmp_path):
    (tmp_path / "dataset_description.json").write_text('{"Name": "x", "BIDSVersion": "1.10.0"}')
    motion = tmp_path / made[1][0].relative_to(made[0])
    motion.parent.mkdir(parents=True)
    motion.write_text("1\t2\n")
    beside(motion, "motion.json").write_text("{}")

    assert [one for one in verdict(tmp_path)["issues"]["issues"] if one["severity"] == "error"]


def test_a_row_a_scan_with_the_loads_of_the_sweep_and_their_times(made):
    _, motion, derived = made
    channels = tsv(beside(motion[0], "channels.tsv"), keep_default_na=False)
    rows = tsv(motion[0], header=None, names=channels["name"])
    t_s, hands_n = (np.concatenate([getattr(part, name) for part in derived.loads]) for name in ("t_s", "hands_n"))

    assert list(channels.columns) == list(CHANNEL_COLUMNS)
    assert list(channels["name"]) == [
        "hands",
        "saddle",
        *(f"cell_{one}" for one in derived.cells),
        "tilt",
        "setback",
        "latency",
    ]
    assert np.abs(rows.hands - hands_n).max() <= 0.00051
    assert np.abs(rows.latency - (t_s - t_s[0])).max() <= 0.51e-6
    about = json.loads(beside(motion[0], "motion.json").read_text())
    assert about["SamplingFrequency"] == 100.0
    assert about["SamplingFrequencyEffective"] == pytest.approx(100.0, rel=1e-3)
    assert (channels.type == "MISC").sum() == about["MISCChannelCount"]


def test_steps_are_events_over_the_rows_they_were_averaged_from(made):
    _, motion, derived = made
    events = tsv(beside(motion[0], "events.tsv", ""))
    steps = events[events.trial_type == "step"]
    rows = tsv(motion[0], header=None)
    latency_s, setback_mm = rows.iloc[:, -1], rows.iloc[:, -2]

    assert steps.setback_mm.tolist() == [step.setback_mm for step in derived.steps]
    assert steps.hand_load_n.tolist() == pytest.approx([step.hand_load_n for step in derived.steps], abs=0.00051)
    for step in steps.itertuples():
        inside = (latency_s > step.onset + 0.001) & (latency_s < step.onset + step.duration - 0.001)
        assert set(setback_mm[inside]) == {step.setback_mm}
    assert (events.trial_type == "saddle_moved").sum() == len(steps)
    ends = [at_s for step in derived.steps for at_s in (step.strokes[0].start_s, step.strokes[-1].end_s)]
    at_ends = setback_at(derived, np.array(ends))
    assert at_ends[::2].tolist() == steps.setback_mm.tolist(), "from the scan that begins the first stroke"
    assert np.isnan(at_ends[1::2]).all(), "up to the one that ends the last, which begins the next"


def test_what_each_sweep_gave_stands_in_the_scans_of_its_session(made):
    folder, motion, derived = made
    (path,) = folder.glob("sub-*/ses-*/*_scans.tsv")
    scans = tsv(path)

    assert scans.filename.tolist() == [one.relative_to(path.parent).as_posix() for one in motion]
    assert scans.onset_mm[0] == derived.onset.onset_mm
    assert scans.verdict[0] == str(derived.onset.verdict)
    assert scans.jig[0] == "setback scale not checked"
    begun = pandas.to_datetime(scans.acq_time)
    assert (begun[1] - begun[0]).total_seconds() == pytest.approx(75.0, abs=0.1)


def test_what_is_there_stays_and_more_is_added(store, tmp_path):
    ids, told = [stored(store) for _ in range(2)], []
    (first,) = export_bids(store, ids[:1], tmp_path / "out", computed)
    first.write_text("kept\n")
    made = export_bids(store, ids, tmp_path / "out", computed, is_coarse=False, told=told.append)

    assert first.read_text() == "kept\n"
    assert [one.name for one in made] == [first.name.replace("run-01", "run-02")]
    assert told == [f"{first} is there already and stays as it is"]
    assert tsv(tmp_path / "out" / "participants.tsv").participant_id.tolist() == ["sub-simulated"]


def test_coarse_has_months_and_masses_to_5_kg_and_no_time_of_day(own_ridden_store, tmp_path):
    with Store.open(own_ridden_store) as opened:
        (made,) = export_bids(opened, [1], tmp_path / "out", recompute_stored, is_coarse=True)
    (scans,) = (tmp_path / "out").glob("sub-*/ses-*/*_scans.tsv")

    assert "_ses-202603_" in made.name
    assert tsv(scans).acq_time.isna().all()
    assert tsv(scans).mass_kg.tolist() == [75.0]


def test_a_name_in_a_channel_leaves_for_the_client_alone(store, tmp_path):
    client = people.add_client(store, name="Saddle Quill")
    people.set_consent(store, client.id, "research", True)
    sweep_id, told = stored(store, client_id=client.id, simulated=False), []

    def named(store, sweep_id):
        return replace(computed(store, sweep_id), cells=("saddle_nose", "hands_quill"))

    export_bids(store, [sweep_id], tmp_path / "out", named, told=told.append)
    assert any("client's name stands in the channel hands_quill" in one for one in told)
    assert not list(tmp_path.rglob("*motion.tsv"))

    assert export_bids(store, [sweep_id], tmp_path / "own", named, purpose="client", told=told.append)


def test_without_consent_or_loads_nothing_is_written_and_it_is_said(store, tmp_path):
    client = people.add_client(store, name="Ada Quill")
    sweep_id, told = stored(store, client_id=client.id, simulated=False), []
    with pytest.raises(ExportRefused, match="has not agreed"):
        export_bids(store, [sweep_id], tmp_path / "out", computed)
    assert not (tmp_path / "out").exists()

    people.set_consent(store, client.id, "research", True)
    assert export_bids(store, [sweep_id], tmp_path / "out", lambda *_: Derived(), told=told.append) == []
    assert told == [f"left out: sweep {sweep_id}: no loads can be computed of it"]
    assert not list((tmp_path / "out").glob("sub-*"))
