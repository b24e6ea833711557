"""The recordings that come with the program replay to the answers they were recorded with."""

import functools
import json
import struct

import pytest
from click.testing import CliRunner

from daq.cli import main
from daq.cli.telling import answer_lines
from daq.items import Event
from daq.keep.again.replay import replayed
from daq.keep.recording import read_recording
from daq.keep.recording_blocks import MAGIC
from daq.sweep.contract import contract, in_contract
from daq.values import Onset, StepMean, Verdict
from tests.recorded import RECORDINGS

FILES = sorted(RECORDINGS.glob("*.rec"))


def answers(path):
    """The last answer replayed, and the one recorded."""
    recording = read_recording(path)
    again = [output for output in replayed(recording) if isinstance(output, StepMean | Onset)]
    recorded = [item.content for item in recording.items() if isinstance(item, Event) and item.kind == "answer"]
    return again, recorded[-1]


once = functools.cache(answers)
"""A replay takes seconds; the tests only read what came of it."""


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_recording_is_whole_says_that_it_is_simulated_and_is_named_in_the_readme(path):
    recording = read_recording(path)

    assert recording.complete
    assert recording.header["simulated"] is True
    assert "simulated" in recording.header["provenance"]
    assert f"`{path.name}`" in (RECORDINGS / "README.md").read_text()


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_recording_replays_to_the_answer_it_was_recorded_with(path):
    again, recorded = once(path)

    answer = again[-1]
    assert len([output for output in again if isinstance(output, StepMean)]) == 11
    assert answer.verdict == recorded["verdict"]
    # the recording holds the answer of the version that made it; an estimator is refined by less than this
    assert answer.onset_mm == pytest.approx(recorded["onset_mm"], abs=0.5)
    assert answer.p_onset == pytest.approx(recorded["p_onset"], abs=0.1)


@pytest.mark.parametrize("block", [1, 2, 20, 35, 84])
def test_with_a_damaged_block_the_rest_is_replayed_to_nearly_the_same_answer_which_says_so(tmp_path, block):
    """Block 1 holds the sweep's beginning, which this older recording holds once; block 84 the end of the last step."""
    path, harmed = RECORDINGS / "level-hinge.rec", tmp_path / "harmed.rec"
    content = bytearray(path.read_bytes())
    at = len(MAGIC)
    for _ in range(block):
        at += 8 + struct.unpack_from("<I", content, at)[0]
    content[at + 100] ^= 0x10
    harmed.write_bytes(content)
    again, recorded = answers(harmed)

    answer = again[-1]
    assert 10 <= len([output for output in again if isinstance(output, StepMean)]) <= 11
    assert "is lost: all that was received from" in answer.reasons[-1]
    if block == 1:
        assert (answer.verdict, answer.onset_mm) == (Verdict.UNDECIDED, None)
        assert "the event that began this sweep is lost" in answer.reasons[0]
    assert answer.least_squares_mm == pytest.approx(recorded["least_squares_mm"], abs=1.5)


def test_a_recording_whose_header_is_lost_replays_to_the_same_bits_by_the_rig_file(tmp_path):
    """These recordings are of a time when nothing repeated the header."""
    path, harmed, rig_file = FILES[0], tmp_path / "harmed.rec", tmp_path / "rig.toml"
    content = bytearray(path.read_bytes())
    content[len(MAGIC) + 100] ^= 0x10
    harmed.write_bytes(content)
    header = read_recording(path).header
    rig_file.write_text('calibration = "jig.json"\n' + header["rig"])
    (tmp_path / "jig.json").write_text(json.dumps(header["calibration"]))
    run = CliRunner()

    refused = run.invoke(main, ["replay", str(harmed)])
    told = run.invoke(main, ["replay", str(harmed), "--rig", str(rig_file)])
    of_json = run.invoke(main, ["replay", str(path), "--rig", str(rig_file), "--json"])

    assert refused.exit_code == 2
    assert "foreaft replay --rig RIG.toml" in refused.stderr
    assert "the header block at byte 20 is damaged: one was given" in told.stderr
    assert "the header is lost, and with it whether this was simulated" in told.stdout
    assert told.stdout.splitlines()[:-1] == answer_lines(once(path)[0][-1])
    assert "its own header can be read, so that --rig is not used" in of_json.stderr
    content = json.loads(of_json.stdout)
    assert content["simulated"] is True
    assert content["onset"] == json.loads(json.dumps(contract(once(path)[0][-1])))
    assert content["recorded_onset"] == in_contract(once(path)[1])


def test_the_same_file_replays_twice_to_the_same_bits():
    assert repr(answers(FILES[0])) == repr(once(FILES[0]))


def test_the_interval_of_the_rider_with_an_onset_holds_the_truth():
    path = RECORDINGS / "level-hinge.rec"
    again, _ = once(path)

    low, high = again[-1].interval_95_mm
    assert low <= read_recording(path).header["truth"]["onset_mm"] <= high


def test_of_the_rider_without_an_onset_no_setback_is_named():
    again, _ = once(RECORDINGS / "level-flat.rec")

    assert again[-1].verdict in (Verdict.LIGHT, Verdict.UNDECIDED)
    assert again[-1].onset_mm is None
    assert again[-1].suggested_setback_mm is None
