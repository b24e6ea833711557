"""The one shape in which commands print an answer."""

import json
import math
from dataclasses import replace

from daq.keep.json_text import plain
from daq.sweep.contract import contract, in_contract
from daq.sweep.validity.judged import judged
from daq.values import NAN
from tests.sweep.validity.sweeps import SIGHTED, answer, ride

ANSWER = replace(judged(answer(), ride(), SIGHTED), p_lag=((0.0, 0.9), (20.0, 0.1)))
STORED = json.loads(json.dumps(plain(ANSWER)))


def test_a_test_of_validity_has_a_verdict_and_an_interval():
    for one in contract(ANSWER)["validity"]:
        assert list(one) == ["test", "value", "unit", "interval", "verdict", "forbids", "means", "cure", "ride_mm"]


def test_an_answer_and_the_same_answer_stored_have_one_shape():
    assert in_contract(STORED) == contract(ANSWER)
    assert {one["test"]: one["verdict"] for one in in_contract(STORED)["validity"]}["sham"] == "not made"


def test_what_is_no_number_is_null():
    content = contract(replace(ANSWER, slope_n_per_mm=NAN, rss=math.inf))

    assert (content["slope_n_per_mm"], content["rss"]) == (None, None)
    json.dumps(content, allow_nan=False)


def test_a_stored_answer_of_a_version_without_tests_of_validity_stays_as_it_is():
    assert in_contract({"verdict": "onset"}) == {"verdict": "onset"}
    assert in_contract({"verdict": "onset", "validity": "?"}) == {"verdict": "onset", "validity": "?"}
