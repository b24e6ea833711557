import copy
import json

import pytest

from daq.measure.calibration import CalibrationError, from_dict, to_dict
from tests.measure.calibration.jig import jig


def test_a_calibration_survives_json_to_the_last_bit():
    content = to_dict(jig())

    back = from_dict(json.loads(json.dumps(content, allow_nan=False)))

    assert back == jig()
    assert to_dict(back) == content


def changed(path, value):
    content = copy.deepcopy(to_dict(jig()))
    at = content
    for key in path[:-1]:
        at = at[key]
    if value is ...:
        del at[path[-1]]
    else:
        at[path[-1]] = value
    return content


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        ([], "calibration: expected a table of keys, got list"),
        ({}, "format: expected 1, got None"),
        (changed(["format"], 2), "format: expected 1, got 2"),
        (changed(["made"], "x"), "unknown key made; expected format, id"),
        (changed(["id"], 7), "id: expected a text, got 7"),
        (changed(["simulated"], 1), "simulated: expected true or false, got 1"),
        (changed(["channels"], None), "channels: expected a list, got None"),
        (changed(["channels", 2, "gain"], 1), r"channels\[2\]: unknown key gain"),
        (changed(["channels", 0, "coefficients", 1], "x"), r"channels\[0\].coefficients\[1\]: expected a finite"),
        (changed(["channels", 0, "coefficients", 1], True), r"coefficients\[1\]: expected a finite number, got True"),
        (changed(["channels", 0, "zero_counts"], float("nan")), r"channels\[0\]: zero_counts: expected a finite"),
        (changed(["channels", 0, "span"], [1]), r"channels\[0\]: span: expected two numbers, got 1"),
        (changed(["channels", 0, "tare", "covered_deg"], ...), "covered_deg: missing"),
        (changed(["channels", 0, "uncertainty", "fit"], [1, 2]), "fit: expected 3 numbers, got 2"),
        (changed(["channels", 0, "uncertainty", "fit"], [1, 2, 1]), "expected variances and a covariance within them"),
        (changed(["channels", 0, "uncertainty", "terms", 1, "dof"], -1), r"terms\[1\]: term 'resolution': dof"),
        (changed(["channels", 0, "uncertainty", "terms", 1, "absolute_n"], -1), "absolute_n: expected a number of at"),
        (changed(["channels", 0, "uncertainty", "terms", 1, "name"], "fit"), "terms of different names"),
        (changed(["crosstalk"], 3), "crosstalk: expected a list of rows"),
    ],
)
def test_a_wrong_key_is_named_with_its_place(content, sentence):
    with pytest.raises(CalibrationError, match=sentence):
        from_dict(content)
