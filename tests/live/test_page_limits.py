"""The limits of the page's fields against the daemon's own: a field that takes less than the daemon hides a setting,
one that takes more is refused after it was filled in. The page's source is read, since its rows are literals in it."""

import re
from collections.abc import Iterator
from dataclasses import MISSING, fields
from pathlib import Path
from typing import Any, get_args

import pytest
from pydantic import BaseModel

from daq.fit.decision import Decision, FollowUp
from daq.fit.intake import BegunIntake
from daq.fit.prechecks import Measured
from daq.fit.sketch import Sketch
from daq.fit.step_notes import LIMITS as OF_A_STEP
from daq.fit.step_notes import PAIN, SADDLE_TILT
from daq.live.bench.wanted import Wanted
from daq.live.web.api_bench import WeightOn
from daq.live.web.api_proof import NewProof
from daq.live.web.api_typed import KnownWeight, TypedEffort
from daq.sweep.plan import FEWEST_POSITIONS, LIMITS, BarHeightPolicy, ChanceOf, HeightPolicy, Plan
from daq.sweep.setting import MISPLACED_MM
from daq.values import FEET_SHARE, Z_95
from tests.__main__ import ROOT

PAGE = ROOT / "dashboard"
MODULES = sorted(path for path in PAGE.rglob("*.js") if "vendor" not in path.parts)
COMMENT = re.compile(r"/\*\*.*?\*/", re.S)
ROW = re.compile(r"\{[^{}]*\b(?:kind|words): [^{}]*\b(?:least|most|options|value): [^{}]*\}")
BOUND = re.compile(r"\b(?:least|most): -?\d")
TEXT = r'"([^"]*)"'
AMOUNT = re.compile(rf"amount\({TEXT}, {TEXT}, {TEXT}, ([-\d.]+), ([-\d.]+), ([-\d.]+), ([-\d.]+)\)")
NUMBER = r"(-?\d+(?:\.\d+)?)\b"

MODELS: dict[str, type[BaseModel]] = {
    "screens/bench/check.js": WeightOn,
    "screens/bench/rows.js": Wanted,
    "screens/checks/acts.js": Measured,
    "screens/checks/known_weight.js": KnownWeight,
    "screens/client/rows.js": BegunIntake,
    "screens/decide/chosen.js": Decision,
    "screens/followup.js": FollowUp,
    "screens/plan.js": Sketch,
    "screens/prove/rows.js": NewProof,
    "screens/run/reading.js": TypedEffort,
}
"""What the fields of a file are sent as."""
ELSEWHERE = {
    "Power": "power_w",
    "Cadence": "cadence_rpm",
    "feel.$name": "feel.front_light",
    "known": "known_kg",
    "settles": "settles_s",
    "mass.mass_kg": "dummy.mass.mass_kg",
    "mass.ahead_m": "dummy.mass.ahead_m",
    "mass.above_m": "dummy.mass.above_m",
    "mass.pin_behind_mm": "dummy.mass.pin_behind_mm",
    "loaded_chance_pct": "loaded_chance",
    "expanded_pct": "reference.expanded_relative",
    "sensitivity_ppm": "sensitivity_per_k",
}
"""Fields of the page that go by another name in what is sent."""
UNITS = {"expanded_pct": 100.0, "sensitivity_ppm": 1e6, "loaded_chance_pct": 100.0}
"""How many of the page's unit make one of the daemon's."""
NARROWER: dict[tuple[str, str], tuple[dict[str, Any], str]] = {
    ("screens/plan.js", "apart_mm"): ({"least": 1.0}, "in whole millimetres, and above 0"),
    ("screens/run/reading.js", "Cadence"): ({"least": 1.0}, "above 0: a display shows whole revolutions"),
    ("screens/checks/known_weight.js", "known"): ({"least": 0.1}, "above 0: the step of a kitchen scale"),
    ("screens/bench/check.js", "mass_kg"): ({"least": 0.1}, "above 0: less tells nothing of a jig's cell"),
    ("screens/bench/rows.js", "expanded_pct"): ({"least": 0.0001, "most": 19.0}, "above 0 and below 20 %"),
    ("screens/prove/rows.js", "dummy.u_rate_n_per_mm"): ({"least": 0.0001}, "above 0"),
    ("screens/prove/rows.js", "dummy.u_datum_mm"): ({"least": 0.01}, "above 0: the step of a caliper"),
    ("screens/prove/rows.js", "dummy.u_level_deg"): ({"least": 0.001}, "above 0"),
    ("screens/prove/rows.js", "mass.mass_kg"): ({"least": 0.1}, "above 0: the step of a kitchen scale"),
}
"""Where the page takes less than the daemon, and why. An open end of the daemon's has to be a number here."""
PROPOSED = {
    ("screens/bench/rows.js", "crosstalk_kg"): (20.0, "the page proposes the test, a program has to ask for it"),
    ("screens/plan.js", "blinded"): (True, "with a fitter there is a rider who could look"),
    ("screens/plan.js", "rear_mm"): (80.0, "the daemon has to be told"),
    ("screens/plan.js", "front_mm"): (30.0, "the daemon has to be told"),
    ("screens/plan.js", "apart_mm"): (5.0, "the daemon has to be told"),
}
"""What the page fills in where the daemon takes something else, or nothing, for a value left out."""
NO_MODEL = {
    ("screens/bench/rows.js", "masses"): "a list, with an example to be written over",
    ("screens/prove.js", "name"): "what is measured depends on the task, and the task checks it",
    ("screens/bench/rows.js", "curve"): "in words what is sent as the order of the line",
    ("screens/bench/check.js", "on"): "the rig's own cells beside hands and saddle",
}


def literal(text: str) -> Any:
    """A value as JavaScript writes it."""
    return {"true": True, "false": False}[text] if text in ("true", "false") else float(text)


def constants() -> dict[str, list[str]]:
    """The lists of words that rows share."""
    rows = (PAGE / "screens/client/rows.js").read_text()
    found = re.findall(r"export const (\w+) = Object\.freeze\(\[(.*?)\]\);", rows, re.S)
    return {name: re.findall(TEXT, inner) for name, inner in found}


def row_of(text: str) -> dict[str, Any]:
    """What a row's literal says."""
    named = re.search(r"\bpath: [\"`]?([^\"`,]*)", text) or re.search(rf"\bwords: {TEXT}", text)
    row: dict[str, Any] = {"name": named[1] if named else ""}
    for name in ("least", "most"):
        if number := re.search(rf"\b{name}: {NUMBER}", text):
            row[name] = float(number[1])
    if value := re.search(rf"\bvalue: (?:{NUMBER}|(true|false)|{TEXT})", text):
        row["value"] = value[3] if value[3] is not None else literal(value[1] or value[2])
    if options := re.search(r"\boptions: (?:\[(.*?)\]|([A-Z]+))", text, re.S):
        row["options"] = constants()[options[2]] if options[2] else re.findall(TEXT, options[1])
        if "required: true" in text and "asked: true" not in text:
            row["value"] = row["options"][0]
    return row


def source_of(path: Path) -> str:
    """The code of a module; what stands in braces within a text is no row's."""
    return COMMENT.sub("", path.read_text("utf-8")).replace("${name}", "$name")


def rows() -> Iterator[tuple[str, dict[str, Any]]]:
    """Every row of the page that limits or fills in what is typed, with its file."""
    for path in MODULES:
        file, text = str(path.relative_to(PAGE)), source_of(path)
        for name, _, _, value, least, most, _ in AMOUNT.findall(text):
            yield file, {"name": name, "value": float(value), "least": float(least), "most": float(most)}
        for found in ROW.findall(text):
            yield file, row_of(found)


ROWS = list(rows())


OF_THE_PLAN: dict[str, Any] = {
    "height_policy": HeightPolicy,
    "bar_height_policy": BarHeightPolicy,
    "chance_of": ChanceOf,
    "blinded": None,
    **dict.fromkeys((name for name, _, _ in LIMITS), None),
}
"""What Plan checks by itself, since a program makes plans too, with the words it takes."""


def field_of(model: type[BaseModel], path: str) -> dict[str, Any]:
    """The JSON Schema of one field, the one beside null where it may be left out."""
    at: dict[str, Any] = model.model_json_schema()
    parts = at.get("$defs", {})
    for name in path.split("."):
        given = at["properties"][name]
        at = next((one for one in given.get("anyOf", [given]) if one.get("type") != "null"), given)
        at = parts[at["$ref"].rpartition("/")[2]] if "$ref" in at else at
        at = {**at, "default": given.get("default")}
    return at


def of_the_plan(name: str) -> dict[str, Any]:
    """The same of a value that Plan checks by itself."""
    default = next(one.default for one in fields(Plan) if one.name == name)
    bounds = [{"minimum": low, "maximum": high} for limited, low, high in LIMITS if limited == name]
    words = [{"enum": list(get_args(OF_THE_PLAN[name]))}] if OF_THE_PLAN[name] else []
    return {"default": None if default is MISSING else default, **(bounds + words + [{}])[0]}


def daemon_of(file: str, name: str) -> dict[str, Any]:
    """What the daemon takes where the page has this row."""
    if file == "screens/run/says.js":
        low, high = OF_A_STEP[SADDLE_TILT]
        return {"minimum": low, "maximum": high}
    sent = ELSEWHERE.get(name, name)
    if file == "screens/plan.js" and sent in OF_THE_PLAN:
        return of_the_plan(sent)
    return field_of(MODELS[file], sent)


def close(value: float) -> Any:
    return pytest.approx(value, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(("file", "row"), ROWS, ids=[f"{file} {row['name']}" for file, row in ROWS])
def test_a_field_of_the_page_takes_what_the_daemon_takes(file, row):
    if (file, row["name"]) in NO_MODEL:
        return
    told, per = daemon_of(file, row["name"]), UNITS.get(row["name"], 1.0)
    narrower, _ = NARROWER.get((file, row["name"]), ({}, ""))
    for name, bound, inside in (("least", "minimum", 1.0), ("most", "maximum", -1.0)):
        ends = {bound: told.get(bound), f"exclusive{bound.capitalize()}": told.get(f"exclusive{bound.capitalize()}")}
        end = next((per * one for one in ends.values() if one is not None), None)
        if name in narrower:
            assert row[name] == narrower[name]
            assert end is not None
            assert inside * (row[name] - end) > 0.0, "no longer narrower: strike it from NARROWER"
        else:
            assert row.get(name) == (None if end is None else close(end)), f"{name}: the daemon has {ends}"
            assert row.get(name) is None or ends[bound] is not None, f"{name}: an open end cannot be typed"
    assert sorted(row.get("options", [])) == sorted(told.get("enum", []))


@pytest.mark.parametrize(
    ("file", "row"),
    [(file, row) for file, row in ROWS if "value" in row],
    ids=[f"{file} {row['name']}" for file, row in ROWS if "value" in row],
)
def test_what_the_page_fills_in_is_what_the_daemon_takes_for_a_value_left_out(file, row):
    if (file, row["name"]) in PROPOSED:
        assert row["value"] == PROPOSED[file, row["name"]][0]
    elif (file, row["name"]) not in NO_MODEL:
        default, per = daemon_of(file, row["name"])["default"], UNITS.get(row["name"], 1.0)
        is_number = isinstance(default, float | int) and not isinstance(default, bool)

        assert row["value"] == (close(per * default) if is_number else default)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PAGE)))
def test_no_limit_of_the_page_escapes(path):
    """A row written in another way would be compared with nothing."""
    here = [row for file, row in ROWS if file == str(path.relative_to(PAGE))]
    text = source_of(path)

    amounts = 2 * len(AMOUNT.findall(text))
    assert len(AMOUNT.findall(text)) == len(re.findall(r"\bamount\(\"", text))
    assert len(BOUND.findall(text)) + amounts == sum(name in row for row in here for name in ("least", "most"))


def test_every_exception_is_still_needed():
    known = {(file, row["name"]) for file, row in ROWS}

    assert set(NARROWER) | set(PROPOSED) | set(NO_MODEL) <= known
    assert set(ELSEWHERE) | set(UNITS) <= {name for _, name in known}


@pytest.mark.parametrize(
    ("file", "name", "values"),
    [
        ("words.js", "MISPLACED_MM", [MISPLACED_MM]),
        ("words.js", "FEET_SHARE", [*FEET_SHARE]),
        ("answer_words.js", "FEWEST_POSITIONS", [FEWEST_POSITIONS]),
        ("scales.js", "Z_95", [Z_95]),
    ],
)
def test_a_number_that_the_page_goes_by_is_the_daemons(file, name, values):
    stated = re.search(rf"const {name} = (.*);", (PAGE / file).read_text("utf-8"))

    assert stated
    assert [float(one) for one in re.findall(NUMBER, stated[1])] == values


def test_the_mark_of_pain_is_called_on_the_page_as_in_the_daemon():
    """By another name it would be a remark, and pause nothing."""
    assert f'export const PAIN = "{PAIN}";' in (PAGE / "state.js").read_text("utf-8")
