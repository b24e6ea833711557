"""The number of a test in words: every one says what it is, in which unit."""

import re
from dataclasses import replace

import pytest

from daq.sweep.onset import onset
from daq.sweep.validity.figures import SIGNED, WHAT, figure
from daq.sweep.validity.judged import judged
from daq.sweep.validity.seen import seen
from daq.sweep.validity.table import TESTS
from daq.values import NAN, Result, Setting, Validity
from tests.sweep.validity.faults import ALONE, SHAM
from tests.sweep.validity.sweeps import ON_THE_JIG, answer, ride

EVERYTHING = (*SHAM, 80.0)
"""With a sham step, and the first position once more."""


def clean():
    return [
        replace(step, setting=Setting(723.0, 540.0 - step.setback_mm, 660.0, -1.0)) for step in ride(order=EVERYTHING)
    ]


def numbers():
    """Every finding with a number: of a clean sweep, and of each fault alone."""
    whole = clean()
    found = list(judged(onset(whole), whole, ON_THE_JIG).validity)
    for steps, conditions in ALONE.values():
        found += judged(answer(), steps, conditions).validity
    return [one for one in found if one.value == one.value]


def said(one):
    return figure(one).replace("\N{NO-BREAK SPACE}", " ")


def test_every_number_that_a_test_finds_has_words_and_each_of_the_words_a_test():
    found = numbers()

    assert {(one.test, one.unit) for one in found} == set(WHAT)
    for one in found:
        assert figure(one).startswith(f"{WHAT[one.test, one.unit]}: "), one
    names = {test(seen(answer(), clean(), ON_THE_JIG)).test for test in TESTS}
    assert {test for test, _ in WHAT} | set(SIGNED) <= names


def test_no_number_stands_bare():
    for one in numbers():
        _, _, told = said(one).partition(": ")
        ends = told.split(", 95 % ")
        counted = one.unit in ("faults", "steps")
        assert counted or all(re.search(r"\d( %| N| mm|°| N m)$", end) for end in ends), told


@pytest.mark.parametrize(
    ("found", "told"),
    [
        (("feet", 0.304, ""), "left for the feet: 30 %"),
        (("hips", 0.864, "mm/mm", (0.682, 1.046)), "weight line, for each mm of saddle: 0.86 mm, 95 % 0.68 to 1.05 mm"),
        (
            ("fatigue", -0.04, "N", (-2.0, 1.9)),
            "hand load gained over the sweep: +0.0 N, 95 % \N{MINUS SIGN}2.0 to +1.9 N",
        ),
        (("tilt", 0.2, "deg"), "change of the jig's tilt: 0.2°"),
        (("cells", 0.0, "faults"), "faults seen: 0"),
        (("reach", NAN, ""), ""),
    ],
)
def test_it_is_rounded_as_it_is_known(found, told):
    name, value, unit, interval = (*found, None)[:4]

    assert said(Validity(name, value, unit, interval, Result.PASSED, False, "", "")) == told
