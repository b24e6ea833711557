"""Files a person writes or receives, damaged in any way: read, or refused in a sentence; never a fault of ours."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from daq.cli.settings import read_settings
from daq.fit.intake import Intake
from daq.keep.recording import read_recording
from daq.keep.recording_blocks import BadRecording
from daq.live.web.keys_file import read_keys
from daq.measure.balance_report import balance_report
from daq.measure.calibration import from_dict
from daq.measure.calibration.report import fit_report
from daq.rig_file import RigError, parse_rig
from daq.sweep.steps_csv import BadTable
from daq.values import StepMean
from tests.sweep.tables import parse_steps

RIG = (Path(__file__).parents[2] / "firmware_notes" / "rig.example.toml").read_text()
STEPS = "setback_mm,hand_load_n,se_n\n80,90.1,2\n70,91,2\n60,89.5,2\n50,94,2\n40,108,2\n30,124,2\n"
POINTS = "load_n,reading\n0,12\n100,100013\n200,200010\n300,300011\n0,14\n"
STATE = {"mass_kg": 75, "gradient_pct": 5, "hand_load_n": 104.9, "saddle_load_n": 388.3}
MANY = settings(max_examples=150)
NASTY = st.sampled_from(
    ["\0", "\ufeff", "\n", "\r", '"', "'", ",", ";", "=", "[", "]", "nan", "1e999", "-", "\ud800", "9" * 400]
)


@st.composite
def damaged(draw, text):
    """The text with a piece cut out, doubled or replaced, once or a few times."""
    for _ in range(draw(st.integers(1, 3))):
        start = draw(st.integers(0, len(text)))
        end = draw(st.integers(start, min(len(text), start + 40)))
        text = (
            text[:start]
            + draw(st.one_of(st.just(""), st.just(text[start:end] * 2), NASTY, st.text(max_size=8)))
            + text[end:]
        )
    return text


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=10),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=12), inner, max_size=4),
    max_leaves=12,
)


def said(error):
    """A refusal says something, in one paragraph, that is not a bare repetition of Python's."""
    words = str(error)
    assert len(words) > 10
    assert "Traceback" not in words


@MANY
@given(damaged(RIG) | st.text(max_size=200))
@example("")
@example("channels = 1")
def test_a_rig_file(text):
    try:
        rig = parse_rig(text)
    except RigError as error:
        said(error)
    else:
        assert rig.cells


@MANY
@given(damaged(STEPS) | st.text(max_size=200))
def test_a_table_of_steps(text):
    try:
        steps, _ = parse_steps(text)
    except BadTable as error:
        said(error)
    else:
        assert all(isinstance(step, StepMean) for step in steps)


@MANY
@given(damaged(POINTS) | st.text(max_size=200), st.sampled_from([1, 2]))
def test_points_of_a_calibration(text, order):
    try:
        fit_report(text, order)
    except ValueError as error:
        said(error)


@MANY
@given(
    st.dictionaries(st.sampled_from([*STATE, "g", "power_w"]), JSON, max_size=6).map(lambda some: {**STATE, **some})
    | JSON
)
def test_a_mean_state(content):
    try:
        balance_report(content)
    except (ValueError, TypeError) as error:
        said(error)


@MANY
@given(JSON)
def test_a_calibration(content):
    with pytest.raises((ValueError, KeyError, TypeError)):
        from_dict(content)


@MANY
@given(st.dictionaries(st.sampled_from(list(Intake.model_fields)), JSON, max_size=6))
def test_an_intake(content):
    try:
        Intake.model_validate(content)
    except ValueError as error:
        said(error)


@settings(max_examples=60)
@given(st.binary(max_size=300))
def test_a_recording(content):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sweep.fa"
        path.write_bytes(content)

        with pytest.raises(BadRecording):
            read_recording(path)


@settings(max_examples=60)
@given(st.binary(max_size=200) | JSON.map(lambda content: json.dumps(content).encode()))
def test_kept_keys(content):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "keys.json"
        path.write_bytes(content)

        assert read_keys(path) is None


@settings(max_examples=60)
@given(damaged('port = 8765\nrig = "jig.toml"\nlan = true\n'))
def test_settings(text):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "config.toml"
        path.write_bytes(text.encode("utf-8", "surrogatepass"))

        assert code_of(lambda: read_settings(path)) in (0, 2)


def code_of(command):
    """The exit code a command ends with; 0 when it does not end."""
    try:
        command()
    except SystemExit as ended:
        return ended.code
    return 0
